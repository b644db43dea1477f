"""What makes no sense though each value is well formed: names, counts, ranges, a request's wishes; at their edges."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.design.file import parse
from tapplan.design.model import Design, Sensing
from tapplan.design.objection import Objection
from tapplan.design.sense import build, service, wiring
from tapplan.design.starter import STARTER
from tapplan.errors import DesignError

F = Fraction
REQUEST = STARTER.split("# The winding")[0]
FLUX = "[core]\nflux_limit_t = 1.3\n[fit]\n"
TURNS = "[fit]\ntotal_turns = 600\n"
SUPPLIED = """
[[feed]]
name = "inverter"
winding = "battery"
volts_v = [20, 25]
[battery]
winding = "battery"
float_v = [27, 27.6]
[coil_supply]
winding = "coils"
"""


def told(text: str) -> list[str]:
    """What is wrong with a text, one of each line, without the file's name and the line."""
    try:
        parse(text, "x.toml")
    except DesignError as refused:
        return [f"{one.key}: found {one.found}; accepted: {one.accepted}" for one in refused.problems]
    return []


# --- names of windings ---


def test_a_request_names_windings_that_are_yet_to_be_made() -> None:
    assert told(REQUEST + TURNS + SUPPLIED) == []


@pytest.mark.parametrize("fit", ["", TURNS], ids=["design", "design with its request"])
def test_where_there_are_windings_the_named_one_is_among_them(fit: str) -> None:
    known = 'accepted: a winding of this design: "base", "step 1", "step 2"'
    assert told(STARTER + fit + SUPPLIED) == [
        f'feed[1].winding: found "battery"; {known}',
        f'battery.winding: found "battery"; {known}',
        f'coil_supply.winding: found "coils"; {known}',
    ]
    assert told(STARTER + fit + SUPPLIED.replace('"battery"', '"base"').replace('"coils"', '"step 2"')) == []


def test_a_design_without_windings_is_none_but_a_request_is() -> None:
    relays = STARTER[STARTER.index("[[relay]]") : STARTER.index("[sensing]")]
    assert told(REQUEST + relays) == ["winding: found no [[winding]]; accepted: at least one winding"]
    assert told(REQUEST + relays + TURNS) == []


def said(rule: Callable[[Design], Iterable[Objection]], made: Design) -> list[str]:
    return [one.found for one in rule(made)]


def test_as_many_parts_as_can_be_gone_through() -> None:
    made = parse(STARTER)
    most = replace(made, windings=made.windings[:1] * 2000, relays=made.relays[:1] * 400)
    assert said(wiring.sizes, most) == []
    one_more = replace(made, windings=made.windings[:1] * 2001, relays=made.relays[:1] * 401)
    assert said(wiring.sizes, one_more) == ["2001 windings", "401 relays"]


# --- volts, wires and windows ---


@pytest.mark.parametrize(
    ("old", "key"), [("range_v      = [187, ", "mains.range_v"), ("window_v  = [207, ", "output.window_v")]
)
def test_a_range_may_begin_just_above_0_v(old: str, key: str) -> None:
    begins = old.rpartition("[")[0]
    bare = STARTER.split("# The control table")[0]
    assert told(bare.replace(old, f"{begins}[0.001, ", 1)) == []
    wrong = f"{key}: found a lower end of 0; accepted: a lower end above 0 V"
    assert told(bare.replace(old, f"{begins}[0, ", 1)) == [wrong]


@pytest.mark.parametrize(
    ("window", "wire", "fits"),
    [("1200", "39.05", True), ("1200", "39.1", False), ("154", "13.99", True), ("154", "14", False)],
)
def test_a_wire_goes_into_a_window_larger_than_its_copper(window: str, wire: str, fits: bool) -> None:
    """A round wire of 39.09 mm has 1200 mm2, the window of EI 120; one of 14 mm has 153.9, with 22/7 for pi 154."""
    text = STARTER.replace("turns = 600", f"turns = 600\nwire_mm = {wire}") + f"[core]\nwindow_mm2 = {window}\n"
    found = f"winding[1].wire_mm: found {wire} mm, thicker than the window of {window} mm2"
    assert told(text) == ([] if fits else [f"{found}; accepted: a wire that goes into the window"])
    assert told(text.replace(f"window_mm2 = {window}", "area_mm2 = 1600")) == []


def test_the_core_is_one_that_a_winding_is_on() -> None:
    on_iron = STARTER.replace("turns = 600", 'turns = 600\ncore = "iron"')
    assert told(f'{on_iron}[core]\nname = "iron"\n') == []
    wrong = 'core.name: found "steel"; accepted: a core of a winding: "core", "iron"'
    assert told(f'{on_iron}[core]\nname = "steel"\n') == [wrong]
    assert told(f'{REQUEST}[core]\nname = "steel"\n{TURNS}') == []


def test_wire_from_a_least_size_up_goes_to_the_thickest_that_is_made() -> None:
    """AWG 4/0 is 11.684 mm, R 20 ends at 5 mm; without a thickest there is no limit of its own."""
    made = parse(STARTER)
    for series, thickest in (("metric", "5"), ("awg", "11.684")):
        copper = replace(made.copper, series=series)  # type: ignore[arg-type]
        assert said(build.sizes, replace(made, copper=replace(copper, thinnest_mm=F(thickest)))) == []
        beyond = replace(made, copper=replace(copper, thinnest_mm=F(thickest) + F("0.001")))
        assert said(build.sizes, beyond) == [f"no wire from {float(F(thickest)) + 0.001:g} mm up"]
        assert said(build.sizes, replace(made, copper=copper)) == []


# --- wishes ---

