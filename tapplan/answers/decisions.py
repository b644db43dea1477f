"""The compiled controller as data: what `export --to decisions` answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, names, said, word, yes
from tapplan.answers.forms import Json, as_json
from tapplan.control.commands import commands
from tapplan.control.decisions import Decisions, Node, decisions
from tapplan.control.moves import Mixtures, energised_in, move_between, transitions
from tapplan.control.table import ControlTable


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRow:
    """A reading, exact, at which a decision changes: just above it, or at it."""

    mark: Annotated[str, word("mark")]
    above: Annotated[bool, yes("just above")]


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeRow:
    """The cuts of one row, or of being away, and the answers between them: one more than cuts."""

    row: Annotated[str, word("row")]
    cuts: Annotated[tuple[CutRow, ...], more()]
    answers: Annotated[tuple[str, ...], names("answers")]
    marks: Annotated[str, said("readings at which it changes")]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRow:
    """The order of the relays in one move."""

    old: Annotated[str, word("from", key="from")]
    new: Annotated[str, word("to", key="to")]
    order: Annotated[tuple[str, ...], names("order")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compiled(Answer):
    """The whole rule: every node, the coils of every row and of being away, the moves that have an order."""

    heading = "Compiled controller"
    caution = words.CAUTION_LINE

    title: str
    to: Annotated[str, word()] = "decisions"
    nodes: Annotated[tuple[NodeRow, ...], more()]
    coils: Annotated[Mapping[str, tuple[str, ...]], more()]
    orders: Annotated[tuple[OrderRow, ...], more()]

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The nodes first."""
        return ("nodes", "orders")

    def told(self) -> Json:
        """The rule alone."""
        return {key: value for key, value in as_json(self).items() if key != "to"}


def compiled(table: ControlTable) -> Compiled:
    """The compiled controller of a table."""
    made = decisions(table)
    return Compiled(
        title=table.design.title,
        nodes=tuple(_node(made, one) for one in made.nodes),
        coils={made.named(one.standing): _coils(table, one) for one in made.nodes},
        orders=tuple(_orders(table, made)),
    )


def _node(made: Decisions, one: Node) -> NodeRow:
    return NodeRow(
        row=made.named(one.standing),
        cuts=tuple(CutRow(mark=str(cut.mark), above=cut.above) for cut in one.cuts),
        answers=tuple(made.named(answer) for answer in one.answers),
        marks=", ".join(words.number(Fraction(cut.mark)) for cut in one.cuts),
    )


def _coils(table: ControlTable, one: Node) -> tuple[str, ...]:
    driven = energised_in(table, one.standing)
    return tuple(relay for relay in table.circuit.relays if relay in driven)


def _orders(table: ControlTable, made: Decisions) -> list[OrderRow]:
    mixtures, rows = Mixtures(table.circuit), []
    for one in transitions(made):
        given = commands(table, mixtures, move_between(table, one.start, one.end))
        if given.ordered:
            rows.append(OrderRow(old=made.named(one.start), new=made.named(one.end), order=tuple(given.order)))
    return rows
