"""What can happen while relays move: shorts, wrong ratios, gaps, inrush, and the loss of the coil supply."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import pi, sin

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.moves import MOST_MOVERS, Move, Order, Passage, Solved, moves, orders, passages, safest_order
from tapplan.design.model import (
    DEFAULT_BOUNCE_MS,
    DEFAULT_OPERATE_MS,
    DEFAULT_RELEASE_MS,
    DEFAULT_TRANSFER_MS,
    Relay,
)
from tapplan.exact import Span
from tapplan.network.states import State, state_of
from tapplan.network.turns import Kind

DEFAULTED = "default relay times used where the file gives none; common practice, no source"


@dataclass(frozen=True, slots=True)
class Flight:
    """A move with all its mixtures, and the states at its two ends."""

    move: Move
    passages: tuple[Passage, ...]
    before: State
    after: State

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
    def promised(self) -> bool:
        """Whether the load hangs on the stage, the controller commands the move, and both ends have a ratio."""
        return self.move.loaded and self.move.chosen and self.ends is not None


def relay_flight(review: Review) -> Iterator[Finding]:
    """All that the flight of relays can do, every mixture of every move solved once."""
    every = moves(review.table)
    solved: Solved = {}
    flights = [_flight_of(review, move, solved) for move in every if len(move.movers) <= MOST_MOVERS]
    yield from race_short(review, flights)
    yield from wrong_ratios(review, flights)
    yield from dropout_unsafe(review, flights)
    yield from unexamined(every)
    yield from move_gap(review, flights)
    yield from flight_inrush(review, flights)


def _flight_of(review: Review, move: Move, solved: Solved) -> Flight:
    circuit = review.circuit
    before, after = (state_of(circuit, tuple(sorted(driven))) for driven in (move.old, move.new))
    return Flight(move, tuple(passages(circuit, move, solved)), before, after)


def race_short(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through shorted turns; a fault where every order of the relays does.

    Moves to or from a state that is itself shorted are left to `shorted-state`.
    """
    for flight in flights:
        move = flight.move
        shorted = [one for one in flight.passages if one.outcome.kind is Kind.SHORTED]
        if not shorted or not move.chosen or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        clean = next((order for order in orders(review.circuit, move) if not order.shorts), None)
        remedy = "every order of its relays does so" if clean is None else f"a safe order: {_sequence(clean)}"
        yield Finding(
            "race-short",
            Severity.FAULT if clean is None else Severity.WARNING,
            move.name,
            f"with {shorted[0].told()}, turns are shorted or line is tied to neutral; {remedy}",
            Witness(energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), count=len(shorted)),
        )


