"""Every move of the relays as it is commanded, and the safest order: what `moves` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, names, number, ratio, said, word, yes
from tapplan.checks.flight import Flight, flights_of
from tapplan.checks.review import Review
from tapplan.exact import Span

LEGEND = (
    "relays: as [sequence] commands them; together where no order stands, and then nothing is promised about who "
    "comes first. An order means: the next after the last has settled. Every time is the most that is allowed."
)


@dataclass(frozen=True, slots=True)
class Met:
    """A ratio met in between; None where none is."""

    ratio: Annotated[Fraction | None, ratio()]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveRow:
    """One move: what its relays can pass through, the longest it can leave the output on nothing, the safest order.

    `mixtures` counts the two ends as well; `highest` and `lowest` are ratios met in between; `order` is the one that
    the file states; `passes` the ratios of the safest order.
    """

    name: Annotated[str, word()]
    between: Annotated[str, said("move")]
    old: Annotated[tuple[str, ...], names(key="from")]
    new: Annotated[tuple[str, ...], names(key="to")]
    movers: Annotated[tuple[str, ...], names()]
    relays: Annotated[str, said("relays")]
    inputs_v: Annotated[Span | None, ends("at")]
    mixtures: Annotated[int, number()]
    shorted: Annotated[int, number("shorted mixtures", on_screen=False)]
    without_ratio: Annotated[int, number()]
    lowest: Annotated[Met, more()]
    highest: Annotated[Met, more()]
    met: Annotated[str, said("can pass through")]
    gap_ms: Annotated[Fraction, number("on nothing", "ms")]
    order: Annotated[tuple[str, ...] | None, names()]
    takes_ms: Annotated[Fraction, number("takes", "ms")]
    safest_order: Annotated[tuple[str, ...] | None, names("safest order", between=", then ", on_screen=False)]
    order_shorts: Annotated[bool | None, yes()]
    passes: Annotated[tuple[str, ...] | None, names()]
    passes_told: Annotated[str, said("which passes", on_screen=False)]
    safest_takes_ms: Annotated[Fraction | None, number("takes so", "ms", on_screen=False)]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderChoice:
    """The safest order of a move that leaves a choice, what it passes, and its price. For people."""

    between: Annotated[str, word("move")]
    order: Annotated[tuple[str, ...], names("safest order", between=", then ")]
    passes: Annotated[str, word("which passes")]
    takes_ms: Annotated[Fraction | None, number("takes", "ms")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves(Answer):
    """Every move the controller can make, and the loss of the coil supply."""

    heading = "Moves"

    title: str
    moves: Annotated[tuple[MoveRow, ...], more()]

    @property
    def choices(self) -> tuple[OrderChoice, ...]:
        """The moves of several relays, each with the safest order of them."""
        return tuple(
            OrderChoice(
                between=one.between, order=one.safest_order, passes=one.passes_told, takes_ms=one.safest_takes_ms
            )
            for one in self.moves
            if one.safest_order is not None
        )


def moves(review: Review) -> Moves:
    """Every move of a design."""
    return Moves(title=review.design.title, moves=tuple(_row(one) for one in flights_of(review)))


def _row(one: Flight) -> MoveRow:
    best, given = one.best, one.flown.given
    return MoveRow(
        name=one.move.name,
        between=one.move.name.replace('" to "', " > ")
        .replace('" to ', " > ")
        .replace(' to "', " > ")
        .replace('"', ""),
        old=tuple(sorted(one.move.old)),
        new=tuple(sorted(one.move.new)),
        movers=one.move.movers,
        relays=", then ".join(given.order) if given.ordered else ", ".join(one.move.movers),
        inputs_v=one.move.inputs,
        mixtures=one.mixtures + 2,
        shorted=one.shorts,
        without_ratio=one.without_ratio,
        lowest=Met(min(one.met, default=None)),
        highest=Met(max(one.met, default=None)),
        met=_met(one),
        gap_ms=one.gap_ms,
        order=tuple(given.order) if given.ordered else None,
        takes_ms=one.takes_ms,
        safest_order=None if best is None else best.relays,
        order_shorts=None if best is None else best.shorts,
        passes=None if best is None else tuple(str(ratio) for ratio in best.ratios),
        passes_told="-" if best is None else "a short" if best.shorts else _ratios(best.ratios),
        safest_takes_ms=one.best_ms,
    )


def _met(one: Flight) -> str:
    shorts = f"{one.shorts} shorts" if one.shorts else ""
    ratios = f"ratios {_ratios(one.met)}" if one.met else ""
    nothing = "nothing" if one.without_ratio > one.shorts else ""
    return ", ".join(part for part in (shorts, ratios, nothing) if part) or "-"


def _ratios(ratios: Sequence[Fraction]) -> str:
    return ", ".join(f"{float(ratio):.4g}" for ratio in sorted(set(ratios))) or "none"
