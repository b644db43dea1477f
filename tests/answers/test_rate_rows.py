"""The rows of `rate` that the file decides: what is short, chosen, or carried where, and their sentences."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.rate import Rated, rated
from tapplan.answers.raterows import CoreRow, PermittedRow
from tapplan.checks.review import review
from tapplan.design.file import load, parse
from tapplan.pages.screens import rate as rate_screen
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"
HUT = DESIGNS / "shepherds-hut.toml"


@cache
def hut() -> Rated:
    return rated(review(load(HUT)))


def core(**changes: object) -> CoreRow:
    made = CoreRow(
        name="x",
        net_mm2=1200.0,
        window_mm2=900.0,
        mean_turn_mm=200.0,
        mass_kg=2.5,
        copper_mm2=300.0,
        copper_kg=1.25,
        fill=0.3,
        fill_limit=0.4,
        reclosing_t=None,
        reclosing_of_limit=None,
    )
    return replace(made, **changes)


def test_a_permitted_load_is_short_where_it_is_under_the_load_of_the_file() -> None:
    """The load of the file is asked of the same design, once at what is least permitted and once just above."""
    least = min(one.va for one in hut().permitted)
    text = HUT.read_text()
    for asked, short in ((int(least) - 1, False), (int(least) + 5, True)):
        changed, count = re.subn(r"(?m)^load_va += .*$", f"load_va = {asked}", text)
        assert count == 1
        rows = rated(review(parse(changed, "hut.toml"))).permitted
        assert [one.short for one in rows] == [one.va < asked for one in rows]
        assert any(one.short for one in rows) is short


def test_the_core_says_what_a_line_that_comes_back_does_only_where_it_leaves() -> None:
    told = core().told
    assert told == "Core: 1200 mm2 net, 2.5 kg; copper 1.25 kg in 300 mm2 bare, 30.0 % of the window (limit 40.0 %)."
    back = core(reclosing_t=3.456, reclosing_of_limit=2.35).told
    assert back.startswith(told + "\n")
    assert "reach for 3.46 T, 2.35 times the limit: a saturated core" in back
    assert "reach for 3.46 T: a saturated core" in core(reclosing_t=3.456).told


def test_a_core_after_a_flight_reaches_for_a_multiple_of_its_highest_flux() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        answer = rated(review(load(path)))
        if answer.core is None or answer.core.reclosing_t is None:
            continue
        levels = [one.flux_t for one in answer.heat if one.flux_t is not None]
        limit = answer.core.reclosing_t / answer.core.reclosing_of_limit
        assert answer.core.reclosing_t > max(levels)
        assert limit == pytest.approx(float(load(path).core.flux_limit_t))
        return
    pytest.fail("no shipped design has a core and a flight of the line")


def test_a_feed_without_a_core_has_no_heat() -> None:
    (feed,) = hut().feeds
    assert feed.warm is (feed.rise_k is not None or feed.copper_w is not None)
    assert feed.flux_t is not None
    assert feed.copper_w is not None


@pytest.mark.parametrize(
    ("va", "most", "length"), [(50.0, 100.0, 20), (100.0, 100.0, 40), (0.0, 100.0, 1), (None, 1, 1)]
)
def test_a_bar_of_permitted_load_is_its_share_of_the_most(va: float | None, most: float, length: int) -> None:
    row = PermittedRow(band="x", input_v=F(200), va=va, limited_by="-", short=False)
    others = [replace(row, va=most)] if va is not None else []
    shown = rate_screen._permitted([row, *others], 200)
    assert isinstance(shown[1], Text)
    assert shown[1].plain.splitlines()[0].count("=") == length


def test_sections_and_contacts_say_where_they_carry_the_most() -> None:
    bands = {one.band for one in hut().bands} | {one.name for one in hut().feeds}
    for one in (*hut().sections, *hut().contacts):
        assert one.at in bands
    for one in hut().sections:
        assert one.place == f"{one.at}, {words.figure(one.at_v, 1)} V"
        assert one.wire_told == one.wire == f"{one.wire_mm:g} mm"
    (feed,) = hut().feeds
    low, high = feed.loaded_output_v
    assert 0 < low < high < 272
    assert feed.current_a > 0


def test_wire_that_the_file_leaves_open_is_chosen_and_said_so() -> None:
    text = re.sub(r"(?m)^wire_mm = .*$", "", HUT.read_text(encoding="utf-8"))
    rows = rated(review(parse(text, "hut.toml"))).sections
    assert {one.wire_chosen for one in rows} == {True}
    assert all(one.wire_told == f"{one.wire} (chosen)" for one in rows)