def wrong_ratios(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves that can pass through a ratio above or below both ends', far enough to leave the window."""
    for flight in flights:
        inputs, ends = flight.move.inputs, flight.ends
        if not flight.promised or ends is None or inputs is None or not flight.ratios:
            continue
        passage, ratio = max(flight.ratios, key=lambda one: one[1])
        if _surges(review, inputs, ratio, ends):
            yield _race(review, flight, "race-overvoltage", (passage, ratio, inputs.high))
        passage, ratio = min(flight.ratios, key=lambda one: one[1])
        if ratio < min(ends) and ratio * inputs.low < review.window.low:
            yield _race(review, flight, "race-dip", (passage, ratio, inputs.low))


def _surges(review: Review, inputs: Span, ratio: Fraction, ends: tuple[Fraction, Fraction]) -> bool:
    return ratio > max(ends) and ratio * inputs.high > review.window.high


def _race(review: Review, flight: Flight, code: str, worst: tuple[Passage, Fraction, Fraction]) -> Finding:
    move = flight.move
    passage, ratio, volt = worst
    output = ratio * volt
    limit = review.window.low if code == "race-dip" else review.window.high
    side = "below" if code == "race-dip" else "above"
    return Finding(
        code,
        Severity.WARNING,
        move.name,
        f"with {passage.told()}, {volts(volt)} in gives {volts(output)}, {side} the window's {volts(limit)}"
        + _order_advice(review, flight),
        Witness(
            energised=tuple(sorted(move.old)),
            states=(tuple(sorted(move.new)),),
            ratio=ratio,
            input_v=volt,
            output_v=output,
            limit_v=limit,
            factor=output / review.design.output.nominal_v,
            lasts_ms=_gap_ms(review, {relay: relay in move.new for relay in move.movers}),
        ),
    )


def _order_advice(review: Review, flight: Flight) -> str:
    move, ends = flight.move, flight.ends
    if ends is None or len(move.movers) < 2 or not move.chosen or move.inputs is None:
        return ""
    best = safest_order(review.circuit, move, ends)
    met = sorted({*best.ratios} - {*ends})
    passed = ", ".join(f"{ratio} = {float(ratio):.4f}" for ratio in met) or "no ratio but the two ends'"
    return f"; the safest order is {_sequence(best)}, which passes {passed}"


def _sequence(order: Order) -> str:
    return ", then ".join(order.relays)


def move_gap(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """The longest time the load can be without a fed output while relays move between bands."""
    gaps = [
        (_gap_ms(review, openers), flight.move)
        for flight in flights
        if flight.promised and (openers := _openers(flight, (Kind.FLOATING, Kind.UNFED)))
    ]
    if gaps:
        longest, move = max(gaps, key=lambda pair: pair[0])
        yield Finding(
            "move-gap",
            Severity.WARNING,
            move.name,
            f"while {', '.join(move.movers)} fly, the output can be on nothing for up to {float(longest):g} ms, "
            f"the longest of all moves ({_times_note(review, move)})",
            Witness(energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), lasts_ms=longest),
        )


def flight_inrush(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Moves in which the line leaves the winding and comes back: the core is magnetised anew.

    Reclosed after a time T with all its flux left, the core sees a peak of 1 + 2 sin(pi f T) times normal at
    the worst instant, 3 from half a cycle on (own derivation; the textbook limit 2 F_m + F_r).
    """
    opened = [
        (_gap_ms(review, openers), flight.move)
        for flight in flights
        if flight.move.chosen and (openers := _openers(flight, (Kind.UNFED,)))
    ]
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
        f"{float(factor):.2f} times normal ({_times_note(review, move)})",
        Witness(
            energised=tuple(sorted(move.old)), states=(tuple(sorted(move.new)),), factor=factor, lasts_ms=longest
        ),
    )


def dropout_unsafe(review: Review, flights: list[Flight]) -> Iterator[Finding]:
    """Loss of the coil supply, relays falling in any order: shorts, or outputs above the window on the way."""
    for flight in flights:
        move, ends = flight.move, flight.ends
        if move.chosen or Kind.SHORTED in (flight.before.kind, flight.after.kind):
            continue
        shorted = next((one for one in flight.passages if one.outcome.kind is Kind.SHORTED), None)
        worst = max(flight.ratios, key=lambda one: one[1], default=None)
        if shorted is not None:
            message = f"with {shorted.told()}, turns are shorted or line is tied to neutral"
            witness = Witness(energised=tuple(sorted(move.old)))
            yield Finding("dropout-unsafe", Severity.WARNING, move.name, message, witness)
        elif worst and ends and move.inputs and _surges(review, move.inputs, worst[1], ends):
            yield _race(review, flight, "dropout-unsafe", (worst[0], worst[1], move.inputs.high))


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


def _openers(flight: Flight, kinds: tuple[Kind, ...]) -> dict[str, bool]:
    """The movers that by flying alone bring about such a state, each with whether it is being driven."""
    return {
        relay: relay in flight.move.new
        for one in flight.passages
        if one.outcome.kind in kinds
        for relay in one.flying
        if one.flying == (relay,)
    }


def _gap_ms(review: Review, openers: dict[str, bool]) -> Fraction:
    """The longest time from the first of these contacts that opens to the last that has closed and settled.

    Relays commanded together: the latest operate or release, transfer and bounce, less the earliest operate or
    release. A relay alone: its transfer and bounce.
    """
    relays = [relay for relay in review.design.relays if relay.name in openers]
    begins = [_delay(relay, openers[relay.name]) for relay in relays]
    lasts = [begin + _flight(relay) for begin, relay in zip(begins, relays, strict=True)]
    return max(lasts) - min(begins)


def _delay(relay: Relay, driven: bool) -> Fraction:
    if driven:
        return relay.operate_ms if relay.operate_ms is not None else DEFAULT_OPERATE_MS
    return relay.release_ms if relay.release_ms is not None else DEFAULT_RELEASE_MS


def _flight(relay: Relay) -> Fraction:
    transfer = relay.transfer_ms if relay.transfer_ms is not None else DEFAULT_TRANSFER_MS
    return transfer + (relay.bounce_ms if relay.bounce_ms is not None else DEFAULT_BOUNCE_MS)


def _times_note(review: Review, move: Move) -> str:
    relays = [relay for relay in review.design.relays if relay.name in move.movers]
    given = all(
        None not in (relay.operate_ms, relay.release_ms, relay.transfer_ms, relay.bounce_ms) for relay in relays
    )
    return "times as the file gives them" if given else DEFAULTED
