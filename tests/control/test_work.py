"""Work that would grow without end is counted: beyond what is stated an answer says what was not looked at."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.checks.flight import unexamined
from tapplan.checks.review import review
from tapplan.checks.witnesses.moving import StepsLeft
from tapplan.control import sudden
from tapplan.control.automaton import automaton, rests
from tapplan.control.choice import MOST_RUNGS, chosen
from tapplan.control.decisions import decisions
from tapplan.control.moves import MOST_MIXTURES, MOST_MOVERS, Move, most_movers
from tapplan.control.rungs import candidates, rungs
from tapplan.control.serving import Served, served, served_under
from tapplan.control.source import source_of
from tapplan.control.standing import AWAY, REST
from tapplan.control.sudden import MOST_DETOURED
from tapplan.control.table import control_table
from tapplan.design.model import Design, Sensing
from tapplan.errors import UsageError
from tapplan.exact import Span, uncovered
from tapplan.network import states
from tapplan.network.bulk import _by_falling_ratio
from tapplan.network.circuit import Circuit, Closed, circuit_of
from tapplan.network.grouped import descents, groups
from tapplan.network.states import each_state
from tapplan.network.turns import Outcome, outcome
from tests.examples import add_in, design, narrow_chain


def crossed(count: int) -> Design:
    """Two rails from a pair of taps, which each of so many two-pole relays leads straight on or crosses."""
    links: dict[str, Any] = {
        f"K{n}": [(f"A{n + 1}", f"A{n}", f"B{n}"), (f"B{n + 1}", f"B{n}", f"A{n}")] for n in range(count)
    }
    sections = [("base", "N", "A0", 200), ("one", "A0", "B0", 30)]
    return design(sections, links, terminals=("A0", "N", f"A{count}"))


@pytest.mark.parametrize(
    ("made", "power"),
    [(add_in(16), 16), (add_in(24), 24), (crossed(30), 30)],
    ids=["16 added in", "24 added in", "crossed"],
)
def test_far_too_many_circuits_are_refused_before_they_are_listed(
    made: Design, power: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every setting is a circuit of its own, so there are 2**relays; few of them are solved before that is told.

    Of 16 there are 65,536, no more than a third too many.
    """
    solved: list[object] = []

    def counted(circuit: Circuit, closed: Closed) -> Outcome:
        solved.append(closed)
        return outcome(circuit, closed)

    monkeypatch.setattr(states, "outcome", counted)
    with pytest.raises(UsageError, match=rf"found about 2\*\*{power} distinct circuits.*accepted: up to 50000"):
        list(states.grouped_states(circuit_of(made)))
    assert len(solved) <= states.DESCENDED_FROM


@pytest.mark.parametrize("made", [add_in(6), crossed(5), narrow_chain()], ids=["add-in", "crossed", "chain"])
def test_descents_are_ways_to_circuits(made: Design) -> None:
    """A way asks as many relays as decide some circuit; where all decide alike, the estimate is the count itself."""
    circuit = circuit_of(made)
    decided = Counter(len(one.driven) + len(one.resting) for one in groups(circuit))
    asked = list(descents(circuit, 40))
    assert set(asked) <= set(decided)
    if len(decided) == 1:
        assert sum(2**one for one in asked) / len(asked) == decided.total()


@pytest.mark.parametrize("relays", [15, 16])
def test_ways_that_ask_few_questions_refuse_nothing(relays: int) -> None:
    """Two to the power of 15 is 32,768 and accepted; and where one way of many asks no more, nothing is sure."""
    circuit = circuit_of(add_in(relays))
    refused = states._far_too_many(circuit)
    assert refused == (None if 2**relays <= states.MOST_CIRCUITS else relays)


