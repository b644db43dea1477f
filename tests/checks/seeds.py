"""Every finding that the seeded defects, the worked examples of relay flight and stated limits bring about."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

from tapplan.checks.finding import Finding
from tapplan.checks.judgement import judged
from tapplan.checks.review import review
from tapplan.checks.rules import findings_in
from tapplan.design.file import load
from tapplan.design.model import Accept, Backup, Design, Feed, Limits, Sensing
from tests.checks.test_flight import CLINIC, clinic, commons_on_the_section
from tests.checks.test_rules import BANDS, DEFECTS, band, sound
from tests.examples import TAPPED, add_in, design
from tests.rating.test_fed import HUT, INVERTER, LINKS, MAIN, hut, two_cores

F = Fraction


def _one_contact_a_tap() -> Design:
    """A safe order: the contact that opens first."""
    sections = (("base", "N", "A", 200), ("one", "A", "B", 30))
    links = {"KA": ("OUT", None, "A"), "KB": ("OUT", None, "B")}
    bands = [("boost", ["KB"], 180, 220), ("direct", ["KA"], 215, 260)]
    return design(sections, links, terminals=("A", "N", "OUT"), bands=bands)


def _too_many_relays() -> Design:
    links = {f"K{n}": (f"X{n}" if n else "OUT", f"X{n + 1}" if n < 8 else "T2", "T3") for n in range(9)}
    bands = [("up", [f"K{n}" for n in range(9)], 180, 220), ("direct", [], 215, 260)]
    return design(CLINIC, links, terminals=("T2", "N", "OUT"), bands=bands)


def _too_many_rows() -> Design:
    """More rows than the steps that stop on their way are followed for."""
    made = add_in(6)
    bands = [(f"b{n}", [f"K{k}" for k in range(6) if 63 - n >> k & 1], 150 + n, 160 + n) for n in range(41)]
    sections = [(one.name, *one.ends, one.turns) for one in made.windings]
    links = {one.name: (pole.com, pole.nc, pole.no) for one in made.relays for pole in one.all_poles}
    return design(sections, links, bands=bands, mains=(230, 152, 200))


def _limited() -> Design:
    tight = Limits(move_gap_ms=F(1), flux_factor=F(1), surge_v=F(240), dip_v=F(220), stuck_shorts=F(0), rest_v=F(231))
    stale = Accept(code="loose-end", reason="nothing is loose")
    return replace(clinic(), limits=tight, accept=(stale,))


def _noise_of_three_bands() -> Design:
    """Bands that are no neighbours follow one another under the noise: chatter apart."""
    bands = [("a", ["KO"], 166, 200), ("inner", [], 185, 198), ("c", ["KL", "KO"], 199, 244)]
    return sound(bands=bands, sensing=Sensing(noise_v=F(2)))


def _one_way_to_rest_shorts() -> Design:
    """Contacts that short a section while one relay has fallen and the other not."""
    links = {"KL": ("LINE", "A", "C"), "KO": ("OUT", "B", "C"), "K1": ("A", "S", None), "K2": ("B", None, "S")}
    rows = [(name, [*energised, "K1", "K2"], low, high) for name, energised, low, high in BANDS[:1]]
    return sound(links=links, bands=[*rows, *BANDS[1:]])


def _feeds() -> list[Design]:
    """Feeds whose state leaves the output on nothing fed, unfixed, or at neutral."""
    at_neutral = load(HUT).relays
    return [
        two_cores(MAIN + INVERTER, energised=("KM",)),
        _fed_between_two_chokes(),
        hut(energised=(), relays=(*at_neutral[:2], replace(at_neutral[2], nc="NEUTRAL"))),
    ]


def _fed_between_two_chokes() -> Design:
    """Chokes of two more cores in a row across the fed winding: nothing says how they share its volts."""
    chokes = [("first", "H", "M", (10, "one")), ("second", "M", "N", (10, "other"))]
    made = design([*MAIN, *INVERTER, *chokes], LINKS | {"KO": ("OUT", "B", "M")}, mains=(230, 190, 270))
    feed = Feed(name="inverter", winding="lv", volts_v=(F(10), F(14)), energised=("KO",))
    return replace(made, feeds=(feed,))


def _band_behind_a_choke() -> Design:
    sections = (*TAPPED, ("choke", "C", "H", (50, "another core")))
    links = {"KL": ("LINE", "A", "C"), "KO": ("X", "B", "C"), "KU": ("OUT", "X", "H")}
    return sound(sections=sections, links=links, bands=[*BANDS, ("choked", ["KU"], 240, 250)])


def seeded() -> list[Design]:
    """The designs."""
    backup = Backup(leave_v=(F(163), F(247)), return_v=(F(170), F(240)))
    return [
        *(defect.made() for defect in DEFECTS),
        sound(backup=backup, bands=BANDS),
        sound(bands=band(1, low=187, high=220)),
        clinic(),
        commons_on_the_section(),
        _one_contact_a_tap(),
        _too_many_relays(),
        _too_many_rows(),
        _limited(),
        _noise_of_three_bands(),
        _one_way_to_rest_shorts(),
        *_feeds(),
        _band_behind_a_choke(),
    ]


@cache
def found_in_all() -> tuple[tuple[Design, Finding], ...]:
    """Every finding of every one of them, with its design; those of the verdict as well."""
    pairs = []
    for made in seeded():
        reviewed = review(made)
        rows = findings_in(reviewed)
        pairs += [(made, one) for one in rows]
        pairs += [(made, one) for one in judged(reviewed).findings if one not in rows]
    return tuple(pairs)
