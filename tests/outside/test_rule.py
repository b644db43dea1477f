"""The literal decision against tables whose answers are known, and the stage's own reading of the shipped designs.

`tests/control/decisions_golden.json` holds sixty tables with their decisions as sorted cuts: own derivation, no
outside source.
"""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.outside.rule import HUNTING, TINY, Row, Table, decide, slow_course, table_of
from tests.outside.stage import AWAY, DRIVEN, OPEN, REST, Network, read, volts

F = Fraction
ROOT = Path(__file__).parents[2]
GOLDEN: list[dict[str, Any]] = json.loads((ROOT / "tests/control/decisions_golden.json").read_text())


def pair(given: list[str] | None) -> tuple[F, F] | None:
    return None if given is None else (F(given[0]), F(given[1]))


def golden_table(case: dict[str, Any]) -> Table:
    rows = [
        Row(row["name"], F(row["ratio"]), F(row["sensed_ratio"]), (F(row["hold_v"][0]), F(row["hold_v"][1])))
        for row in case["rows"]
    ]
    return Table(
        rows=tuple(rows),
        at_input=case["sensed"] == "input",
        nominal=F(case["nominal_v"]),
        away_sensed=F(case["sensed_ratio_away"]),
        leave=pair(case["leave_v"]),
        back=pair(case["return_v"]),
    )


def known_answer(node: dict[str, Any], reading: F) -> str:
    passed = sum(reading > F(cut["mark"]) or (reading == F(cut["mark"]) and not cut["above"]) for cut in node["cuts"])
    answer: str = node["answers"][passed]
    return answer


def telling_readings(node: dict[str, Any]) -> list[F]:
    """Each cut, just beside it, and the middle between neighbours."""
    marks = sorted({F(cut["mark"]) for cut in node["cuts"]})
    beside = [mark + side for mark in marks for side in (-TINY, F(0), TINY)]
    ends = [F(0), *marks, 2 * marks[-1]] if marks else [F(1)]
    return beside + [(low + high) / 2 for low, high in pairwise(ends)] + ends


@pytest.mark.parametrize("case", GOLDEN, ids=range(len(GOLDEN)))
def test_literal_decision_agrees_with_every_cut(case: dict[str, Any]) -> None:
    table = golden_table(case)
    assert [row.name for row in table.rows] == [row["name"] for row in case["rows"]]
    assert {node["row"] for node in case["nodes"]} == {row.name for row in table.rows} | {AWAY}
    for node in case["nodes"]:
        for reading in telling_readings(node):
            assert decide(table, node["row"], reading) == known_answer(node, reading), (node["row"], reading)


def test_the_tables_reach_every_kind_of_answer() -> None:
    """At the input a move can pass over bands, elsewhere it never does; and bands leave and come back."""
    jumps: dict[bool, set[int]] = {True: set(), False: set()}
    away = set()
    for case in GOLDEN:
        table = golden_table(case)
        for node in case["nodes"]:
            for answer in node["answers"]:
                if AWAY in (node["row"], answer):
                    away.add((table.back is not None, node["row"] == AWAY, answer == AWAY))
                else:
                    jumps[table.at_input].add(abs(table.places[answer] - table.places[node["row"]]))
    assert jumps[True] > {0, 1, 2}
    assert jumps[False] == {0, 1}
    assert len(away) == 6


def test_decision_in_floats_is_the_same_off_the_marks() -> None:
    for case in GOLDEN:
        table = golden_table(case)
        for node in case["nodes"]:
            marks = {F(cut["mark"]) for cut in node["cuts"]}
            for mark in marks:
                for reading in (mark - F(1, 10**6), mark + F(1, 10**6)):
                    assert decide(table.in_floats(), node["row"], float(reading)) == decide(
                        table, node["row"], reading
                    )


RIDGE = (ROOT / "designs/ridge-dispensary.toml").read_text()
ORCHARD = (ROOT / "designs/orchard-cold-room.toml").read_text()


def test_ratios_by_hand() -> None:
    stage = read(RIDGE)
    network = Network(stage)
    assert network.settled("boost 2").ratio == F(599, 469)
    assert network.settled("boost 1").ratio == F(530, 469)
    assert network.settled("direct").ratio == 1
    assert network.settled("buck").ratio == F(530, 599)
    assert network.outcome((OPEN, REST)).kind == "unfed"
    assert network.outcome((DRIVEN, OPEN)).kind == "floating"


def test_several_windings_and_a_reading_beside_them() -> None:
    table = table_of(read(ORCHARD))
    assert [row.ratio for row in table.rows] == [F(426, 362), F(426, 409), F(426, 460), F(426, 518)]
    assert [row.sensed for row in table.rows] == [F(24, 362), F(24, 409), F(24, 460), F(24, 518)]


