"""Why each code matters, at the bench or in the field, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Remedy:
    """Why a finding matters, and what to change."""

    why: str
    mend: str


_UNUSABLE = "Use other relays in the band, or rewire so that no drive pattern leads there."

REMEDIES: dict[str, Remedy] = {
    "shorted-state": Remedy(
        "Shorted turns draw a current that only the section's own resistance limits; it burns within seconds.",
        _UNUSABLE + " Changeovers arranged as a tree or a chain cannot short taps.",
    ),
    "floating-state": Remedy("The load gets nothing, or what stray coupling gives.", _UNUSABLE),
    "unfed-state": Remedy("The core is not excited and the load gets nothing reliable.", _UNUSABLE),
    "dead-state": Remedy("The load is tied to neutral.", _UNUSABLE),
    "reversed-state": Remedy(
        "The output turns over against the line: twice the voltage across the contacts.", _UNUSABLE
    ),
    "undetermined-state": Remedy(
        "A section of an unexcited core is a choke: its voltage hangs on the load.", _UNUSABLE
    ),
    "uncovered-range": Remedy(
        "No table can serve these inputs with these turns.",
        "Change turns as the message says, add a ratio, widen window_v, or promise a narrower range_v.",
    ),
    "dead-zone": Remedy(
        "At such an input the controller has no row to stand in, and what it does is undefined or backup.",
        "Let the neighbours' hold_v overlap; `tapplan bands` places the thresholds.",
    ),
    "out-of-window": Remedy(
        "The load sees a steady voltage outside the promise, although the table looks right.",
        "Draw the band's hold_v in to where the message says, or reduce error_pct or noise_v.",
    ),
    "wrong-way": Remedy(
        "The stage raises the output as the line rises: the controller runs away.",
        "Exchange the energised lists of the two bands, or look for crossed taps.",
    ),
    "blind-reading": Remedy(
        "The controller reads a voltage that does not follow the line in this state.",
        "Sense the input, or points that stay joined to the fed winding in every band, and while away.",
    ),
    "stranded": Remedy(
        "Once the load has gone to the backup, it stays there although the line is as promised.",
        "Let return_v reach as far as the message says; leave_v must then lie farther out by more than the noise.",
    ),
    "ripple-in-reading": Remedy(
        "Noise of the window's own making, which eats the hysteresis and the window at every threshold.",
        "Average over a whole number of half cycles.",
    ),
    "chatter": Remedy(
        "The relays move to and fro at one steady input and wear out in days.",
        "Let the neighbours overlap by clearly more than noise_v, or quieten the reading.",
    ),
    "thin-hysteresis": Remedy(
        "The margin against chatter is less than was asked for.",
        "Move the thresholds apart where the room allows (`tapplan bands`), or ask for less.",
    ),
    "hunting": Remedy(
        "Each move brings a reading that calls for the move back; the relays wear out in hours.",
        "Hold the lower band up to where the message says, take smaller steps, or sense the input.",
    ),
    "backup-cycling": Remedy(
        "The load hangs on the battery half of the time, and the transfer relay wears out.",
        "Move return_v in as the message says; a delay before the return only slows the cycle.",
    ),
    "lost-in-counts": Remedy(
        "The firmware compares whole counts; what it does is not what the table in volts says.",
        "Leave a count of room beside each threshold, or use more bits or a smaller divider ratio.",
    ),
    "error-budget": Remedy(
        "Every proof rests on error_pct; a reading that errs by more breaks promises that look kept.",
        "Better parts, one adjustment on the board (calibrated_pct), a synchronised window, or a larger error_pct.",
    ),
    "converter-range": Remedy(
        "Beyond its range the converter shows one and the same count, and the controller is blind.",
        "Divide the voltage further down, or use a higher reference.",
    ),
    "few-counts": Remedy(
        "A reading wanders by a count or two by itself.",
        "Use more bits, divide the voltage less, or move the thresholds apart.",
    ),
    "step-through": Remedy(
        "Two moves follow each other at once: a double click, and twice the wear.",
        "Widen the band that is passed, or accept the double step and give it a row of its own.",
    ),
    "flight-in-reading": Remedy(
        "The controller judges the new band by a reading taken while the relays were in the air.",
        "Ignore readings after each move, by a blank_ms in [sequence], or lengthen confirm_ms, as the message says.",
    ),
    "inrush-retrip": Remedy(
        "The load's own start makes the stage move again, into more boost than it needs.",
        "Ignore readings until the inrush is over (blank_ms in [sequence]), limit it, or widen the hysteresis.",
    ),
    "slow-recovery": Remedy(
        "When a low line comes back at once, the boost still engaged passes it on, raised, until the relays move.",
        "Shorten confirm_ms and window_cycles as far as the message says; else cut the output off at overvoltage.",
    ),
    "backfeed": Remedy(
        "Whoever touches the plug's pins, or works on the dead line outside, meets mains volts.",
        "Choose the relay state that the message names, or open both poles of the inlet before the feed starts.",
    ),
    "feed-out-of-window": Remedy(
        "A wrong turn count here burns loads, or starves them, whenever the mains is away.",
        "Turns on the fed winding such that the window holds over the feed's whole range, loaded and not.",
    ),
    "charger-reach": Remedy(
        "The battery is never full where the charger gets fewer volts than it must make, and sulphates.",
        "More turns on the battery's winding, a charger that can boost, or accept it for the inputs named.",
    ),
    "over-load": Remedy(
        "Wire and contacts are rated for less than is promised; at full load something runs hot or gives way.",
        "What the message names is the narrowest part: thicken or uprate it, or promise the load it permits.",
    ),
    "over-flux": Remedy(
        "Above its limit the core saturates: the magnetising current rises many times, and heat with it.",
        "More turns or more iron, or a line tap with more turns at high input.",
    ),
    "over-current": Remedy(
        "The wire runs hotter than its insulation is meant for.",
        "Use a thicker wire for the section, or promise a smaller load; `tapplan rate` names the next size.",
    ),
    "contact-overload": Remedy(
        "Overloaded contacts weld or burn; an overstressed gap does not clear its arc.",
        "A relay of a higher rating, or an arrangement that gives the contact less to do.",
    ),
    "make-overload": Remedy(
        "Closing onto an inrush welds contacts, often at the first attempt.",
        "Limit the inrush, or use a relay with contacts made for it.",
    ),
    "load-collapse": Remedy(
        "The output breaks down, the current rises to what the impedance allows, and no figure under load holds.",
        "A smaller load_va, less resistance and leakage, or another load_model if the load does give way.",
    ),
    "window-full": Remedy(
        "The coil cannot be wound.", "A larger lamination, thinner wire or several side by side, or fewer turns."
    ),
    "hot": Remedy(
        "Insulation ages twice as fast for every few kelvin above its class.",
        "Less loss (thicker wire, lower flux), or better cooling; measure the rise on a prototype.",
    ),
    "coil-starved": Remedy(
        "At low line, when the boost is needed most, its relays do not pull in.",
        "More turns on the coil supply's winding, fewer coils in the strongest boost, or another supply.",
    ),
    "fuse-overload": Remedy("The fuse ages and blows in normal service.", "A larger fuse, or a smaller load."),
    "fuse-blind": Remedy(
        "A few shorted turns burn while the line sees little of it.",
        "Add a thermal cut-out on the winding, or fuse the section itself.",
    ),
    "cutout-trips": Remedy(
        "The stage cuts itself off under the load it is meant for.",
        "Less loss, better cooling, or a cut-out of a higher temperature where the insulation allows it.",
    ),
    "unreachable-band": Remedy(
        "The row is never used; perhaps its hold_v is not the one meant.", "Move its hold_v or drop it."
    ),
    "unsafe-rest": Remedy(
        "That is what the load gets before the controller wakes and after it dies.",
        "Wire the rest position to the lowest ratio, or cut the output off until the controller is up.",
    ),
    "race-short": Remedy(
        "Relays commanded together move in an unknown order, and one of them shorts turns.",
        "State the order in [sequence], as the message names it; else rewire.",
    ),
    "race-overvoltage": Remedy(
        "For the time of one relay's travel the load sees a ratio nobody meant.",
        "State the order in [sequence], as the message names it; a dip is safer than a surge.",
    ),
    "race-dip": Remedy(
        "For the time of one relay's travel the load sags.",
        "Hold the dip against the load's ride-through; else choose states that differ in one relay.",
    ),
    "dropout-unsafe": Remedy(
        "When the coil supply fails the relays fall in an order nobody chooses.",
        "Choose states whose every mixture with rest is harmless, or cut the line off with the coil supply.",
    ),
    "race-unexamined": Remedy(
        "What was not gone through may short turns or leave the window.",
        "Choose states that differ in fewer relays, or a table of fewer rows.",
    ),
    "move-gap": Remedy(
        "The load is without supply for so long at each such move.",
        "Use quicker relays, state their times in the file, or let the load's own storage bridge it.",
    ),
    "flight-inrush": Remedy(
        "A core magnetised anew can saturate and draw many times its current, and trip a fuse.",
        "Move the output instead of the line, lower the flux density, or limit the current of re-closing.",
    ),
    "stuck-short": Remedy(
        "A welded or bridged contact burns the section between its throws.",
        "Fuse the section, or watch the measured ratio against the commanded one.",
    ),
    "stuck-overvoltage": Remedy(
        "One stuck part puts the load above its limit.",
        "Watch the output and cut it off independently of the controller; see `tapplan faults`.",
    ),
    "loose-end": Remedy(
        "A contact that leads nowhere is often a misspelt point.", "Correct the point's name, or leave the throw out."
    ),
    "ambiguous-start": Remedy(
        "Which relays are driven at switch-on is left to chance.", "Drop one of the two bands, or part their holds."
    ),
    "holds-beyond-range": Remedy(
        "Nothing is promised there, but the load is still connected.",
        "Add a [backup] that leaves earlier, if the load minds.",
    ),
    "duplicate-state": Remedy(
        "Two drive patterns do the same; a slip between them goes unnoticed.",
        "Nothing to mend; use the one with fewer moves.",
    ),
    "stale-accept": Remedy(
        "An acceptance that no longer meets anything may hide the next thing it happens to meet.",
        "Drop the [[accept]], or correct its code or place; faults cannot be accepted.",
    ),
    "idle-relay": Remedy("The relay costs money and can only fail.", "Leave it out, or use it in a band."),
}
