"""Iron and copper against their limits, one rating after the other put in by hand: at the limit is not beyond it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.wound import hot, over_current, over_flux, reaching, window_full
from tapplan.design.coil import Coil, TooDeep, TooWide, coil_of
from tapplan.design.model import Copper, Core, Feed, Winding
from tapplan.rating.iron import iron_of
from tapplan.rating.rated import FeedRating, Ratings
from tapplan.rating.windings import WindowUse
from tests.checks.handmade import SECTION, WARM, changed, heated, plain
from tests.checks.test_rules import FORMER, plate
from tests.examples import TAPPED, design

F = Fraction
FEED = Feed(name="inverter", winding="a", volts_v=(F(8), F(10)))


def with_core(found: Ratings, **core: Any) -> Ratings:
    made = Core(**core)
    one = changed(found, core=made)
    return replace(one, iron=iron_of(one.design))


def fed(found: Ratings, **heat: Any) -> Ratings:
    """The same with a feed that warms the core, at 8 to 10 V in."""
    shown = FeedRating(FEED, (), None, chosen=False, case=None, heat=replace(WARM, **heat) if heat else None)
    return replace(found, feeds=(shown,))


@cache
def reviewed() -> Review:
    return review(plain().design)  # 200 to 260 V


# --- flux ---


def flux(found: Ratings) -> list[tuple[Severity, str, Fraction, Fraction]]:
    return [
        (one.severity, one.where, one.witness.input_v, one.witness.flux_t) for one in over_flux(reviewed(), found)
    ]


@pytest.mark.parametrize(("tesla", "told"), [(1.3, False), (1.3001, True), (1.5, True)])
def test_steady_flux_above_the_limit_is_a_fault_at_the_band_with_the_most(tesla: float, told: bool) -> None:
    """All three bands are near 260 V, so that no jump adds anything; the limit is 1.3 T."""
    found = heated(plain(), {"flux_t": 1.1}, {"flux_t": tesla}, {"flux_t": 1.2}, tops=(260.0, 260.0, 260.0))
    fault = (Severity.FAULT, 'band "direct"', F(260), F(str(tesla)))
    assert flux(with_core(found, flux_limit_t=F("1.3"))) == ([fault] if told else [])
    assert flux(with_core(found)) == []
    assert flux(found) == []  # no core at all


@pytest.mark.parametrize(("limit", "told"), [("1.4", False), ("1.3", False), ("1.29", True)])
def test_flux_only_after_a_jump_of_the_line_is_a_warning(limit: str, told: bool) -> None:
    """1 T at 200 V is 1.3 T when the line jumps to 260 V; the 1.2 T at 250 V become 1.248 T only."""
    found = heated(plain(), {"flux_t": 1.0}, {"flux_t": 1.2}, {"flux_t": None})
    warning = (Severity.WARNING, 'band "boost"', F(260), F("1.3"))
    assert flux(with_core(found, flux_limit_t=F(limit))) == ([warning] if told else [])


def test_steady_flux_is_told_alone_and_before_a_jump() -> None:
    found = heated(plain(), {"flux_t": 1.4}, {"flux_t": 1.2}, {"flux_t": 1.2})
    assert flux(with_core(found, flux_limit_t=F("1.3"))) == [(Severity.FAULT, 'band "boost"', F(200), F("1.4"))]


def test_a_feed_has_steady_flux_and_never_a_jump() -> None:
    """The line does not jump onto a feed: 1 T at 10 V is not 26 T at 260 V."""
    found = heated(plain(), {"flux_t": 0.5}, {}, {})
    assert flux(with_core(fed(found, flux_t=1.0), flux_limit_t=F("1.3"))) == []
    strong = with_core(fed(found, flux_t=1.5), flux_limit_t=F("1.3"))
    assert flux(strong) == [(Severity.FAULT, 'feed "inverter"', F(10), F("1.5"))]
    (one,) = over_flux(reviewed(), strong)
    assert one.witness.bands is None
    assert flux(with_core(fed(heated(plain(), {}, {}, {}), flux_t=1.0), flux_limit_t=F("1.3"))) == []


def test_without_an_area_there_is_no_flux() -> None:
    found = heated(plain(), {}, {}, {})
    assert flux(with_core(found, flux_limit_t=F("0.1"))) == []


# --- current density ---


def currents(copper: Copper, **section: Any) -> list[Finding]:
    found = replace(changed(plain(), copper=copper), sections=(replace(SECTION, **section),))
    return list(over_current(found))


@pytest.mark.parametrize("stated", [True, False])
def test_a_wire_beyond_the_density_by_hand(stated: bool) -> None:
    """10 A at 5 A/mm2 are 2 mm2, which carry 8 A at 4 A/mm2; without a density stated it is common practice."""
    limit = F(4) if stated else Copper().density
    (one,) = currents(Copper(density_a_mm2=limit if stated else None))
    assert limit < 5
    assert (one.severity, one.where) == (Severity.FAULT if stated else Severity.WARNING, 'winding "a"')
    shown = one.witness
    assert (shown.bands, shown.input_v, shown.current_a, shown.wire) == (("boost",), 200, 10, "1.6 mm")
    assert (shown.limit_a, shown.density_a_mm2, shown.limit_a_mm2) == (2 * limit, 5, limit)
    assert shown.stated is stated


@pytest.mark.parametrize(("density", "told"), [(5.0, False), (5.000000001, False), (5.001, True), (4.9, False)])
def test_a_wire_at_the_density_is_right(density: float, told: bool) -> None:
    assert bool(currents(Copper(density_a_mm2=F(5)), density=density)) is told


@pytest.mark.parametrize("section", [{"chosen": True}, {"amperes": None}, {"at": None}, {"density": None}], ids=str)
def test_of_a_wire_that_is_chosen_or_whose_current_is_not_known_nothing_is_told(section: dict[str, Any]) -> None:
    assert currents(Copper(density_a_mm2=F(1)), **section) == []


def test_after_a_section_of_which_nothing_is_known_the_next_is_judged() -> None:
    sections = (replace(SECTION, chosen=True), replace(SECTION, density=3.0), replace(SECTION, name="c", wire=None))
    found = replace(changed(plain(), copper=Copper(density_a_mm2=F(4))), sections=sections)
    (one,) = over_current(found)
    assert (one.where, one.witness.wire) == ('winding "c"', None)


# --- window ---


def coil() -> Coil:
    """Three sections in 0.9 mm wire, on a former in a window of 60 mm height."""
    made = design(TAPPED, {"K": ("OUT", "A", "B")})
    wound: tuple[Winding, ...] = tuple(replace(one, wire_mm=F(9, 10)) for one in made.windings)
    found = coil_of(replace(made, windings=wound, core=plate("7"), former=FORMER))
    assert isinstance(found, Coil)
    assert found.flat_mm < found.build_mm
    return found


def in_window(wide: Fraction) -> list[Finding]:
    """The coil in a window as wide as that."""
    one = coil()
    limb = replace(one.limb, window=replace(one.limb.window, wide_mm=wide))
    return list(window_full(replace(plain(), coil=replace(one, limb=limb))))


def test_a_coil_that_fits_to_a_hair_fits_and_one_of_which_only_the_bulge_does_not_is_warned_of() -> None:
    one = coil()
    hair = F(1, 10**6)
    assert in_window(one.build_mm) == []
    (bulging,) = in_window(one.build_mm - hair)
    (flat,) = in_window(one.flat_mm)
    (deep,) = in_window(one.flat_mm - hair)
    assert [each.severity for each in (bulging, flat, deep)] == [Severity.WARNING, Severity.WARNING, Severity.FAULT]
    assert {each.where for each in (bulging, flat, deep)} == {"core"}
    shown = deep.witness
    assert (shown.layers, shown.flat_mm, shown.build_mm) == (len(one.layers), one.flat_mm, one.build_mm)
    assert shown.width_mm == one.flat_mm - hair


def test_a_coil_that_could_not_be_laid_is_a_fault() -> None:
    (wide,) = window_full(replace(plain(), coil=TooWide("b", F(9), F(8))))
    assert (wide.severity, wide.where, wide.witness.turn_mm, wide.witness.width_mm) == (
        Severity.FAULT,
        'winding "b"',
        9,
        8,
    )
    (deep,) = window_full(replace(plain(), coil=TooDeep(1001, F(70), F(80), F(20))))
    shown = deep.witness
    assert (deep.severity, deep.where) == (Severity.FAULT, "core")
    assert (shown.layers, shown.flat_mm, shown.build_mm, shown.width_mm) == (1001, 70, 80, 20)


def filled(copper: float | None, stated: str | None, **parts: Any) -> list[Finding]:
    """So much copper in a window of 100 mm2, of which 40 mm2 may be filled."""
    use = WindowUse(copper, 100.0, 0.4, None)
    found = with_core(replace(plain(), window=use, **parts), fill_limit=None if stated is None else F(stated))
    return list(window_full(found))


@pytest.mark.parametrize(
    ("copper", "stated", "severity"),
    [
        (40.0, None, None),
        (40.1, None, Severity.WARNING),
        (100.0, None, Severity.WARNING),
        (100.1, None, Severity.FAULT),
        (40.0, "0.4", None),
        (40.1, "0.4", Severity.FAULT),
        (None, "0.4", None),
    ],
)
def test_a_share_of_copper(copper: float | None, stated: str | None, severity: Severity | None) -> None:
    found = filled(copper, stated)
    assert [one.severity for one in found] == ([] if severity is None else [severity])
    if copper is not None and severity is not None:
        shown = found[0].witness
        assert (found[0].where, shown.copper_mm2, shown.worst_pct) == ("core", F(str(copper)), F(str(copper)))
        assert (shown.limit_pct, shown.stated) == (40, stated is not None)


def test_where_the_layers_are_known_the_share_counts_only_where_it_is_stated() -> None:
    one = coil()
    fits = replace(one, limb=replace(one.limb, window=replace(one.limb.window, wide_mm=F(100))))
    assert filled(41.0, None, coil=fits) == []
    assert [each.severity for each in filled(41.0, "0.4", coil=fits)] == [Severity.FAULT]
    assert list(window_full(replace(plain(), coil=None, window=None))) == []
    assert list(window_full(replace(plain(), coil=fits, window=WindowUse(41.0, 100.0, 0.4, None)))) == []
    assert list(window_full(replace(plain(), window=WindowUse(41.0, 100.0, 0.4, None)))) == []  # no core described


# --- temperature ---


def warm(*rises: float | None, limit: int | None = 90) -> Ratings:
    found = heated(plain(), *({"rise_k": one} for one in rises))
    return with_core(found, ambient_c=F(30), temperature_limit_c=None if limit is None else F(limit))


@pytest.mark.parametrize(("rise", "told"), [(59.0, False), (60.0, False), (60.5, True)])
def test_hot_is_above_the_limit_and_where_it_is_hottest(rise: float, told: bool) -> None:
    """30 degrees around and 60 K are the limit of 90 degrees."""
    found = list(hot(warm(20.0, None, rise)))
    assert [(one.severity, one.where) for one in found] == ([(Severity.WARNING, 'band "buck"')] if told else [])
    if told:
        shown = found[0].witness
        assert (shown.bands, shown.rise_k, shown.ambient_c) == (("buck",), F("60.5"), 30)
        assert (shown.reached_c, shown.limit_c) == (F("90.5"), 90)


def test_of_equal_temperatures_the_first_is_told_and_a_feed_counts_too() -> None:
    found = reaching(warm(70.0, 70.0, 10.0), F(90))
    assert found is not None
    assert found.where == 'band "boost"'
    hotter = reaching(fed(warm(70.0, 60.0, 10.0), rise_k=71.0), F(90))
    assert hotter is not None
    assert (hotter.where, hotter.shown.bands, hotter.shown.reached_c) == ('feed "inverter"', None, 101)
    same = reaching(fed(warm(70.0, 60.0, 10.0)), F(90))  # a feed that warms nothing
    assert same is not None
    assert same.where == 'band "boost"'


def test_without_a_limit_an_estimate_or_a_core_nothing_is_hot() -> None:
    assert reaching(warm(70.0, 60.0, 50.0), None) is None
    assert reaching(warm(None, None, None), F(90)) is None
    assert reaching(heated(plain(), {"rise_k": 70.0}, {}, {}), F(90)) is None
    assert list(hot(warm(70.0, 60.0, 50.0, limit=None))) == []
    assert list(hot(heated(plain(), {"rise_k": 70.0}, {}, {}))) == []
