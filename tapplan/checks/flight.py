"""What can happen while relays move: shorts, wrong ratios, gaps, inrush, and the loss of the coil supply."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import pi, sin

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.mends import MilderOrder, NoSafeOrder, SafeOrder
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import (
    AssumedTime,
    OpenLine,
    OpenOutput,
    RatioPassed,
    ShortDropped,
    ShortPassed,
    StepsLeft,
    TooMany,
)
from tapplan.control.flown import Flown
from tapplan.control.moves import Move, Order, Passage, order_to_choose, safest_order
from tapplan.control.standing import REST
from tapplan.control.sudden import MOST_DETOURED, detouring
from tapplan.control.timing import assumed_ms
from tapplan.network.states import State, state_of
from tapplan.network.turns import Gain, Kind

ON_NOTHING = (Kind.FLOATING, Kind.UNFED)


@dataclass(frozen=True)
class Flight:
    """A move as it is commanded and timed, the states at its two ends, and the mixtures met in between.

    `review` works out what several moves share.
    """

    review: Review
    flown: Flown
    before: State
    after: State

    @property
    def move(self) -> Move:
        """The move itself."""
        return self.flown.move

    @property
    def passages(self) -> tuple[Passage, ...]:
        """Every mixture that the order and the times of its relays let it meet."""
        return self.flown.passages

    @property
    def ends(self) -> tuple[Fraction, Fraction] | None:
        """The ratios before and after, or None when one of the two states has none."""
        before, after = self.before.ratio, self.after.ratio
        return None if before is None or after is None else (before, after)

    @property
    def met(self) -> list[Fraction]:
        """Every ratio that can be met in between."""
        return [one.ratio for one in self.passages if one.ratio is not None]

    def passage_at(self, ratio: Fraction) -> Passage:
        """The first mixture of a ratio that is met."""
        return next(one for one in self.passages if one.ratio == ratio)

    @property
    def shorts(self) -> int:
        """In how many mixtures turns are shorted or line is tied to neutral."""
        return sum(one.count for one in self.passages if one.outcome.kind is Kind.SHORTED)

    @property
    def shorted(self) -> Passage | None:
        """The first of them; None where there is none."""
        return next((one for one in self.passages if one.outcome.kind is Kind.SHORTED), None)

    @property
    def without_ratio(self) -> int:
        """In how many mixtures the output has no ratio at all."""
        return sum(one.count for one in self.passages if one.ratio is None)

    @property
    def mixtures(self) -> int:
        """How many mixtures can be met, the two ends left out."""
        return sum(one.count for one in self.passages)

    @cached_property
    def best(self) -> Order | None:
        """The safest order of the relays; None where there is none to choose."""
        return order_to_choose(self.review.mixtures, self.move)

    @property
    def best_ms(self) -> Fraction | None:
        """How long the move takes in the safest order, each relay settled before the next; None without a choice."""
        if self.best is None:
            return None
        return sum((one.settled - one.commanded for one in self.flown.given.flights), Fraction(0))

    @property
    def takes_ms(self) -> Fraction:
        """How long the move takes as it is commanded, from the first coil change to the last settled relay."""
        return self.flown.given.settled_ms

    @property
    def gap_ms(self) -> Fraction:
        """How long the output can be on nothing; 0 where no mixture leaves it there."""
        return self.flown.open_ms(lambda outcome: outcome.kind in ON_NOTHING)

    @property
    def unfed_ms(self) -> Fraction:
        """How long the line can be off the winding."""
        return self.flown.open_ms(lambda outcome: outcome.kind is Kind.UNFED)

    def at_least_ms(self, ratio: Fraction) -> Fraction:
        """How long the output can be at this ratio or above it."""
        return self.flown.level_ms(lambda outcome: isinstance(outcome, Gain) and outcome.ratio >= ratio)

    def at_most_ms(self, ratio: Fraction) -> Fraction:
        """How long the output can be at this ratio or below it, though on something."""
        return self.flown.level_ms(lambda outcome: isinstance(outcome, Gain) and outcome.ratio <= ratio)

    @property
    def promised(self) -> bool:
        """Whether the load hangs on the stage, the controller commands the move, and both ends have a ratio."""
        return self.move.loaded and self.move.chosen and self.ends is not None


def relay_flight(review: Review) -> Iterator[Finding]:
    """All that the flight of relays can do, every mixture of every move solved once."""
    flights = flights_of(review)
    yield from race_short(review, flights)
    yield from wrong_ratios(flights)
    yield from dropout_unsafe(flights)
    yield from unexamined(review)
    yield from move_gap(review, flights)
    yield from flight_inrush(review, flights)


def flights_of(review: Review) -> list[Flight]:
    """Every move whose mixtures can be gone through, with them."""
    return review.once(
        flights_of, lambda: [_flight_of(review, one) for one in review.moves if len(one.movers) <= review.most_movers]
    )


def _flight_of(review: Review, move: Move) -> Flight:
    before, after = (state_of(review.circuit, tuple(sorted(driven))) for driven in (move.old, move.new))
    return Flight(review, review.flying.of(move), before, after)


def _driven(relays: frozenset[str]) -> tuple[str, ...]:
    return tuple(sorted(relays))


def race_short(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through shorted turns; a fault where every order of the relays does.

    Moves to or from a state that is itself shorted are left to `shorted-state`.
    """
    for flight in flights:
        move, shorted = flight.move, flight.shorted
        if shorted is None or not move.chosen or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        best = flight.best or safest_order(review.mixtures, move)
        shown = ShortPassed(
            energised=_driven(move.old),
            states=(_driven(move.new),),
            movers=shorted.movers,
            positions=shorted.mixture,
            count=flight.shorts,
            lasts_ms=flight.flown.level_ms(lambda outcome: outcome.kind is Kind.SHORTED),
        )
        if best.shorts:
            yield Finding("race-short", Severity.FAULT, move.name, shown, NoSafeOrder())
        else:
            yield Finding("race-short", Severity.WARNING, move.name, shown, SafeOrder(best.relays))


