"""Every relay state, or every distinct circuit: what `states` answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, more, names, number, path, ratio, word
from tapplan.design.model import Design
from tapplan.errors import UsageError
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import MOST_RELAYS_EACH, State, each_state, grouped_states, way_of
from tapplan.network.turns import Gain


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """One relay state, or one group of them: `any` are the relays that make no difference, `count` the states."""

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
    symbolic: Annotated[str | None, word("in winding names", optional=True)] = None


@dataclass(frozen=True, slots=True)
class States(Answer):
    """The states in counting order, all at rest first."""

    heading = "Relay states"

    title: str
    states: Annotated[tuple[StateRow, ...], more()]

    @property
    def total_told(self) -> str:
        """How many states the rows stand for."""
        total = sum(1 if one.count is None else one.count for one in self.states)
        grouped = any(one.count is not None for one in self.states)
        return f"{total} relay states" + (f" in {len(self.states)} rows" if grouped else "")


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
    return States(design.title, tuple(_row(circuit, one) for one in each_state(circuit)))


def groups_of(design: Design) -> States:
    """One row a distinct circuit, with the relays that make no difference to it."""
    circuit = circuit_of(design)
    return States(design.title, tuple(_group(circuit, one) for one in grouped_states(circuit)))


def in_winding_names(design: Design, found: States) -> States:
    """The same with each ratio in winding names as well."""
    circuit = circuit_of(design)
    rows = (replace(row, symbolic=text) for row, text in zip(found.states, _symbolic(circuit, found), strict=True))
    return replace(found, states=tuple(rows))


def _symbolic(circuit: Circuit, found: States) -> Iterator[str]:
    from tapplan.network.symbolic import symbolic_ratio  # sympy takes longer to load than all the rest

    for row in found.states:
        named = None if row.ratio is None else symbolic_ratio(circuit, circuit.state(row.energised))
        yield "-" if named is None else str(named)


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
    )


def _group(circuit: Circuit, one: State) -> StateRow:
    return replace(_row(circuit, one), any=one.free, count=one.count)
