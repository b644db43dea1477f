"""What can happen while relays move: shorts, wrong ratios, gaps, inrush, and the loss of the coil supply."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import pi, sin

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.flown import Flown
from tapplan.control.moves import MOST_MOVERS, Move, Order, Passage, safest_order
from tapplan.control.standing import REST
from tapplan.control.timing import times_note
from tapplan.exact import Span
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
    def ratios(self) -> list[tuple[Passage, Fraction]]:
        """The mixtures that have a ratio, with it."""
        return [(one, one.ratio) for one in self.passages if one.ratio is not None]

    @property
    def met(self) -> list[Fraction]:
        """Every ratio that can be met in between."""
        return [ratio for _, ratio in self.ratios]

    @property
    def shorts(self) -> int:
        """In how many mixtures turns are shorted or line is tied to neutral."""
        return sum(one.count for one in self.passages if one.outcome.kind is Kind.SHORTED)

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
        if len(self.move.movers) < 2 or not self.move.chosen:
            return None
        return safest_order(self.review.mixtures, self.move)

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
    yield from wrong_ratios(review, flights)
    yield from dropout_unsafe(review, flights)
    yield from unexamined(review.moves)
    yield from move_gap(review, flights)
    yield from flight_inrush(review, flights)


def flights_of(review: Review) -> list[Flight]:
    """Every move whose mixtures can be gone through, with them."""
    return [_flight_of(review, move) for move in review.moves if len(move.movers) <= MOST_MOVERS]


def _flight_of(review: Review, move: Move) -> Flight:
    before, after = (state_of(review.circuit, tuple(sorted(driven))) for driven in (move.old, move.new))
    return Flight(review, review.flying.of(move), before, after)


def race_short(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through shorted turns; a fault where every order of the relays does.

    Moves to or from a state that is itself shorted are left to `shorted-state`.
    """
    for flight in flights:
        move = flight.move
        shorted = [one for one in flight.passages if one.outcome.kind is Kind.SHORTED]
        if not shorted or not move.chosen or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        best = safest_order(review.mixtures, move)
        remedy = "every order of its relays does so" if best.shorts else f"a safe order: {_sequence(best)}"
        yield Finding(
            "race-short",
            Severity.FAULT if best.shorts else Severity.WARNING,
            move.name,
            f"with {shorted[0].told()}, turns are shorted or line is tied to neutral",
            Witness(
                energised=tuple(sorted(move.old)),
                states=(tuple(sorted(move.new)),),
                count=flight.shorts,
                lasts_ms=flight.flown.level_ms(lambda outcome: outcome.kind is Kind.SHORTED),
            ),
            remedy,
        )


