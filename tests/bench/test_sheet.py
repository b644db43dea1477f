"""The test sheet: a healthy board passes every line, and every line is one that some single fault fails."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from random import Random

import pytest

from tapplan.answers.sheet import bench_sheet_of
from tapplan.bench.defects import HEALTHY, Hypothesis, defects
from tapplan.bench.measures import Condition
from tapplan.bench.meter import Meter
from tapplan.bench.offered import measures
from tapplan.bench.predictions import Bench
from tapplan.bench.safety import highest
from tapplan.bench.sheet import SheetLine, sheet
from tapplan.bench.values import ANY
from tapplan.bench.words import told
from tests.bench.board import Board
from tests.bench.stages import table
from tests.examples import SHIPPED

FIRST = {path.stem: path for path in SHIPPED}
by_design = pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)


def lines(path: Path) -> list[SheetLine]:
    return [line for part in sheet(table(path), Meter()).parts for line in part.lines]


@by_design
def test_a_healthy_board_passes_every_line(path: Path) -> None:
    """A board simulated apart from the sheet, with ohms, iron and a meter of its own."""
    board, failed, passed = Board(table(path), HEALTHY, Random(path.stem)), [], 0
    for line in lines(path):
        value = board.show(line.measure)
        fits = value is not None and any(value in span for span in line.passes)
        passed += fits
        if not fits:
            failed.append((told(line.measure), value, line.passes))
    assert failed == []
    assert passed > 15


@by_design
def test_every_line_can_fail(path: Path) -> None:
    bench, meter = Bench(table(path)), Meter()
    singles = [(one,) for one in defects(table(path))]
    made = lines(path)
    for line in made:
        sound = meter.widened(line.measure, bench.predicted(HEALTHY, line.measure))
        assert line.passes == sound
        breaking = (
            one
            for one in singles
            if all(
                a.meet(b) is None
                for a in meter.widened(line.measure, bench.predicted(one, line.measure))
                for b in sound
            )
        )
        assert next(breaking, None) is not None, told(line.measure)
    assert len({line.measure for line in made}) == len(made)


@by_design
def test_windings_and_open_contacts_are_measured_fed(path: Path) -> None:
    """Every section that some coil state excites, and contacts that stand open across turns: volts, not nothing."""
    made = lines(path)
    across = [one for one in made if one.measure.what == "volts" and one.measure.condition.power == "low"]
    windings = [one for one in across if one.measure.at[0].startswith("lug ")]
    assert len(windings) >= len(table(path).circuit.sections) - 1  # of few turns no fault shows in the meter's error
    assert all(span.low > 0 for one in across for span in one.passes)
    contacts = {one.measure.at for one in across if one.measure.at[0].endswith(".com")}
    assert contacts


@by_design
def test_the_short_test_comes_before_the_line_and_says_what_it_needs(path: Path) -> None:
    made = lines(path)
    powers = [one.measure.condition.power for one in made]
    currents = [number for number, one in enumerate(made) if one.measure.what == "current"]
    assert currents
    assert max(currents) < powers.index("line")
    assert powers == sorted(powers, key=["off", "low", "battery", "line"].index)
    told_ = bench_sheet_of(sheet(table(path), Meter()))
    assert "through 22 ohm" in told_.source_told
    assert told_.resistor_w <= 5
    assert all("shorted" in line.watch for line in told_.lines if line.measure == "current")


def test_a_weld_fails_where_ohms_do_not_show_it() -> None:
    """Across an open contact beside a winding of few ohms a meter reads as good as nothing; volts tell."""
    bench, meter = Bench(table(FIRST["ridge-dispensary"])), Meter()
    weld = next((one,) for one in defects(bench.table) if one.told() == "KO stuck-driven")
    failing = [
        line.measure.what
        for line in lines(FIRST["ridge-dispensary"])
        if line.measure.at == ("KO.com", "KO.no") or line.measure.at == ("KO.com", "KO.nc")
        if all(
            a.meet(b) is None
            for a in meter.widened(line.measure, bench.predicted(weld, line.measure))
            for b in line.passes
        )
    ]
    assert "volts" in failing


def test_each_way_of_feeding_is_looked_at_once_for_each_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many readings are taken on one feed: the most volts that a fault brings about there are the same for all."""
    made = table(FIRST["ridge-dispensary"])
    looked: Counter[tuple[Hypothesis, Condition]] = Counter()

    def counted(bench: Bench, hypothesis: Hypothesis, condition: Condition) -> Fraction:
        looked[hypothesis, condition] += 1
        return highest(bench, hypothesis, condition)

    monkeypatch.setattr("tapplan.bench.sheet.highest", counted)
    found = sheet(made, Meter())
    fed = [one.condition for one in measures(made, found.source_v) if one.condition.power == "low"]
    assert len(fed) > len(set(fed))
    assert set(looked.values()) == {1}
    assert {condition for _, condition in looked} == set(fed)


@by_design
def test_the_most_volts_are_those_of_some_two_points_of_some_faulty_stage(path: Path) -> None:
    """Every pair of points of every faulty stage is asked by itself, turn by turn, and none stands higher."""
    made, found = table(path), sheet(table(path), Meter())
    bench, volts = Bench(made), found.source_v
    most = volts
    for condition in {one.condition for one in measures(made, volts) if one.condition.power == "low"}:
        for hypothesis in (HEALTHY, *((one,) for one in defects(made))):
            for coils in bench.coils(hypothesis, condition):
                fed = bench._fed_circuit(hypothesis, condition, bench._stages.of(hypothesis, coils))
                if fed.turns is not None and not fed.shorted:
                    shown = (
                        fed.between(*ends, loaded=False) for ends in combinations(range(len(fed.joined.part)), 2)
                    )
                    most = max(most, *(one[0].high for one in shown if one != ANY))
    assert found.most_v == most
