"""The compiled decision against the literal rule of `tests/outside/rule.py`, on and beside every mark."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.control.decisions import ControlRule, Cut, Node, RuleRow, decisions, nodes, rule_of
from tapplan.control.standing import AWAY, REST, InRow, Standing
from tapplan.control.table import control_table
from tapplan.design.file import load, parse
from tapplan.design.model import Sensing
from tapplan.exact import Span
from tests.examples import PAIR, SHIPPED, TAPPED, design
from tests.outside import rule as literal
from tests.outside.designs import random_design
from tests.outside.stage import read

F = Fraction
GOLDEN: list[dict[str, Any]] = json.loads((Path(__file__).parent / "decisions_golden.json").read_text())


def span(given: list[str] | tuple[Fraction, Fraction]) -> Span:
    return Span(F(given[0]), F(given[1]))


def rule_from(case: dict[str, Any]) -> ControlRule:
    """A table of the data file; the outer ends of its outermost holds are those of `leave_v`."""
    holds = [[F(end) for end in row["hold_v"]] for row in case["rows"]]
    if case["leave_v"] is not None:
        holds[0][0], holds[-1][1] = (F(end) for end in case["leave_v"])
    rows = [
        RuleRow(F(row["ratio"]), F(row["sensed_ratio"]), Span(*hold))
        for row, hold in zip(case["rows"], holds, strict=True)
    ]
    returns = None if case["return_v"] is None else span(case["return_v"])
    return ControlRule(
        tuple(rows), case["sensed"] == "input", F(case["sensed_ratio_away"]), returns, F(case["nominal_v"])
    )


@pytest.mark.parametrize("case", GOLDEN, ids=range(len(GOLDEN)))
def test_known_tables_compile_to_exactly_the_known_nodes(case: dict[str, Any]) -> None:
    """Sixty tables with cuts and answers worked out elsewhere (own derivation, no outside source)."""
    names: dict[Standing, str] = {InRow(number): row["name"] for number, row in enumerate(case["rows"])}
    names[AWAY] = "away"
    made = nodes(rule_from(case))
    assert [
        {
            "row": names[node.standing],
            "cuts": [{"mark": str(cut.mark), "above": cut.above} for cut in node.cuts],
            "answers": [names[answer] for answer in node.answers],
        }
        for node in made
    ] == case["nodes"]
    assert [node.sensed for node in made] == [*(F(row["sensed_ratio"]) for row in case["rows"]), made[-1].sensed]
    assert made[-1].sensed == F(case["sensed_ratio_away"])


# Small whole ends and few ratios, so that ends touch, ratios are equal and ties fall onto ends again and again.
ENDS = st.integers(0, 16)
RATIOS = st.sampled_from([F(n, 4) for n in (-4, 0, 2, 3, 3, 4, 4, 5, 6, 8)])
SHARES = st.sampled_from([F(1, 2), F(2, 3), F(1), F(1), F(5, 4)])


@st.composite
def tables(draw: st.DrawFn) -> literal.Table:
    """Rows, up to six, that overlap, touch or leave gaps; read at the input or elsewhere; a backup or none."""
    at_input = draw(st.booleans())
    shares = st.just(F(1)) if at_input else SHARES
    rows = [
        literal.Row(f"b{number}", draw(RATIOS), draw(shares), (F(low), F(low + draw(st.integers(0, 8)))))
        for number, low in enumerate(draw(st.lists(ENDS, min_size=1, max_size=6)))
    ]
    table = literal.Table(tuple(rows), at_input, F(draw(st.integers(4, 12))), draw(shares))
    if draw(st.booleans()):
        return table
    low, high = table.rows[0].hold[0] - draw(st.integers(0, 2)), table.rows[-1].hold[1] + draw(st.integers(0, 2))
    back = sorted(draw(st.lists(st.integers(0, 24), min_size=2, max_size=2)))
    return replace(table, leave=(max(low, F(0)), high), back=(F(back[0]), F(back[1])))


def rule_like(table: literal.Table) -> ControlRule:
    """The same numbers for the compiler; the two share no code beyond this copy."""
    holds = [list(row.hold) for row in table.rows]
    if table.leave is not None:
        holds[0][0], holds[-1][1] = table.leave
    rows = [RuleRow(row.ratio, row.sensed, Span(*hold)) for row, hold in zip(table.rows, holds, strict=True)]
    returns = None if table.back is None else Span(*table.back)
    return ControlRule(tuple(rows), table.at_input, table.away_sensed, returns, table.nominal)


def telling(table: literal.Table) -> list[Fraction]:
    """Every reading at which the rule can change its mind, whichever row is in force; and some between and beyond."""
    marks = {end for hold in table.holds for end in hold} | set(table.back or ())
    marks |= {
        end * table.away_sensed / row.sensed
        for row, hold in zip(table.rows, table.holds, strict=True)
        for end in hold
    }
    sums = {one.ratio + other.ratio for one in table.rows for other in table.rows}
    marks |= {2 * table.nominal / total * table.away_sensed for total in sums if total > 0}
    ordered = sorted(marks)
    return sorted({*ordered, *((low + high) / 2 for low, high in pairwise(ordered)), F(0), ordered[-1] + 3})


def standing_of(table: literal.Table, name: str) -> Standing:
    return AWAY if name == "away" else InRow(table.places[name])


def name_of(table: literal.Table, node: Node) -> str:
    return table.rows[node.standing.number].name if isinstance(node.standing, InRow) else "away"


@settings(max_examples=600)
@given(tables(), st.lists(st.fractions(0, 30, max_denominator=60), max_size=6))
def test_the_compiled_answer_is_the_literal_one(table: literal.Table, others: list[Fraction]) -> None:
    """At every mark, just below it, just above it, and anywhere; `near` is less than any two marks lie apart."""
    made = nodes(rule_like(table))
    assert [name_of(table, node) for node in made] == [*(row.name for row in table.rows), "away"]
    places = telling(table)
    near = min(high - low for low, high in pairwise(places)) / 4
    for node in made:
        here = name_of(table, node)
        for reading in places:
            for side in (-1, 0, 1):
                there = standing_of(table, literal.decide(table, here, reading + side * near))
                assert node.answer(reading, side) == there, (here, reading, side)
                assert node.answer(reading + side * near) == there
        for reading in others:
            assert node.answer(reading) == standing_of(table, literal.decide(table, here, reading))


@settings(max_examples=200)
@given(tables())
def test_no_cut_is_in_vain(table: literal.Table) -> None:
    """Cuts rise, each with its own mark and side, and the answers on its two sides differ."""
    for node in nodes(rule_like(table)):
        assert len(node.answers) == len(node.cuts) + 1
        assert all(one < other for one, other in pairwise((cut.mark, cut.above) for cut in node.cuts))
        assert all(one != other for one, other in pairwise(node.answers))


PER_VOLT = st.sampled_from([F(1), F(1, 2), F(1, 7), F(3), F(1023, 400), F(4095, 325)])


@settings(max_examples=300)
@given(tables(), PER_VOLT)
def test_whole_readings_get_the_same_answers(table: literal.Table, per_volt: Fraction) -> None:
    """Around each first, and around each mark; also so coarse that several answers hold no whole number at all."""
    for node in nodes(rule_like(table)):
        whole = node.whole(per_volt)
        around = [*whole.firsts, *(int(cut.mark * per_volt) for cut in node.cuts), 0, 2000]
        for reading in {near for one in around for near in range(one - 2, one + 3) if near >= 0}:
            assert whole.answer(reading) == node.answer(reading / per_volt), reading
        assert len(whole.answers) == len(whole.firsts) + 1
        assert all(one < other for one, other in pairwise([0, *whole.firsts]))
        assert all(one != other for one, other in pairwise(whole.answers))


def test_whole_readings_by_hand() -> None:
    """At half a count to the volt: a mark of 5 V begins at 3 counts, one just above 8 V at 5, one at 8 V at 4."""
    low, middle, high = InRow(0), InRow(1), InRow(2)
    node = Node(middle, F(1), (Cut(F(5), False), Cut(F(8), True)), (low, middle, high))
    assert (node.whole(F(1, 2)).firsts, node.whole(F(1, 2)).answers) == ((3, 5), (low, middle, high))
    shut = Node(middle, F(1), (Cut(F(5), True), Cut(F(8), False)), (low, middle, high))
    assert (shut.whole(F(1, 2)).firsts, shut.whole(F(2)).firsts) == ((3, 4), (11, 16))
    # Nothing whole lies between 5.2 and 5.8, and what is left on both sides is the same.
    thin = Node(middle, F(1), (Cut(F(26, 5), False), Cut(F(29, 5), False)), (low, middle, low))
    assert (thin.whole(F(1)).firsts, thin.whole(F(1)).answers) == ((), (low,))
    # What ends below nought holds no whole number either.
    deep = Node(middle, F(1), (Cut(F(-3), True), Cut(F(2), False)), (low, middle, high))
    assert (deep.whole(F(1)).firsts, deep.whole(F(1)).answers) == ((2,), (middle, high))
    assert deep.answer(F(-3)) == low
    assert deep.answer(F(-5, 2)) == middle


def test_sides_of_a_mark_by_hand() -> None:
    """A hold of [1/3, 1/2]: both ends belong to it, just beside them nothing does; one unit serves both marks."""
    node = nodes(ControlRule((RuleRow(F(1), F(1), Span(F(1, 3), F(1, 2))),), True, F(1), None, F(1)))[0]
    assert node.cuts == (Cut(F(1, 3), False), Cut(F(1, 2), True))
    answers = [node.answer(end, side) for end in (F(1, 3), F(1, 2)) for side in (-1, 0, 1)]
    assert answers == [AWAY, InRow(0), InRow(0), InRow(0), InRow(0), AWAY]
    # Between two steps of that unit a side makes no difference.
    assert {node.answer(F(5, 12), side) for side in (-1, 0, 1)} == {InRow(0)}
    assert {node.answer(F(7, 12), side) for side in (-1, 0, 1)} == {AWAY}


def test_the_nearest_row_that_holds_the_reading_is_taken() -> None:
    """From b0 at 25 V: b1 ends at 20, b2 and b3 hold it, b2 is nearer. From b3 at 12 V: b2 begins at 15, so b1."""
    holds = [(0, 10), (8, 20), (15, 30), (22, 40)]
    rows = tuple(RuleRow(F(4 - n), F(1), span((F(low), F(high)))) for n, (low, high) in enumerate(holds))
    made = nodes(ControlRule(rows, True, F(1), None, F(20)))
    assert made[0].answer(F(25)) == InRow(2)
    assert made[3].answer(F(12)) == InRow(1)
    assert made[1].answer(F(41)) == AWAY
    apart = nodes(ControlRule(rows, False, F(1), None, F(20)))
    assert [apart[n].answer(F(41)) for n in range(4)] == [InRow(1), InRow(2), InRow(3), AWAY]
    assert [apart[n].answer(F(-1)) for n in range(4)] == [AWAY, InRow(0), InRow(1), InRow(2)]


def test_the_answer_away_by_hand() -> None:
    """Nominal 10, ratios 2, 1 and 1 again, all holding 4 to 9 V of input, half of which is read while away.

    The outputs lie as far off at 2 * 10 / 3 = 6.67 V of input, read as 3.33: there and above it is ratio 1, and the
    first of the two. `return_v` is in what is read while away: 2.5 to 4.25, that is 5 to 8.5 V of input.
    """
    rows = tuple(RuleRow(F(g), F(q), Span(4 * F(q), 9 * F(q))) for g, q in ((2, 2), (1, 1), (1, 3)))
    away = nodes(ControlRule(rows, False, F(1, 2), Span(F(5, 2), F(17, 4)), F(10)))[-1]
    assert away.sensed == F(1, 2)
    assert away.cuts == (Cut(F(5, 2), False), Cut(F(10, 3), False), Cut(F(17, 4), True))
    assert away.answers == (AWAY, InRow(0), InRow(1), AWAY)
    without = nodes(ControlRule(rows, False, F(1, 2), None, F(10)))[-1]
    assert without.cuts == (Cut(F(2), False), Cut(F(10, 3), False), Cut(F(9, 2), True))


def test_a_row_that_reads_nothing_moves_one_on_and_is_never_returned_to() -> None:
    rows = (
        RuleRow(F(2), F(1), Span(F(10), F(20))),
        RuleRow(F(1), None, Span(F(15), F(30))),
        RuleRow(F(1, 2), F(1), Span(F(25), F(40))),
    )
    made = nodes(ControlRule(rows, False, F(1), None, F(20)))
    assert made[1].sensed is None
    assert made[1].cuts == (Cut(F(15), False), Cut(F(30), True))
    assert made[1].answers == (InRow(0), InRow(1), InRow(2))
    assert InRow(1) not in made[-1].answers
    assert made[-1].answers == (AWAY, InRow(0), AWAY, InRow(2), AWAY)


def test_a_reading_that_is_not_fixed_while_away_never_returns() -> None:
    rule = rule_from(GOLDEN[0])
    blind = nodes(replace(rule, away=None))[-1]
    assert blind == Node(AWAY, None, (), (AWAY,))
    assert {blind.answer(F(volts), side) for volts in (0, 180, 1000) for side in (-1, 0, 1)} == {AWAY}
    assert (blind.whole(F(5)).firsts, blind.whole(F(5)).answers) == ((), (AWAY,))
    assert nodes(replace(rule, away=None))[:-1] == nodes(rule)[:-1]


def test_without_a_row_that_can_return_the_load_stays_away() -> None:
    rule = rule_from(GOLDEN[0])  # one row, 176.5 to 203.5 V
    assert nodes(replace(rule, rows=())) == (Node(AWAY, F(1), (), (AWAY,)),)
    assert nodes(replace(rule, returns=Span(F(10), F(20))))[-1] == Node(AWAY, F(1), (), (AWAY,))
    touching = nodes(replace(rule, returns=Span(F(10), F(353, 2))))[-1]
    assert touching.cuts == (Cut(F(353, 2), False), Cut(F(353, 2), True))
    assert touching.answers == (AWAY, InRow(0), AWAY)


# Whole designs: each side reads the file by itself.


def both_sides(text: str) -> int:
    """How many decisions agree, from every row and away, beside every mark of either side."""
    made = decisions(control_table(parse(text)))
    table = literal.table_of(read(text))
    agreed = 0
    for node in made.nodes:
        marks = {F(0), *(cut.mark for cut in node.cuts), *telling(table)}
        for reading in {mark + side for mark in marks for side in (-literal.TINY, 0, literal.TINY)}:
            there = made.named(made.decided(node.standing, reading))
            assert there == literal.decide(table, made.named(node.standing), reading), (
                made.named(node.standing),
                reading,
            )
            agreed += 1
    return agreed


def test_random_designs_decide_as_the_literal_rule_read_from_the_file() -> None:
    chance = Random(41)
    drawn = [random_design(chance) for _ in range(60)]
    assert {one.sensed for one in drawn} == {"input", "output", "winding"}
    assert sum(both_sides(one.text) for one in drawn) > 10000


def test_shipped_designs_decide_as_the_literal_rule() -> None:
    stated = [file for file in SHIPPED if (bands := load(file).bands) and all(band.hold_v for band in bands)]
    assert len(stated) >= 4
    assert all(both_sides(file.read_text()) > 0 for file in stated)


def test_what_the_rule_takes_from_a_table() -> None:
    bands = [("boost", [], 210, 250), ("nothing", ["K"], 200, 252)]
    links = {"K": ("OUT", "B", "X")}
    made = design(TAPPED, links, terminals=("A", "N", "OUT"), bands=bands, sensing=Sensing(at="output"))
    found = rule_of(control_table(made))
    assert [(row.ratio, row.sensed, row.kept) for row in found.rows] == [
        (F(227, 200), F(227, 200), Span(F(210), F(250))),
        (0, None, Span(F(200), F(252))),
    ]
    assert (found.input_read, found.away, found.returns, found.nominal) == (False, F(227, 200), None, 230)


def test_standings_have_names_and_rest_is_decided_as_away() -> None:
    bands = [("low", ["KO"], 160, 192), ("high", ["KL"], 190, 280)]
    made = decisions(control_table(design(TAPPED, PAIR, bands=bands)))
    assert [made.named(one) for one in (InRow(0), InRow(1), AWAY, REST)] == ["low", "high", "away", "at rest"]
    assert [made.node(one).standing for one in (InRow(0), InRow(1), AWAY, REST)] == [InRow(0), InRow(1), AWAY, AWAY]
    assert made.decided(REST, F(170)) == InRow(0)
    assert made.decided(InRow(0), F(200)) == InRow(1)


def test_answers_met_by_a_reading_on_its_way() -> None:
    """Strictly between: at 192 V "low" still holds, just above it does not."""
    bands = [("low", ["KO"], 160, 192), ("high", ["KL"], 190, 280)]
    low, high, _ = decisions(control_table(design(TAPPED, PAIR, bands=bands))).nodes
    assert low.met(F(192), F(200)) == (InRow(1),)
    assert low.met(F("191.9"), F(200)) == (InRow(0), InRow(1))
    assert low.met(F(192), F(281)) == (InRow(1), AWAY)
    assert low.met(F(192), F(280)) == (InRow(1),)
    assert high.met(F(170), F(190)) == (InRow(0),)
    assert high.met(F(150), F("190.1")) == (AWAY, InRow(0), InRow(1))
