"""The starting files that `tapplan new` gives: small, commented, and good for an answer as they stand."""

STARTER = """\
# A tapplan design. Numbers are exact decimals; keys carry their unit. Change what follows to your own
# circuit, then run:   tapplan check THIS_FILE    and    tapplan table THIS_FILE
format = 1
title  = "Workshop outlet, 230 V, two relays on four points of one winding"

[mains]
nominal_v    = 230
range_v      = [187, 275]   # steady RMS extremes the plan must serve
frequency_hz = 50           # or [47, 53]
# standard   = "iec-60038-230"   # instead of nominal_v and range_v; see: tapplan standards

[output]
nominal_v = 230
window_v  = [207, 253]      # steady limits at the load
load_va   = 400

[terminals]                 # the points where the stage meets the world
line    = "LINE"
neutral = "NEUTRAL"
output  = "OUT"

# The winding, section by section: [start, finish]; the finish stands `turns` above the start.
[[winding]]
name  = "base"
ends  = ["NEUTRAL", "A"]
turns = 600

[[winding]]
name  = "step 1"
ends  = ["A", "B"]
turns = 75

[[winding]]
name  = "step 2"
ends  = ["B", "C"]
turns = 75

# A relay: com rests on nc, and moves to no when the coil is driven. Several poles on one coil:
# poles = [{ com = "..", nc = "..", no = ".." }, ...]. Leave nc or no out for a plain contact.
[[relay]]
name = "KA"                 # moves the line
com  = "LINE"
nc   = "C"
no   = "B"

[[relay]]
name = "KB"                 # moves the output
com  = "OUT"
nc   = "C"
no   = "A"

[sensing]
at           = "input"      # or "output", or two points such as ["A", "NEUTRAL"]
error_pct    = 1.0          # worst static error of a reading
noise_v      = 1            # peak to peak
hysteresis_v = 4            # least distance wanted between entering and leaving a band

# Where a move changes two relays, they are commanded one after the other in the order that `tapplan moves` shows to
# be safest, the second when the first has settled. Left out: together, and nothing is promised about who comes first.
[sequence]
order = "safest"

# The control table: relays driven, and the readings that keep the band. Leave all [[band]] tables out and
# tapplan chooses them;   tapplan bands THIS_FILE --write   puts its choice here.
[[band]]
name      = "boost"
energised = ["KA"]
hold_v    = [184, 219]

[[band]]
name      = "direct"
energised = []
hold_v    = [214, 244]

[[band]]
name      = "buck"
energised = ["KA", "KB"]
hold_v    = [239, 279]
"""

REQUEST = """\
# A tapplan request: a design file without winding, relay and band, and with [fit]. Change what follows to the job,
# then run:   tapplan fit THIS_FILE    and    tapplan fit THIS_FILE --pick 1 -o design.toml
format = 1
title  = "Workshop outlet, 230 V, 400 VA"

[mains]
nominal_v    = 230
range_v      = [187, 275]   # steady RMS extremes the plan must serve
frequency_hz = 50

[output]
nominal_v    = 230
window_v     = [207, 253]   # steady limits at the load
load_va      = 400          # with [core]: plans are wound for it
power_factor = 0.8

[terminals]
line    = "LINE"
neutral = "NEUTRAL"
output  = "OUT"

[sensing]
error_pct    = 1.0          # worst static error of a reading
noise_v      = 1            # peak to peak
hysteresis_v = 4            # least distance wanted between entering and leaving a band

[core]                      # leave it out, and state total_turns in [fit], to choose ratios alone
lamination   = "EI 120"     # or leave lamination and stack_mm out, and name cores in [fit]
stack_mm     = 40
stack_factor = 0.96
grade        = "M400-50A"
flux_limit_t = 1.3

[copper]
density_a_mm2 = 3
series        = "metric"    # or "awg"
thickest_mm   = 2.5         # above it several wires run side by side; enamel_grade = 1, 2 or 3

[former]                    # what insulates is yours to state, by the standard that applies; left out: no layers
flange_mm     = 1.5
margin_mm     = 3           # free between a layer and each flange
interlayer_mm = 0.1
between_mm    = 0.6         # more of it between windings that no turn joins

# [prices]                  # for a cost of each plan
# currency = "EUR"
# iron     = 3.5            # a kilogram
# copper   = 14
# relay    = 2.2
# pole     = 0.7            # each pole of a relay beyond its first
# tap      = 0.4            # each point brought out

# [[feed]]                  # an inverter on a winding of the same core; the winding is made
# name    = "inverter"
# winding = "battery"
# volts_v = [10.8, 11.8]    # RMS at the winding, lowest and highest

[fit]
# cores      = ["choose"]   # the smallest lamination that will do, or of a list: ["EI 96", "EI 120"]
# total_turns = [400, 800]  # from neutral to the highest tap; left out: as many as the flux asks for
arrangements = ["line-chain", "both-sides"]   # left out: all but "free"
relays_max   = 2
# sensing_v  = 9            # a winding for the controller to read, with at = ["S1", "S2"] in [sensing]
# contact_a  = 10           # ratings that every relay has: contact_v, contact_ohm, coil_v, coil_w
"""
