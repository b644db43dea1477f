"""What is worth measuring on a design, and that no more of it is foretold than can be waited for."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from math import comb
from typing import Any

import pytest

from tapplan.bench import offered
from tapplan.bench.copper import KnownCopper
from tapplan.bench.defects import HEALTHY, defects
from tapplan.bench.dictionary import Setup
from tapplan.bench.isolation import Isolation
from tapplan.bench.meter import Meter
from tapplan.bench.offered import keep_to_work, measures
from tapplan.bench.predictions import Bench
from tapplan.bench.sheet import sheet
from tapplan.control.table import ControlTable, control_table
from tapplan.errors import UsageError
from tapplan.exact import Span
from tapplan.network.circuit import Section
from tests.bench.stages import table
from tests.examples import ROOT, add_in, design

PUMP = ROOT / "designs" / "spring-pump.toml"


def sections_of(count: int) -> ControlTable:
    """So many add-in sections on relays of their own, with two bands: all added in, and all left out."""
    made = add_in(count)
    every = [one.name for one in made.relays]
    sections = [(one.name, *one.ends, one.turns) for one in made.windings]
    links = {one.name: (pole.com, pole.nc, pole.no) for one in made.relays for pole in one.all_poles}
    bands = [("low", every, 150, 200), ("high", [], 195, 240)]
    return control_table(design(sections, links, bands=bands))


def counted(made: ControlTable) -> int:
    """Readings to foretell: each measurement under each single fault."""
    return len(measures(made, Fraction(1))) * len(defects(made))


@pytest.mark.parametrize(("relays", "done"), [(16, True), (40, False)])
def test_a_stage_of_forty_relays_is_refused_at_once_and_one_of_sixteen_is_not(relays: int, done: bool) -> None:
    """Of n sections n drives and 2 n + 1 leads can be swapped two by two: of forty 780 and 3240 faults."""
    made = sections_of(relays)
    faults = len(defects(made))
    assert faults > comb(relays, 2) + comb(2 * relays + 1, 2)
    assert (counted(made) <= offered.MOST_FORETOLD) == done
    if done:
        keep_to_work(made, faults)
        return
    with pytest.raises(
        UsageError, match=r"readings to foretell; accepted: up to 1,000,000 of them.*`tapplan faults`"
    ):
        keep_to_work(made, faults)


@pytest.mark.parametrize("verb", [lambda made: sheet(made, Meter()), Isolation], ids=["bench", "isolate"])
def test_what_is_refused_foretells_nothing_and_what_is_just_accepted_all(
    verb: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    foretold = Bench.predicted

    def watched(bench: Bench, *given: Any) -> Any:
        asked.append(given)
        return foretold(bench, *given)

    monkeypatch.setattr(Bench, "predicted", watched)
    made = table(PUMP)
    monkeypatch.setattr(offered, "MOST_FORETOLD", counted(made) - 1)
    with pytest.raises(
        UsageError, match=f"found {len(defects(made))} single faults and .* {counted(made):,} readings"
    ):
        verb(made)
    assert asked == []
    monkeypatch.setattr(offered, "MOST_FORETOLD", counted(made))
    verb(made)
    assert asked


@pytest.mark.parametrize("verb", ["bench", "isolate"])
def test_it_is_told_how_many_measurements_have_been_foretold(verb: str) -> None:
    told: list[tuple[int, int]] = []
    made = table(PUMP)
    if verb == "bench":
        sheet(made, Meter(), lambda done, of: told.append((done, of)))
    else:
        Isolation(made, Setup(watch=lambda done, of: told.append((done, of)))).diagnosis()
    count = len(measures(made, Fraction(1)))
    assert told == [(number, count) for number in range(count)]


def test_what_a_section_opposes_a_small_source_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Thousands of shorted stages have the same windings in them, one of them turned round at most."""
    asked: Counter[Section] = Counter()
    leakage = KnownCopper.leakage

    def watched(copper: KnownCopper, section: Section) -> Span:
        asked[section] += 1
        return leakage(copper, section)

    monkeypatch.setattr(KnownCopper, "leakage", watched)
    sheet(table(PUMP), Meter())
    assert set(asked.values()) == {1}


def test_readings_that_a_fault_leaves_alone_are_not_held_against_the_meter(monkeypatch: pytest.MonkeyPatch) -> None:
    """The meter's error is put around what differs from a healthy stage, and once around what that shows."""
    widened: Counter[object] = Counter()
    around = Meter.widened

    def watched(meter: Meter, measure: Any, prediction: Any) -> Any:
        widened[measure, prediction == bench.predicted(HEALTHY, measure)] += 1
        return around(meter, measure, prediction)

    made = table(PUMP)
    bench = Bench(made)
    monkeypatch.setattr(Meter, "widened", watched)
    found = sheet(made, Meter())
    sound = [count for (_, same), count in widened.items() if same]
    assert len(sound) == len(measures(made, found.source_v))
    assert set(sound) == {1}
