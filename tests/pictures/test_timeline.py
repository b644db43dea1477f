"""Timelines of moves: read against the printed time they say when contacts open, close and are still."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest

from tapplan.checks.flight import Flight, flights_of
from tapplan.checks.review import review
from tapplan.design.model import Design, Sequence
from tapplan.pictures.style import svg
from tapplan.pictures.timeline import MOST_DRAWN, MOST_HIGH, WIDTH, time_scale, timelines
from tests.bench.stages import table
from tests.examples import PAIR, SHIPPED, TAPPED, design, long_chain, many_bands, narrow_chain
from tests.pictures.texts import Page, measured

F = Fraction
SVG = "{http://www.w3.org/2000/svg}"
NAMES = (*(path.stem for path in SHIPPED), "8 relays", "12 relays", "6 relays", "long names", "ordered")


@cache
def flown(name: str) -> tuple[Flight, ...]:
    return tuple(flights_of(review(stage(name))))


def stage(name: str) -> Design:
    made = {"8 relays": narrow_chain, "12 relays": long_chain, "6 relays": many_bands}
    if name in made:
        return made[name]()
    signal_box = shipped("signal-box")
    if name == "long names":
        return replace(
            signal_box,
            bands=tuple(
                replace(one, name=f"{one.name}, as nobody ever named a band yet") for one in signal_box.bands
            ),
        )
    if name == "ordered":
        return replace(signal_box, sequence=Sequence(order="safest", pause_ms=F(20), blank_ms=F(50)))
    return shipped(name)


def shipped(name: str) -> Design:
    return table(next(path for path in SHIPPED if path.stem == name)).design


@cache
def drawn(name: str) -> str:
    return svg(timelines(flown(name)), "moves")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Page]:
    return dict(zip(NAMES, measured([drawn(name) for name in NAMES], tmp_path_factory.mktemp("moves")), strict=True))


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # noqa: S314 - our own text


def groups(root: ElementTree.Element) -> dict[int, ElementTree.Element]:
    """The moves, by their places among all."""
    found = [one for one in root.iter(f"{SVG}g") if str(one.get("id")).startswith("move-")]
    return {int(str(one.get("id")).removeprefix("move-")): one for one in found}


def clock(root: ElementTree.Element) -> Callable[[float], float]:
    """From places to ms, as a reader does it: by the numbers printed over the time."""
    printed = [
        one for one in root.iter(f"{SVG}text") if one.get("class") == "faint" and one.get("text-anchor") == "middle"
    ]
    ends = sorted((float(str(one.get("x"))), float(str(one.text))) for one in printed)
    (x1, t1), (x2, t2) = ends[0], ends[-1]
    return lambda place: t1 + (place - x1) * (t2 - t1) / (x2 - x1)


def bars(group: ElementTree.Element, kind: str, at: Callable[[float], float]) -> list[list[float]]:
    """From when to when bars of a class run, in the order drawn."""
    found = [one for one in group.iter(f"{SVG}rect") if one.get("class") == kind]
    places = [(float(str(one.get("x"))), float(str(one.get("width")))) for one in found]
    return [[at(x), at(x + wide)] for x, wide in places]


def throws(flight: Flight, relay: str) -> list[str]:
    """Those that the file gives to some pole of a relay, NC first."""
    contacts = flight.review.circuit.contacts
    number = flight.review.circuit.relays.index(relay)
    return sorted({one.throw for one in contacts if one.relay == number})


def texts(group: ElementTree.Element) -> list[str]:
    return [str(one.text) for one in group.iter(f"{SVG}text")]


@pytest.mark.parametrize("name", NAMES)
def test_no_text_lies_on_another_or_outside(name: str, pages: dict[str, Page]) -> None:
    assert pages[name].overlapping == []
    assert pages[name].outside == []
    assert pages[name].width == WIDTH


@pytest.mark.parametrize("name", NAMES)
def test_bars_are_the_times_of_the_flown_move(name: str) -> None:
    """Pale: where it may open, and from the first touch until it is still; the blanking until readings count."""
    root = parsed(drawn(name))
    at, found = clock(root), groups(root)
    assert found
    for number, group in found.items():
        one = flown(name)[number]
        given = one.flown.given
        pale = iter(bars(group, "may-be-shut", at))
        for relay, flight in zip(one.move.movers, given.flights, strict=True):
            leaves = [flight.opens.low, flight.opens.high]
            comes = [flight.touches.low, flight.settled]
            wanted_of = dict(
                zip(("nc", "no"), (leaves, comes) if relay in one.move.new else (comes, leaves), strict=True)
            )
            for wanted in (wanted_of[throw] for throw in throws(one, relay)):
                assert next(pale) == pytest.approx([float(time) for time in wanted], abs=0.01)
        assert list(pale) == []
        blanked = bars(group, "blanked", at)
        wanted = [[0, float(given.decides_ms)]] if one.move.chosen else []
        assert blanked == [pytest.approx(span, abs=0.01) for span in wanted]
        told = texts(group)
        assert (
            f"output on nothing up to {float(one.gap_ms):g} ms" in told or not one.gap_ms or "can short turns" in told
        )
        assert ("can short turns" in told) == bool(one.shorts)


def test_a_move_of_two_relays_one_after_the_other_by_hand() -> None:
    """Coils that let go within 6 ms, 4 ms of travel, 2 of bounce, one 20 ms after the other, then 50 ms blanked."""
    root = parsed(drawn("ordered"))
    number = next(n for n, one in enumerate(flown("ordered")) if one.move.name == '"boost" to "buck"')
    group, at = groups(root)[number], clock(root)
    told = texts(group)
    assert {"KA", "KB"} <= set(told)
    assert "readings count from 70 ms" in told
    assert {"coil at 0, opens 0 to 6 ms", "closes 0 to 10, still by 12 ms"} <= set(told)
    assert {"coil at 20, opens 20 to 26 ms", "closes 20 to 30, still by 32 ms"} <= set(told)
    assert bars(group, "blanked", at) == [pytest.approx([0, 70], abs=0.01)]
    pale = sorted(bars(group, "may-be-shut", at))
    assert pale == [pytest.approx(one, abs=0.01) for one in ([0, 6], [0, 12], [20, 26], [20, 32])]
    sure = bars(group, "shut", at)
    assert sorted(start for start, _ in sure if start >= 0) == pytest.approx([12, 32], abs=0.01)
    assert sorted(end for start, end in sure if start < 0) == pytest.approx([0, 20], abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_up_to_thirty_moves_are_all_drawn_and_of_more_those_that_differ(name: str) -> None:
    root, every = parsed(drawn(name)), flown(name)
    found = groups(root)
    if len(every) <= MOST_DRAWN:
        assert sorted(found) == list(range(len(every)))
        return
    assert len(found) <= MOST_DRAWN
    assert float(str(root.get("height"))) <= MOST_HIGH + 100
    told = [
        title for group in found.values() for one in group.iter(f"{SVG}title") for title in str(one.text).split(", ")
    ]
    left = [one for one in texts(root) if one.startswith("not drawn: ")]
    assert len(told) == len(set(told))
    assert len(told) + sum(int(one.split()[2]) for one in left) == len(every)
    drawn_names = set(told)
    worst = max(every, key=lambda one: (bool(one.shorts), one.gap_ms, one.takes_ms))
    assert worst.move.name in drawn_names
    least = min((bool(one.shorts), one.gap_ms, one.takes_ms) for one in every if one.move.name in drawn_names)
    for one in every:
        if one.move.name not in drawn_names:
            assert (bool(one.shorts), one.gap_ms, one.takes_ms) <= least


def test_the_scale_has_room_for_the_longest_move() -> None:
    """A coil that gets its voltage: 9 ms to operate, 4 of travel, 2 of bounce."""
    assert float(time_scale(flown("signal-box")).until_ms) == 15


def test_a_contact_that_is_not_there_has_no_lane() -> None:
    """A relay that only makes: NO alone, and nothing to open when driven; one that changes over: both."""
    made = design(TAPPED, PAIR, bands=[("b", ["KO"], 160, 192), ("d", ["KL", "KO"], 188, 246)])
    single = replace(made.relays[0], nc=None, poles=tuple(replace(one, nc=None) for one in made.relays[0].all_poles))
    reviewed = review(replace(made, relays=(single, *made.relays[1:])))
    found = [one for one in flights_of(reviewed) if one.move.movers == ("KL",)]
    assert found
    told = texts(parsed(svg(timelines(found[:1]), "a move")))
    assert "NO" in told
    assert "NC" not in told
    assert found[0].move.new >= {"KL"}
    assert {"coil at 0 ms", "closes 0 to 25, still by 30 ms"} <= set(told)
    both = flights_of(review(made))
    told = texts(parsed(svg(timelines(both[:1]), "a move")))
    assert {"NC", "NO"} <= set(told)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_names_stay_text(path: Path) -> None:
    """The name of each move stands in its group as it is, and is its title."""
    found = groups(parsed(drawn(path.stem)))
    for number, group in found.items():
        name = flown(path.stem)[number].move.name
        assert [one for one in texts(group) if one.startswith(name[:20])]
        assert [str(one.text).split(", ")[0] for one in group.iter(f"{SVG}title")] == [name]