@dataclass(frozen=True, slots=True)
class Extreme:
    """The mixture of a move that goes farthest to one side: its ratio, the worst input, the window's end there."""

    passage: Passage
    ratio: Fraction
    input: Fraction
    limit: Fraction
    low: bool

    @property
    def output(self) -> Fraction:
        """The output volts."""
        return self.ratio * self.input

    @property
    def leaves(self) -> bool:
        """Whether that lies outside the window."""
        return self.output < self.limit if self.low else self.output > self.limit

    def reached_by(self, ratio: Fraction) -> bool:
        """Whether another ratio goes as far."""
        return ratio <= self.ratio if self.low else ratio >= self.ratio


def _highest(flight: Flight) -> Extreme | None:
    """The ratio above those of both ends that leaves the window; None where there is none."""
    if flight.ends is None or flight.move.inputs is None or not flight.met:
        return None
    ratio = max(flight.met)
    found = Extreme(flight.passage_at(ratio), ratio, flight.move.inputs.high, flight.review.window.high, low=False)
    return found if ratio > max(flight.ends) and found.leaves else None


def _lowest(flight: Flight) -> Extreme | None:
    """The ratio below those of both ends that leaves the window; None where there is none."""
    if flight.ends is None or flight.move.inputs is None or not flight.met:
        return None
    ratio = min(flight.met)
    found = Extreme(flight.passage_at(ratio), ratio, flight.move.inputs.low, flight.review.window.low, low=True)
    return found if ratio < min(flight.ends) and found.leaves else None


