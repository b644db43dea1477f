"""For each code a shipped design in which it is found, or a change of a line or two that brings it about."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from tapplan.checks.finding import Finding
from tapplan.checks.judgement import judged
from tapplan.checks.review import review
from tapplan.checks.rules import OF_THE_VERDICT, findings_in
from tapplan.design.file import parse
from tests.examples import ROOT

Change = tuple[str, str]  # lines of the file, and what stands there instead


@dataclass(frozen=True)
class Example:
    """A shipped design, what is changed in it, and what is added at its end."""

    code: str
    design: str
    changes: tuple[Change, ...] = ()
    added: str = ""

    @cached_property
    def finding(self) -> Finding:
        """The gravest finding of the code in the design as changed."""
        made = review(parse(self.text, f"{self.design}.toml"))
        found = judged(made).findings if self.code in OF_THE_VERDICT else findings_in(made, [self.code])
        return next(one for one in found if one.code == self.code)

    @property
    def text(self) -> str:
        """The design file as changed."""
        text = (ROOT / "designs" / f"{self.design}.toml").read_text(encoding="utf-8")
        for old, new in self.changes:
            assert text.count(old) == 1, f"{self.code}: {old!r} is not there once"
            text = text.replace(old, new)
        return text + self.added


def changed(code: str, design: str, *changes: Change, added: str = "") -> Example:
    return Example(code, design, changes, added)


RIDGE, HOSTEL, HUT = "ridge-dispensary", "hostel-review", "shepherds-hut"
BOX, PUMP = "signal-box", "spring-pump"
BOOST_1 = "hold_v = [189, 217]"

EXAMPLES = (
    changed("shorted-state", RIDGE, added='\n[[relay]]\nname = "KS"\ncom  = "P"\nno   = "Q"\n'),
    changed("floating-state", PUMP, ('nc          = "IN"\n', "")),
    changed("unfed-state", HUT, ('name      = "direct"\nenergised = ["KM"]', 'name      = "direct"\nenergised = []')),
    changed("dead-state", PUMP, ('nc          = "IN"', 'nc          = "N"')),
    changed("reversed-state", PUMP, ('nc          = "IN"', 'nc          = "BACK"'),
            added='\n[[winding]]\nname  = "back"\nends  = ["BACK", "N"]\nturns = 78\n'),
    changed("undetermined-state", PUMP, ('no          = "TOP"', 'no          = "FAR"'),
            added='\n[[winding]]\nname  = "choke"\nends  = ["TOP", "FAR"]\nturns = 20\ncore  = "another"\n'),
    changed("uncovered-range", RIDGE, ("range_v      = [168, 274]", "range_v      = [150, 274]")),
    changed("dead-zone", RIDGE, (BOOST_1, "hold_v = [193, 217]")),
    changed("out-of-window", RIDGE, ("hold_v = [166, 192]", "hold_v = [166, 197]")),
    changed("wrong-way", RIDGE, ('name = "boost 1"\nenergised = ["KL"]', 'name = "boost 1"\nenergised = ["KO"]'),
            ('name = "direct"\nenergised = ["KO"]', 'name = "direct"\nenergised = ["KL"]')),
    changed("blind-reading", PUMP, ('at           = "output"', 'at           = ["OUT", "TOP"]')),
    changed("stranded", RIDGE, ("return_v = [165.8, 277.5]", "return_v = [170, 277.5]")),
    changed("chatter", RIDGE, (BOOST_1, "hold_v = [191.5, 217]")),
    changed("ripple-in-reading", RIDGE, ("hysteresis_v = 3", "hysteresis_v = 3\nwindow_cycles = 1.2")),
    changed("thin-hysteresis", RIDGE, (BOOST_1, "hold_v = [190, 217]")),
    changed("hunting", PUMP, ('energised = ["K"]', 'energised = ["K"]\nhold_v    = [200, 230]'),
            ("energised = []", "energised = []\nhold_v    = [207, 254]")),
    changed("backup-cycling", BOX, ("return_v  = [183.5, 265.5]", "return_v  = [180.5, 265.5]")),
    changed("lost-in-counts", BOX, ("bits           = 12", "bits           = 8")),
    changed("error-budget", BOX, ("calibrated_pct = 0.3", "calibrated_pct = 1")),
    changed("converter-range", BOX, ("divider_ohm    = [1000000, 3900]", "divider_ohm    = [1000000, 6000]")),
    changed("few-counts", BOX, ("bits           = 12", "bits           = 8")),
    changed("backfeed", HUT, ('winding   = "battery"\n', 'winding   = "battery"\nenergised = ["KM"]\n')),
    changed("load-collapse", HUT, ("load_va      = 300", "load_va      = 30000")),
    changed("feed-out-of-window", HUT, ("volts_v   = [21.5, 24.2]", "volts_v   = [24, 27]")),
    changed("charger-reach", HUT, ('charger  = "boost" ', 'charger  = "step-down" ')),
    changed("over-load", HUT, ("load_va      = 300", "load_va      = 500")),
    changed("over-flux", HUT, ("flux_limit_t        = 1.4", "flux_limit_t        = 1")),
    changed("over-current", HUT, ("density_a_mm2 = 3.2", "density_a_mm2 = 2")),
    changed("contact-overload", HUT, ("contact_v      = 600 ", "contact_v      = 400 ")),
    changed("make-overload", HUT, ("inrush_a     = 16", "inrush_a     = 40")),
    changed("window-full", HUT, ("fill_limit          = 0.4", "fill_limit          = 0.3")),
    changed("hot", HUT, ("temperature_limit_c = 105", "temperature_limit_c = 70")),
    changed("coil-starved", HUT, ("turns   = 30", "turns   = 15")),
    changed("fuse-overload", HUT, ("fuse_a = 4", "fuse_a = 1")),
    changed("fuse-blind", HUT),
    changed("cutout-trips", HUT, ("fuse_a = 4", "fuse_a = 4\ncutout_c = 60")),
    changed("unreachable-band", HOSTEL,
            added='\n[[band]]\nname      = "inner"\nenergised = ["KB"]\nhold_v    = [280, 290]\n'),
    changed("unsafe-rest", HOSTEL),
    changed("race-short", PUMP, ('nc          = "IN"\n', ""), ("energised = []", 'energised = ["KS"]'),
            added='\n[[relay]]\nname = "KS"\ncom  = "OUT"\nno   = "IN"\n'),
    changed("race-overvoltage", RIDGE),
    changed("race-dip", RIDGE),
    changed("dropout-unsafe", "river-kiosk"),
    changed("move-gap", RIDGE),
    changed("flight-inrush", RIDGE),
    changed("step-through", RIDGE, ("frequency_hz = 50", "frequency_hz = 50\nsource_ohm   = 7"),
            (BOOST_1, "hold_v = [189, 195]"), ("hold_v = [214, 245]", "hold_v = [190, 245]")),
    changed("flight-in-reading", PUMP),
    changed("inrush-retrip", BOX, ("inrush_a     = 12", "inrush_a     = 40")),
    changed("slow-recovery", HOSTEL, ("load_va   = 700", 'load_va   = 700\ntolerance_curve = "iti-2000"')),
    changed("stuck-short", RIDGE),
    changed("stuck-overvoltage", RIDGE),
    changed("loose-end", RIDGE, ('nc   = "Q"', 'nc   = "q"')),
    changed("ambiguous-start", RIDGE,
            added='\n[[relay]]\nname = "KX"\ncom  = "SPARE"\nno   = "P"\n\n[[band]]\nname = "again"\n'
            'energised = ["KO", "KX"]\nhold_v = [214, 245]\n'),
    changed("holds-beyond-range", HOSTEL),
    changed("duplicate-state", HOSTEL),
    changed("idle-relay", RIDGE, added='\n[[relay]]\nname = "KX"\ncom  = "P"\nno   = "Q"\n'),
    changed("stale-accept", RIDGE, added='\n[[accept]]\ncode   = "thin-hysteresis"\nreason = "quiet line"\n'),
)  # fmt: skip

# Codes that no change of a few lines brings about, and why.
WITHOUT_EXAMPLE = {
    "race-unexamined": "It takes a move of more than seven relays, or a table far larger than any shipped one."
}
