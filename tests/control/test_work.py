"""Work that would grow without end is counted: beyond what is stated an answer says what was not looked at."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product
from typing import Any

import pytest

from tapplan.checks.flight import unexamined
from tapplan.checks.review import review
from tapplan.checks.witnesses.moving import StepsLeft
from tapplan.control import sudden
from tapplan.control.automaton import automaton, rests
from tapplan.control.decisions import decisions
from tapplan.control.moves import MOST_MIXTURES, MOST_MOVERS, Move, most_movers
from tapplan.control.source import source_of
from tapplan.control.standing import AWAY, REST
from tapplan.control.sudden import MOST_DETOURED
from tapplan.control.table import control_table
from tapplan.design.model import Design, Sensing
from tapplan.errors import UsageError
from tapplan.network import states
from tapplan.network.circuit import Circuit, Closed, circuit_of
from tapplan.network.grouped import descents, groups
from tapplan.network.turns import Outcome, outcome
from tests.examples import add_in, design, narrow_chain


def crossed(count: int) -> Design:
    """Two rails from a pair of taps, which each of so many two-pole relays leads straight on or crosses."""
    links: dict[str, Any] = {
        f"K{n}": [(f"A{n + 1}", f"A{n}", f"B{n}"), (f"B{n + 1}", f"B{n}", f"A{n}")] for n in range(count)
    }
    sections = [("base", "N", "A0", 200), ("one", "A0", "B0", 30)]
    return design(sections, links, terminals=("A0", "N", f"A{count}"))


@pytest.mark.parametrize(("made", "power"), [(add_in(24), 24), (crossed(30), 30)], ids=["add-in", "crossed"])
def test_far_too_many_circuits_are_refused_before_they_are_listed(
    made: Design, power: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every setting is a circuit of its own, so there are 2**relays; few of them are solved before that is told."""
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
    asked = descents(circuit, 40)
    assert set(asked) <= set(decided)
    if len(decided) == 1:
        assert sum(2**one for one in asked) / len(asked) == decided.total()


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