def wrong_ratios(flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through a ratio above or below both ends', far enough to leave the window."""
    for flight in flights:
        if not flight.promised:
            continue
        if (surge := _highest(flight)) is not None:
            yield _race(flight, "race-overvoltage", surge)
        if (dip := _lowest(flight)) is not None:
            yield _race(flight, "race-dip", dip)


def _race(flight: Flight, code: str, worst: Extreme) -> Finding:
    move = flight.move
    shown = RatioPassed(
        energised=_driven(move.old),
        states=(_driven(move.new),),
        movers=worst.passage.movers,
        positions=worst.passage.mixture,
        ratio=worst.ratio,
        input_v=worst.input,
        output_v=worst.output,
        limit_v=worst.limit,
        factor=worst.output / flight.review.design.output.nominal_v,
        lasts_ms=flight.at_most_ms(worst.ratio) if worst.low else flight.at_least_ms(worst.ratio),
    )
    return Finding(code, Severity.WARNING, move.name, shown, _milder_order(flight, worst))


def _milder_order(flight: Flight, worst: Extreme) -> MilderOrder | None:
    """The safest order, where it keeps from this ratio and is not commanded yet."""
    best, ends, given = flight.best, flight.ends, flight.flown.given
    if best is None or ends is None or (given.order == best.relays and given.ordered):
        return None
    if any(worst.reached_by(one) for one in best.ratios if one not in ends):
        return None
    return MilderOrder(best.relays, tuple(sorted({*best.ratios} - {*ends})))


def move_gap(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """The longest time the load can be without a fed output while relays move between bands."""
    gaps = [(gap, flight.move) for flight in flights if flight.promised and (gap := flight.gap_ms)]
    if gaps:
        longest, move = max(gaps, key=lambda pair: pair[0])
        shown = OpenOutput(
            energised=_driven(move.old),
            states=(_driven(move.new),),
            movers=move.movers,
            lasts_ms=longest,
            assumed=_assumed(review, move),
        )
        yield Finding("move-gap", Severity.WARNING, move.name, shown)


def _assumed(review: Review, move: Move) -> tuple[AssumedTime, ...]:
    taken = assumed_ms(review.design, move.movers)
    return tuple(AssumedTime(key=key, most_ms=most) for key, most in taken.items())


def flight_inrush(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves in which the line leaves the winding and comes back: the core is magnetised anew.

    Reclosed after a time T with all its flux left, the core sees a peak of 1 + 2 sin(pi f T) times normal at
    the worst instant, 3 from half a cycle on (own derivation; the textbook limit 2 F_m + F_r).
    """
    opened = [(lasts, flight.move) for flight in flights if flight.move.chosen and (lasts := flight.unfed_ms)]
    if not opened:
        return
    longest, move = max(opened, key=lambda pair: pair[0])
    angle = min(pi / 2, pi * float(review.design.mains.frequency_hz[1]) * float(longest) / 1000)
    shown = OpenLine(
        energised=_driven(move.old),
        states=(_driven(move.new),),
        lasts_ms=longest,
        factor=Fraction(round((1 + 2 * sin(angle)) * 1000), 1000),
        assumed=_assumed(review, move),
    )
    yield Finding("flight-inrush", Severity.WARNING, move.name, shown)


def dropout_unsafe(flights: list[Flight]) -> Iterator[Finding]:
    """Loss of the coil supply, relays falling in any order: shorts, or outputs above the window on the way."""
    for flight in flights:
        move, shorted = flight.move, flight.shorted
        if move.end is not REST or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        if shorted is not None:
            shown = ShortDropped(energised=_driven(move.old), movers=shorted.movers, positions=shorted.mixture)
            yield Finding("dropout-unsafe", Severity.WARNING, move.name, shown)
        elif (surge := _highest(flight)) is not None:
            yield _race(flight, "dropout-unsafe", surge)


def unexamined(review: Review) -> Iterator[Finding]:
    """Moves of so many relays at once that their mixtures were not gone through; steps in tables of many rows."""
    for move in review.moves:
        if len(move.movers) > review.most_movers:
            shown = TooMany(
                energised=_driven(move.old),
                states=(_driven(move.new),),
                count=len(move.movers),
                most=review.most_movers,
            )
            yield Finding("race-unexamined", Severity.WARNING, move.name, shown)
    rows = len(review.table.rows)
    if rows > MOST_DETOURED and detouring(review.table):
        left = StepsLeft(count=rows, most=MOST_DETOURED)
        yield Finding("race-unexamined", Severity.WARNING, "bands", left)