ADD_IN = """
title = "a second core whose section is added to the output, turned round, or bridged"
mains = { nominal_v = 100, range_v = [90, 110] }
output = { nominal_v = 100, window_v = [90, 110], load_va = 100 }
terminals = { line = "L", neutral = "N", output = "O" }
winding = [
    { name = "main", ends = ["N", "L"], turns = 400, core = "a" },
    { name = "tertiary", ends = ["N", "T"], turns = 100, core = "a" },
    { name = "drive", ends = ["N", "D"], turns = 300, core = "b" },
    { name = "section", ends = ["S", "O"], turns = 60, core = "b" },
]
relay = [
    { name = "K1", com = "D", nc = "N", no = "T" },
    { name = "K2", com = "S", nc = "L", no = "O" },
]
band = []
"""


def test_two_cores_by_hand() -> None:
    network = Network(read(ADD_IN))
    driven = network.outcome((DRIVEN, REST))
    assert driven.ratio == 1 + F(100, 400) * F(60, 300)  # core b at 100/400/300 volts a turn
    assert driven.loaded_ratio == pytest.approx(float(driven.ratio), rel=1e-6)
    assert network.outcome((REST, REST)).kind == "shorted"  # the drive of core b on itself
    assert network.outcome((DRIVEN, DRIVEN)).kind == "shorted"
    assert network.outcome((OPEN, REST)).kind == "undetermined"
    assert network.outcome((DRIVEN, OPEN)).kind == "floating"


@pytest.mark.parametrize("text", [RIDGE, ORCHARD], ids=["ridge", "orchard"])
def test_nodal_analysis_without_load_repeats_the_turns(text: str) -> None:
    stage = read(text)
    network = Network(stage)
    for band in stage.bands:
        outcome = network.settled(band.name)
        assert outcome.ratio is not None
        nodal = volts(stage, stage.standing(band.name), None)
        assert nodal.at({stage.output: 1}) == pytest.approx(float(outcome.ratio), rel=1e-9)
        assert nodal.drawn == pytest.approx(0, abs=1e-9)


LOADED = """
title = "one winding, loaded, with figures to work by hand"
mains = { nominal_v = 100, range_v = [90, 110] }
output = { nominal_v = 100, window_v = [90, 110], load_va = 1000 }
terminals = { line = "L", neutral = "N", output = "O" }
winding = [
    { name = "lower", ends = ["N", "L"], turns = 100, resistance_ohm = 0.4 },
    { name = "upper", ends = ["L", "T"], turns = 25, resistance_ohm = 0.1 },
]
relay = [{ name = "K", com = "O", no = "T", contact_ohm = 0.02 }]
band = []
"""


def test_load_drop_by_hand() -> None:
    """The load's current I flows through upper and contact, and I/4 through lower, against its volts."""
    outcome = Network(read(LOADED)).outcome((DRIVEN,))
    current = 1.25 / (10 + 0.1 + 0.02 + 0.4 / 4 / 4)
    assert outcome.ratio == F(5, 4)
    assert outcome.loaded_ratio == pytest.approx(10 * current, rel=1e-9)
    assert outcome.admittance == pytest.approx(1.25 * current, rel=1e-9)


def ladder(*holds: tuple[int, int], **more: Any) -> Table:
    rows = (
        Row(name, F(6 - place, 5), F(1), (F(low), F(high)))
        for place, (name, (low, high)) in enumerate(holds_of(holds))
    )
    return Table(rows=tuple(rows), at_input=True, nominal=F(200), away_sensed=F(1), **more)


def holds_of(holds: tuple[tuple[int, int], ...]) -> list[tuple[str, tuple[int, int]]]:
    return [(f"b{place}", hold) for place, hold in enumerate(holds)]


def test_slow_courses_by_hand() -> None:
    table = ladder((150, 190), (180, 220), leave=(F(145), F(225)), back=(F(155), F(215)))
    ends = {(volts, way): slow_course(table, F(volts), way) for volts in (147, 185, 222) for way in WAYS}
    assert ends[147, "rising"] == {AWAY}
    assert ends[147, "falling"] == {"b0"}
    assert ends[185, "rising"] == {"b0"}
    assert ends[185, "falling"] == {"b1"}
    assert ends[185, "start"] == {"b1"}  # 185 lies nearer to 200 than 222
    assert ends[222, "rising"] == {"b1"}
    assert ends[222, "falling"] == {AWAY}


WAYS = ("rising", "falling", "start")


def test_hunting_is_found() -> None:
    """Read at the output, each band's answer undoes the other's: 180 V gives 216 in b0 and 180 in b1."""
    rows = (Row("b0", F(6, 5), F(6, 5), (F(185), F(210))), Row("b1", F(1), F(1), (F(190), F(210))))
    table = Table(rows=rows, at_input=False, nominal=F(200), away_sensed=F(1))
    assert slow_course(table, F(180), "rising") == {HUNTING}
    assert slow_course(table, F(200), "rising") == {"b1"}