NEITHER = "accepted: total_turns, the taps of a winding that exists, or a [core] whose size and flux_limit_t say it"
WHOLE = "accepted: two or more different whole numbers of turns"
WISHES = [
    ("[fit]", [f"fit: found neither total_turns nor taps; {NEITHER}"]),
    (f"{TURNS}taps = [300, 344]", ["fit.taps: found taps beside total_turns; accepted: one of them"]),
    ("[fit]\ntaps = [300, 344]", []),
    ("[fit]\ntaps = [300]", [f"fit.taps: found 300; {WHOLE}"]),
    ("[fit]\ntaps = [300, 344, 300]", [f"fit.taps: found 300, 344, 300; {WHOLE}"]),
    ('[fit]\ntaps = [300, "25/2"]', [f"fit.taps: found 300, 25/2; {WHOLE}"]),
    (f"{TURNS}relays = 3\nrelays_max = 3", []),
    (f"{TURNS}relays = 4\nrelays_max = 3", ["fit.relays: found 4; accepted: at most relays_max, 3"]),
    (f"{TURNS}preferred_v = [207, 253]", []),
    (f"{TURNS}preferred_v = [220, 240]", []),
    *(
        (
            f"{TURNS}preferred_v = [{low}, {high}]",
            [f"fit.preferred_v: found {low} to {high} V; accepted: a window inside output.window_v"],
        )
        for low, high in ((206, 240), (220, 254), (100, 200), (260, 300))
    ),
]


@pytest.mark.parametrize(("wish", "wrong"), WISHES, ids=[wish[-40:] for wish, _ in WISHES])
def test_wishes_that_contradict_one_another(wish: str, wrong: list[str]) -> None:
    assert told(f"{REQUEST}{wish}\n") == wrong


def test_a_design_needs_no_wishes() -> None:
    assert said(service.fit, parse(STARTER)) == []


def test_flux_says_how_many_turns_only_of_a_core_that_is_known_or_chosen() -> None:
    """Area and flux limit say the turns of a given voltage; one of the two alone does not."""
    assert told(f'{REQUEST}{FLUX}cores = ["choose"]\n') == []
    neither = [f"fit: found neither total_turns nor taps; {NEITHER}"]
    assert told(f"{REQUEST}{FLUX}") == neither
    assert told(f"{REQUEST}{FLUX}".replace("flux", "area_mm2 = 1600\nflux")) == []
    assert told(f"{REQUEST}{FLUX}".replace("flux_limit_t = 1.3", "area_mm2 = 1600")) == neither


BESIDE = "accepted: cores beside output.load_va and [core] flux_limit_t, by which one is chosen"


@pytest.mark.parametrize("lacking", ["load_va   = 400\n", "flux_limit_t = 1.3\n", "[core]\nflux_limit_t = 1.3\n"])
def test_a_core_is_chosen_by_load_and_flux(lacking: str) -> None:
    text = f'{REQUEST}{FLUX}total_turns = 600\ncores = ["EI 96", "EI 120"]\n'
    assert told(text) == []
    assert lacking in text
    assert told(text.replace(lacking, "")) == [f"fit.cores: found cores without a load or a flux limit; {BESIDE}"]


@pytest.mark.parametrize("size", ['lamination = "EI 96"\nstack_mm = 32', "leg_mm = 32"])
def test_a_core_is_stated_or_chosen(size: str) -> None:
    text = f'{REQUEST}{FLUX}total_turns = 600\ncores = ["choose"]\n'.replace("[core]", f"[core]\n{size}")
    accepted = "one of them: the core that is stated, or cores to choose from"
    assert told(text) == [f"fit.cores: found cores beside the size of a core in [core]; accepted: {accepted}"]


def test_each_core_to_choose_from_is_a_lamination() -> None:
    text = f'{REQUEST}{FLUX}cores = ["EI 96", "EI 97", "EI 120", "choose"]\n'
    assert [one.split(";")[0] for one in told(text)] == [
        'fit.cores[2]: found "EI 97"',
        'fit.cores[4]: found "choose"',
    ]
    (first, _) = told(text)
    assert 'accepted: laminations of "EI 30", ' in first
    assert first.endswith('or ["choose"] alone')


def test_a_design_with_cores_to_choose_from_is_not_measured_by_its_window() -> None:
    """A former goes into the window of a core that is stated; of one to be chosen nothing is known yet."""
    former = "[former]\nflange_mm = 1.5\nmargin_mm = 3\ninterlayer_mm = 0.1\nbetween_mm = 0.5\n"
    assert told(f'{REQUEST}{former}{FLUX}cores = ["choose"]\n') == []
    unknown = (
        "former: found a former in a window whose sides are not known; accepted: lamination with stack_mm, or leg"
    )
    assert [one[: len(unknown)] for one in told(f"{REQUEST}{former}{FLUX}total_turns = 600\n")] == [unknown]


# --- two confirmations ---


@pytest.mark.parametrize(
    ("up", "down", "both"),
    [(20, 60, (20, 60)), (60, 20, (20, 60)), (None, 60, (30, 60)), (20, None, (20, 30)), (None, None, (30, 30))],
)
def test_the_shorter_and_the_longer_confirmation(up: int | None, down: int | None, both: tuple[int, int]) -> None:
    """`confirm_ms` of 30 is for the direction that has none of its own."""
    own = {key: F(ms) for key, ms in (("confirm_up_ms", up), ("confirm_down_ms", down)) if ms is not None}
    sensing = Sensing(confirm_ms=F(30), **own)
    assert (sensing.shortest_confirmation_ms, sensing.longest_confirmation_ms) == both