@pytest.mark.parametrize(("fewest", "refused"), [(15, None), (16, 17)])
def test_one_way_with_few_questions_among_many_leaves_it_open(
    fewest: int, refused: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 128 ways 127 ask 17 questions: only where the last one asks 16 as well, which 50,000 have no room for."""
    monkeypatch.setattr("tapplan.network.grouped.descents", lambda *_: iter([fewest] + 127 * [17]))
    assert states._far_too_many(circuit_of(add_in(2))) == refused


def move(movers: int) -> Move:
    names = tuple(f"K{n}" for n in range(movers))
    return Move("one", AWAY, REST, frozenset(), frozenset(names), names, None)


def test_the_mixtures_of_all_moves_together_are_bounded() -> None:
    """A relay that moves is where it was, in flight or where it goes: three to the power of the movers mixtures."""
    one = [move(movers) for movers in range(1, 10)]
    assert most_movers(one) == MOST_MOVERS
    many = [*one, *(move(5) for _ in range(MOST_MIXTURES // 3**5))]
    most = most_movers(many)

    def mixtures(up_to: int) -> int:
        return sum(len(list(product("OFN", repeat=len(m.movers)))) for m in many if len(m.movers) <= up_to)

    assert mixtures(most) <= MOST_MIXTURES < mixtures(most + 1)
    assert most == 4


def many_rows(count: int) -> Design:
    """So many bands on the settings of seven add-in relays, each ten volts wide and one above the last."""
    made, top = add_in(7), 127
    bands = [(f"b{k}", [f"K{n}" for n in range(7) if top - k >> n & 1], 150 + k, 160 + k) for k in range(count)]
    sections = [(one.name, *one.ends, one.turns) for one in made.windings]
    links = {one.name: (p.com, p.nc, p.no) for one in made.relays for p in one.all_poles}
    return design(sections, links, bands=bands, mains=(230, 152, 230))


@pytest.mark.parametrize("rows", [MOST_DETOURED, MOST_DETOURED + 1])
def test_steps_that_stop_on_their_way_are_left_out_of_very_long_tables_and_that_is_told(
    rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    def none_found(*given: object) -> dict[object, object]:
        asked.append(given)
        return {}

    monkeypatch.setattr(sudden, "_detours", none_found)
    reviewed = review(many_rows(rows))
    found = reviewed.responses
    told = [one.witness for one in unexamined(reviewed) if isinstance(one.witness, StepsLeft)]
    assert found
    assert bool(asked) == (rows <= MOST_DETOURED)
    assert told == ([] if rows <= MOST_DETOURED else [StepsLeft(count=rows, most=MOST_DETOURED)])


def test_where_rows_plainly_rest_the_automaton_has_no_cycle() -> None:
    """Read at the input, without noise, behind a stiff source: whatever a decision leads to keeps the reading."""
    table = control_table(many_rows(40))
    assert rests(table, source_of(table.design), noisy=True)
    assert automaton(decisions(table), noisy=True).cycles() == []
    assert not rests(
        replace(table, design=replace(table.design, sensing=Sensing(noise_v=Fraction(12)))),
        source_of(table.design),
        noisy=True,
    )


@st.composite
def wide(draw: st.DrawFn) -> Design:
    """Nine add-in relays, so that all states are solved in bulk, with some range, window and reading."""
    made, low = add_in(9), draw(st.integers(150, 225))
    half = draw(st.integers(1, 25))
    sensing = Sensing(
        at=draw(st.sampled_from(["input", "output"])),
        error_pct=Fraction(draw(st.integers(0, 4)), 2),
        noise_v=Fraction(draw(st.integers(0, 6)), 2),
        hysteresis_v=Fraction(draw(st.integers(0, 8))),
    )
    return replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(low), Fraction(low + draw(st.integers(5, 90))))),
        output=replace(made.output, window_v=(Fraction(230 - half), Fraction(230 + half))),
        sensing=sensing,
    )


@settings(max_examples=40, deadline=None)
@given(wide())
def test_rungs_made_when_they_are_looked_at_choose_what_all_of_them_choose(made: Design) -> None:
    """Every state by itself, each rung looked at one after the other, against rungs found by halving."""
    circuit = circuit_of(made)
    each = [one for state in each_state(circuit) if (one := served(made, circuit, state)) is not None]
    plain, offered = replace(rungs(each), rising=False), candidates(made, circuit)
    assert list(offered.rungs) == list(plain)
    assert chosen(made, offered.rungs) == chosen(made, plain)
    spans = [[one.serves for one in some if one.serves is not None] for some in (each, offered.serving)]
    everywhere = Span(Fraction(0), Fraction(1000))
    assert uncovered(spans[0], everywhere) == uncovered(spans[1], everywhere)


def test_of_very_many_ratios_a_few_hundred_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """A thinned table looks at some 200 rungs for each of three demands, and at those on its way by halving."""
    looked: list[object] = []

    def counted(*given: Any) -> Served | None:
        looked.append(given)
        return served_under(*given)

    monkeypatch.setattr("tapplan.control.rungs.served_under", counted)
    table = control_table(add_in(16))
    assert table.rows
    assert 3 * MOST_RUNGS > len(looked) > 0


def test_where_a_load_makes_states_of_one_ratio_differ_too_many_of_them_are_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("tapplan.control.serving.MOST_CIRCUITS", 511)
    leaking = [replace(one, leakage_ohm=Fraction(1)) for one in add_in(9).windings]
    made = replace(add_in(9), windings=tuple(leaking))
    assert control_table(made).rows  # without a load nothing drops
    loaded = replace(made, output=replace(made.output, load_va=Fraction(100)))
    with pytest.raises(UsageError, match=r"found more than 511 states.*accepted: up to 511"):
        control_table(loaded)
    monkeypatch.setattr("tapplan.control.serving.MOST_CIRCUITS", 512)
    assert control_table(loaded).rows


@given(st.lists(st.tuples(st.integers(1, 2**54), st.integers(1, 2**54)), min_size=1, max_size=30))
def test_ratios_fall_exactly_also_where_floats_cannot_tell_them_apart(pairs: list[tuple[int, int]]) -> None:
    """Beside each another that differs by less than a float can hold."""
    near = [(above * 2 + 1, below * 2) for above, below in pairs]
    ratios = [Fraction(above, below) for above, below in [*pairs, *near]]
    arrays = [
        np.array(one, dtype=np.int64) for one in ([r.numerator for r in ratios], [r.denominator for r in ratios])
    ]
    order = _by_falling_ratio(*arrays).tolist()
    assert order == sorted(range(len(ratios)), key=lambda place: (-ratios[place], place))