def wrong_ratios(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through a ratio above or below both ends', far enough to leave the window."""
    for flight in flights:
        inputs, ends = flight.move.inputs, flight.ends
        if not flight.promised or ends is None or inputs is None or not flight.ratios:
            continue
        passage, ratio = max(flight.ratios, key=lambda one: one[1])
        if _surges(review, inputs, ratio, ends):
            yield _race(review, flight, "race-overvoltage", _Worst(passage, ratio, inputs.high))
        passage, ratio = min(flight.ratios, key=lambda one: one[1])
        if ratio < min(ends) and ratio * inputs.low < review.window.low:
            yield _race(review, flight, "race-dip", _Worst(passage, ratio, inputs.low))


def _surges(review: Review, inputs: Span, ratio: Fraction, ends: tuple[Fraction, Fraction]) -> bool:
    return ratio > max(ends) and ratio * inputs.high > review.window.high


@dataclass(frozen=True, slots=True)
class _Worst:
    """The mixture that goes farthest, its ratio, and the input at which it does."""

    passage: Passage
    ratio: Fraction
    input: Fraction


def _race(review: Review, flight: Flight, code: str, worst: _Worst) -> Finding:
    move = flight.move
    output = worst.ratio * worst.input
    low = code == "race-dip"
    limit, side = (review.window.low, "below") if low else (review.window.high, "above")
    lasts = flight.at_most_ms(worst.ratio) if low else flight.at_least_ms(worst.ratio)
    return Finding(
        code,
        Severity.WARNING,
        move.name,
        f"with {worst.passage.told()}, {volts(worst.input)} in gives {volts(output)}, {side} the window's "
        f"{volts(limit)}, for up to {float(lasts):g} ms",
        Witness(
            energised=tuple(sorted(move.old)),
            states=(tuple(sorted(move.new)),),
            ratio=worst.ratio,
            input_v=worst.input,
            output_v=output,
            limit_v=limit,
            factor=output / review.design.output.nominal_v,
            lasts_ms=lasts,
        ),
        _order_advice(flight, worst.ratio, low=low),
    )


def _order_advice(flight: Flight, ratio: Fraction, *, low: bool) -> str:
    """The safest order, where it keeps from this ratio."""
    best, ends, given = flight.best, flight.ends, flight.flown.given
    if best is None or ends is None or flight.move.inputs is None:
        return ""
    if given.order == best.relays and given.ordered:
        return ""
    if any(one <= ratio if low else one >= ratio for one in best.ratios if one not in ends):
        return ""
    met = sorted({*best.ratios} - {*ends})
    passed = ", ".join(f"{ratio} = {float(ratio):.4f}" for ratio in met) or "no ratio but the two ends'"
    return f"the safest order is {_sequence(best)}, which passes {passed}"


def _sequence(order: Order) -> str:
    return ", then ".join(order.relays)


def move_gap(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """The longest time the load can be without a fed output while relays move between bands."""
    gaps = [(gap, flight.move) for flight in flights if flight.promised and (gap := flight.gap_ms)]
    if gaps:
        longest, move = max(gaps, key=lambda pair: pair[0])
        yield Finding(
            "move-gap",
            Severity.WARNING,
            move.name,
            f"while {', '.join(move.movers)} fly, the output can be on nothing for up to {float(longest):g} ms, "
            f"the longest of all moves ({times_note(review.design, move.movers)})",
            Witness(energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), lasts_ms=longest),
        )


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
    factor = Fraction(round((1 + 2 * sin(angle)) * 1000), 1000)
    yield Finding(
        "flight-inrush",
        Severity.WARNING,
        move.name,
        f"the line leaves the winding for up to {float(longest):g} ms and comes back: peak flux up to "
        f"{float(factor):.2f} times normal ({times_note(review.design, move.movers)})",
        Witness(
            energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), factor=factor, lasts_ms=longest
        ),
    )


def dropout_unsafe(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Loss of the coil supply, relays falling in any order: shorts, or outputs above the window on the way."""
    for flight in flights:
        move, ends = flight.move, flight.ends
        if move.end is not REST or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        shorted = next((one for one in flight.passages if one.outcome.kind is Kind.SHORTED), None)
        worst = max(flight.ratios, key=lambda one: one[1], default=None)
        if shorted is not None:
            message = f"with {shorted.told()}, turns are shorted or line is tied to neutral"
            witness = Witness(energised=tuple(sorted(move.old)))
            yield Finding("dropout-unsafe", Severity.WARNING, move.name, message, witness)
        elif worst and ends and move.inputs and _surges(review, move.inputs, worst[1], ends):
            yield _race(review, flight, "dropout-unsafe", _Worst(worst[0], worst[1], move.inputs.high))


def unexamined(every: list[Move]) -> Iterator[Finding]:
    """Moves of so many relays at once that their mixtures were not gone through."""
    for move in every:
        if len(move.movers) > MOST_MOVERS:
            yield Finding(
                "race-unexamined",
                Severity.WARNING,
                move.name,
                f"{len(move.movers)} relays move at once; mixtures of more than {MOST_MOVERS} are not gone through",
                Witness(energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), count=len(move.movers)),
            )
