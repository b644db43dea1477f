"""A move as it is commanded and timed: which mixtures of positions it really meets, how long it can stay in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from tapplan.control.commands import Commands, commands
from tapplan.control.flights import FlightStage, RelayFlight
from tapplan.control.moves import MOST_MOVERS, Mixtures, Move, Passage
from tapplan.control.standing import Change
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Position
from tapplan.network.turns import Outcome

BadOutcome = Callable[[Outcome], bool]


@dataclass(frozen=True, slots=True)
class _Question:
    """Which passages are bad, whether a bouncing contact counts as touching too, what counts before and after; ms."""

    wrong: frozenset[int]
    bounces: bool
    before_ms: Fraction = Fraction(0)
    after_ms: Fraction = Fraction(0)


class Flown:
    """One move with its commands; what is asked twice is worked out once.

    Only for moves of up to `MOST_MOVERS` relays (`examined`): beyond, nothing is known of the mixtures.
    """

    def __init__(self, mixtures: Mixtures, given: Commands) -> None:
        self.given = given
        self.move: Move = given.move
        self._mixtures = mixtures
        self._after = given.settled_ms + 1
        self._flights = dict(zip(given.move.movers, given.flights, strict=True))
        self._stays: dict[_Question, Fraction] = {}

    @property
    def examined(self) -> bool:
        """Whether the mixtures are few enough to go through."""
        return len(self.move.movers) <= MOST_MOVERS

    @cached_property
    def passages(self) -> tuple[Passage, ...]:
        """Every mixture that can be met between the wholly old and the wholly new, the times as they may be.

        Raises:
            ValueError: there are too many to go through.
        """
        if not self.examined:
            raise ValueError(f"{len(self.move.movers)} relays move at once; up to {MOST_MOVERS} are examined")
        return tuple(one for one in self._mixtures.passages(self.move) if self._met(one))

    def _met(self, passage: Passage) -> bool:
        """Whether all its relays can be so at once; a contact that bounces is open, or on its new throw."""
        present = [
            self._present(self._flights[relay], position, relay) for relay, position in passage.positions.items()
        ]
        if None in present:
            return False
        spans = [one for one in present if one is not None]
        return not spans or max(one.low for one in spans) < min(one.high for one in spans)

    def _present(self, flight: RelayFlight, position: Position, relay: str) -> Span | None:
        """From when to when a relay can be in a position; None for a flight that takes no time."""
        if position is Position.FLIGHT:
            return Span(flight.opens.low, flight.rests.high) if flight.longest else None
        if (position is Position.DRIVEN) == (relay in self.move.new):
            return Span(flight.touches.low, self._after)
        return Span(Fraction(-1), flight.opens.high)

    def open_ms(self, bad: BadOutcome) -> Fraction:
        """How long the stage can stay in what is bad, a bouncing contact counted as open; 0 where it never is."""
        return self._stay(_Question(self._wrong(bad), bounces=False))

    def level_ms(
        self, bad: BadOutcome, before_ms: Fraction = Fraction(0), after_ms: Fraction = Fraction(0)
    ) -> Fraction:
        """How long it can stay in what is bad, a bouncing contact counted as open or on its new throw.

        Where the state before the move is as bad, it has stood so for `before_ms` when the first command comes; where
        the one after it is, it goes on for `after_ms` from the last instant at which some relay may still move.
        """
        return self._stay(_Question(self._wrong(bad), True, before_ms, after_ms))

    def _wrong(self, bad: BadOutcome) -> frozenset[int]:
        return frozenset(number for number, one in enumerate(self.passages) if bad(one.outcome))

    def _stay(self, question: _Question) -> Fraction:
        if question not in self._stays:
            self._stays[question] = self._longest(question)
        return self._stays[question]

    def _longest(self, question: _Question) -> Fraction:
        flights = self.given.flights if question.bounces else self._merged
        if not flights or not (question.wrong or question.before_ms or question.after_ms):
            return question.before_ms + question.after_ms  # nothing moves, or nothing is bad
        from tapplan.control.stays import longest_stay_in  # numpy, only where relays fly

        after = (FlightStage.BOUNCING, FlightStage.NEW) if question.bounces else (FlightStage.NEW,)
        ends = [((FlightStage.OLD,), question.before_ms), (after, question.after_ms)]
        boxes = [self._box(self.passages[number], bounces=question.bounces) for number in sorted(question.wrong)]
        boxes += [[stages] * len(flights) for stages, counts in ends if counts]
        within = Span(-question.before_ms, self.given.settled_ms + question.after_ms)
        return longest_stay_in(flights, boxes, within).most

    @property
    def _merged(self) -> tuple[RelayFlight, ...]:
        """The flights, a bounce counted as part of the transfer."""
        return tuple(
            RelayFlight(one.commanded, one.delay, _sum(one.transfer, one.bounce), _NONE) for one in self.given.flights
        )

    def _box(self, passage: Passage, *, bounces: bool) -> list[tuple[FlightStage, ...]]:
        """The stages of each mover in which a passage is met, or may be; a mover that does not matter in any."""
        stands = passage.positions
        return [
            tuple(FlightStage) if position is None else self._stages(relay, position, bounces=bounces)
            for relay in self.move.movers
            for position in [stands.get(relay)]
        ]

    def _stages(self, relay: str, position: Position, *, bounces: bool) -> tuple[FlightStage, ...]:
        if position is Position.FLIGHT:
            return (FlightStage.OPEN, FlightStage.BOUNCING)
        if (position is Position.DRIVEN) == (relay in self.move.new):
            return (FlightStage.BOUNCING, FlightStage.NEW) if bounces else (FlightStage.NEW,)
        return (FlightStage.OLD,)


_NONE = Span(Fraction(0), Fraction(0))


def _sum(one: Span, other: Span) -> Span:
    return Span(one.low + other.low, one.high + other.high)


class Flying:
    """Every move of one table that is asked for, flown as its sequence says, each worked out once."""

    def __init__(self, table: ControlTable, mixtures: Mixtures) -> None:
        self._table, self._mixtures = table, mixtures
        self._known: dict[Change, Flown] = {}

    def of(self, move: Move) -> Flown:
        """A move with its commands."""
        key = Change(move.start, move.end)
        if key not in self._known:
            self._known[key] = Flown(self._mixtures, commands(self._table, self._mixtures, move))
        return self._known[key]
