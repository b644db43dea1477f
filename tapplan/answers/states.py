"""Every relay state, or every distinct circuit: what `states` answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, more, names, number, path, ratio, word, yes
from tapplan.design.model import Design
from tapplan.errors import UsageError
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import MOST_RELAYS_EACH, State, each_state, grouped_states, way_of
from tapplan.network.turns import Gain, NoGain

MOST_BLAMED = 256  # states


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """One relay state, or one group of them: `any` are the relays that make no difference, `count` the states.

    Where it has no ratio, `why` says what makes it so, and `blamed` are the contacts that do.
    """

    energised: Annotated[tuple[str, ...], coils()]
    any: Annotated[tuple[str, ...] | None, names("makes no difference", optional=True)] = None
    count: Annotated[int | None, number("states", optional=True)] = None
    kind: Annotated[str, word("kind")]
    ratio: Annotated[Fraction | None, ratio()]
    turns_out: Annotated[Fraction | None, number()]
    turns_in: Annotated[Fraction | None, number()]
    line_tap: Annotated[str | None, word()]
    output_tap: Annotated[str | None, word()]
    path: Annotated[tuple[str, ...] | None, path()]
    why: Annotated[str | None, word("why it has no ratio", optional=True)] = None
    blamed: Annotated[tuple[str, ...] | None, names(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedStateRow(StateRow):
    """The same with its ratio in winding names; None where it has none."""

    symbolic: Annotated[str | None, word("in winding names", empty="-")]


@dataclass(frozen=True, slots=True)
class States(Answer):
    """The states in counting order, all at rest first."""

    heading = "Relay states"

    title: str
    states: Annotated[tuple[StateRow, ...], more()]
    read_twice: Annotated[bool | None, yes(optional=True)] = None

    @property
    def total_told(self) -> str:
        """How many states the rows stand for."""
        total = sum(1 if one.count is None else one.count for one in self.states)
        grouped = any(one.count is not None for one in self.states)
        rows = f" in {len(self.states)} rows" if grouped else ""
        twice = "; every row read a second time, by the walks of a graph: the same" if self.read_twice else ""
        return f"{total} relay states{rows}{twice}"


def states_of(design: Design) -> States:
    """Every relay state by itself.

    Raises:
        UsageError: more relays than states can be listed of one by one.
    """
    circuit = circuit_of(design)
    relays = len(circuit.relays)
    if relays > MOST_RELAYS_EACH:
        raise UsageError(
            f"found {relays} relays, which have 2**{relays} states; accepted: up to {MOST_RELAYS_EACH} relays state "
            "by state, or --grouped for one row a distinct circuit"
        )
    return States(design.title, _rows(circuit, list(each_state(circuit))))


def groups_of(design: Design) -> States:
    """One row a distinct circuit, with the relays that make no difference to it."""
    circuit = circuit_of(design)
    each = f"or designs of up to {MOST_RELAYS_EACH} relays without --grouped"
    found = list(grouped_states(circuit, each))
    rows = zip(_rows(circuit, found), found, strict=True)
    return States(design.title, tuple(replace(row, any=one.free, count=one.count) for row, one in rows))


def read_twice(design: Design, found: States) -> States:
    """The same, every row read once more by networkx, which finds paths and loops its own way.

    Raises:
        RuntimeError: the two readings differ; then tapplan is wrong.
    """
    from tapplan.network.graphs import outcome_by_paths  # networkx takes long to load

    circuit = circuit_of(design)
    for row in found.states:
        again = outcome_by_paths(circuit, circuit.state(row.energised))
        ratio = again.ratio if isinstance(again, Gain) else None
        if (again.kind.value, ratio) != (row.kind, row.ratio):
            raise RuntimeError(f"two readings of the state {row.energised} differ: {row.kind}, {again.kind.value}")
    return replace(found, read_twice=True)


def in_winding_names(design: Design, found: States) -> States:
    """The same with each ratio in winding names as well."""
    circuit = circuit_of(design)
    rows = (_named(row, text) for row, text in zip(found.states, _symbolic(circuit, found), strict=True))
    return replace(found, states=tuple(rows))


def _named(one: StateRow, text: str | None) -> NamedStateRow:
    return NamedStateRow(**{field.name: getattr(one, field.name) for field in fields(one)}, symbolic=text)


def _symbolic(circuit: Circuit, found: States) -> Iterator[str | None]:
    from tapplan.network.symbolic import symbolic_ratio  # sympy takes longer to load than all the rest

    for row in found.states:
        named = None if row.ratio is None else symbolic_ratio(circuit, circuit.state(row.energised))
        yield None if named is None else str(named)


def _rows(circuit: Circuit, states: Sequence[State]) -> tuple[StateRow, ...]:
    """The rows; beyond `MOST_BLAMED` without ratio only the kind of each is told, for a loop is looked for slowly."""
    many = sum(isinstance(one.outcome, NoGain) for one in states) > MOST_BLAMED
    return tuple(_row(circuit, one) if many else _with_blame(circuit, one) for one in states)


def _with_blame(circuit: Circuit, one: State) -> StateRow:
    row = _row(circuit, one)
    if not isinstance(one.outcome, NoGain):
        return row
    from tapplan.network.blame import blame  # networkx, only where there is something to blame

    found = blame(circuit, circuit.state(one.energised))
    return row if found is None else replace(row, why=found.told, blamed=found.contacts)


def _row(circuit: Circuit, one: State) -> StateRow:
    found = way_of(circuit, one)
    gain = one.outcome if isinstance(one.outcome, Gain) else None
    return StateRow(
        energised=one.energised,
        kind=one.kind.value,
        ratio=one.ratio,
        turns_out=gain.turns_out if gain else None,
        turns_in=gain.turns_in if gain else None,
        line_tap=found.line_tap if found else None,
        output_tap=found.output_tap if found else None,
        path=found.steps if found else None,
        why=one.outcome.reason if isinstance(one.outcome, NoGain) else None,
    )
