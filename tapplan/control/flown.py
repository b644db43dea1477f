"""A move as it is commanded and timed: which mixtures of positions it really meets, how long it can stay in them."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from tapplan.control.commands import Commands, commands
from tapplan.control.flights import FlightStage, RelayFlight
from tapplan.control.moves import CHANGING, MOST_MOVERS, Mixtures, Move, Passage
from tapplan.control.standing import Change
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Position
from tapplan.network.turns import Gain, Outcome

if TYPE_CHECKING:
    from tapplan.control.longest import LongestStays

BadOutcome = Callable[[Outcome], bool]


@dataclass(frozen=True, slots=True)
class PassageHeights:
    """The passages of a move by what they put out for each volt of line, nothing where there is no ratio.

    `from_rung` holds, for each of the rising `rungs`, the passages there or above it, and for one more none;
    `to_rung` those below each, and at last all.
    """

    rungs: tuple[Fraction, ...]
    from_rung: tuple[frozenset[int], ...]
    to_rung: tuple[frozenset[int], ...]

    @classmethod
    def of(cls, outcomes: Sequence[Outcome]) -> PassageHeights:
        """The heights of these outcomes, each a passage by its number."""
        at: dict[Fraction, list[int]] = {}
        for number, one in enumerate(outcomes):
            at.setdefault(one.ratio if isinstance(one, Gain) else Fraction(0), []).append(number)
        rungs = tuple(sorted(at))
        below, every = [frozenset[int]()], frozenset(range(len(outcomes)))
        for rung in rungs:
            below.append(below[-1] | frozenset(at[rung]))
        return cls(rungs, tuple(every - one for one in below), tuple(below))

    def at_least(self, height: Fraction) -> frozenset[int]:
        """The passages at a height or above it."""
        return self.from_rung[bisect_left(self.rungs, height)]

    def at_most(self, height: Fraction) -> frozenset[int]:
        """The passages at a height or below it."""
        return self.to_rung[bisect_right(self.rungs, height)]


@dataclass(frozen=True)
class _Read:
    """A move with bounces read in one way: its flights, the box of stages of each passage, and what was asked."""

    flights: tuple[RelayFlight, ...]
    boxes: Sequence[Sequence[tuple[FlightStage, ...]]]
    _known: dict[frozenset[int], LongestStays] = field(default_factory=dict, init=False, repr=False, compare=False)

    def stays(self, wrong: frozenset[int]) -> LongestStays:
        """The longest stays in some of the passages, by number."""
        if wrong not in self._known:
            from tapplan.control.longest import longest_stays, packed  # numpy, only where relays fly

            bits = packed((self.boxes[number] for number in wrong), len(self.flights))
            self._known[wrong] = longest_stays(self.flights, bits)
        return self._known[wrong]


class Flown:
    """One move with its commands; what is asked twice is worked out once.

    Only for moves of up to so many relays (`examined`): beyond, nothing is known of the mixtures.
    """

    def __init__(self, mixtures: Mixtures, given: Commands, most: int = MOST_MOVERS) -> None:
        self._most = most
        self.given = given
        self.move: Move = given.move
        self._mixtures = mixtures
        self._after = given.settled_ms + 1
        self._flights = dict(zip(given.move.movers, given.flights, strict=True))

    @property
    def examined(self) -> bool:
        """Whether the mixtures are few enough to go through."""
        return len(self.move.movers) <= self._most

    @cached_property
    def passages(self) -> tuple[Passage, ...]:
        """Every mixture that can be met between the wholly old and the wholly new, the times as they may be.

        Raises:
            ValueError: there are too many to go through.
        """
        if not self.examined:
            raise ValueError(f"{len(self.move.movers)} relays move at once; up to {self._most} are examined")
        return tuple(one for one in self._mixtures.passages(self.move) if self._met(one))

    @cached_property
    def heights(self) -> PassageHeights:
        """The mixtures met by their height; none are known where there are too many."""
        return PassageHeights.of([one.outcome for one in self.passages] if self.examined else [])

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
        if position in CHANGING:
            return Span(flight.entered[0].low, flight.settled) if flight.longest else None
        if (position is Position.DRIVEN) == (relay in self.move.new):
            return Span(_begun(flight, flight.new_stages[0]), self._after)
        return Span(Fraction(-1), flight.entered[flight.old_stages[-1]].high)

    def open_ms(self, bad: BadOutcome) -> Fraction:
        """How long the stage can stay in what is bad, a bouncing contact counted as open; 0 where it never is."""
        wrong, none = self._wrong(bad), Fraction(0)
        return self._bounce_open.stays(wrong).ms(none, none) if wrong and self.given.flights else none

    def level_ms(
        self, bad: BadOutcome, before_ms: Fraction = Fraction(0), after_ms: Fraction = Fraction(0)
    ) -> Fraction:
        """How long it can stay in what is bad, a bouncing contact counted as open or on its new throw.

        Where the state before the move is as bad, it has stood so for `before_ms` when the first command comes; where
        the one after it is, it goes on for `after_ms` from the last instant at which some relay may still move.
        """
        return self.stay_ms(self._wrong(bad), before_ms, after_ms)

    def stay_ms(self, wrong: frozenset[int], before_ms: Fraction, after_ms: Fraction) -> Fraction:
        """The same, what is bad given as the numbers of passages."""
        if not self.given.flights or not (wrong or before_ms or after_ms):
            return before_ms + after_ms  # nothing moves, or nothing is bad
        return self._bounce_either.stays(wrong).ms(before_ms, after_ms)

    def _wrong(self, bad: BadOutcome) -> frozenset[int]:
        return frozenset(number for number, one in enumerate(self.passages) if bad(one.outcome))

    @cached_property
    def _bounce_open(self) -> _Read:
        """A bounce counted as open: as part of the transfer, or of the time before the new throw is closed."""
        flights = tuple(map(_with_bounce_open, self.given.flights))
        return _Read(flights, [self._box(one, bounces=False) for one in self.passages])

    @cached_property
    def _bounce_either(self) -> _Read:
        return _Read(self.given.flights, [self._box(one, bounces=True) for one in self.passages])

    def _box(self, passage: Passage, *, bounces: bool) -> list[tuple[FlightStage, ...]]:
        """The stages of each mover in which a passage is met, or may be; a mover that does not matter in any."""
        stands = passage.positions
        return [
            tuple(FlightStage) if position is None else self._stages(relay, position, bounces=bounces)
            for relay in self.move.movers
            for position in [stands.get(relay)]
        ]

    def _stages(self, relay: str, position: Position, *, bounces: bool) -> tuple[FlightStage, ...]:
        if position in CHANGING:
            return (FlightStage.OPEN, FlightStage.BOUNCING)
        if (position is Position.DRIVEN) == (relay in self.move.new):
            return self._flights[relay].new_stages if bounces else (FlightStage.NEW,)
        return self._flights[relay].old_stages if bounces else (FlightStage.OLD,)


_NONE = Span(Fraction(0), Fraction(0))


def _begun(flight: RelayFlight, stage: FlightStage) -> Fraction:
    """When a stage after OLD can begin at the earliest."""
    return flight.entered[stage - FlightStage.OPEN].low


def _with_bounce_open(one: RelayFlight) -> RelayFlight:
    if one.makes_first:
        return RelayFlight(one.commanded, _sum(one.delay, one.bounce), one.transfer, _NONE, makes_first=True)
    return RelayFlight(one.commanded, one.delay, _sum(one.transfer, one.bounce), _NONE)


def _sum(one: Span, other: Span) -> Span:
    return Span(one.low + other.low, one.high + other.high)


class Flying:
    """Every move of one table that is asked for, flown as its sequence says, each worked out once.

    Moves of more than `most` relays are not examined.
    """

    def __init__(self, table: ControlTable, mixtures: Mixtures, most: int = MOST_MOVERS) -> None:
        self._table, self._mixtures, self._most = table, mixtures, most
        self._known: dict[Change, Flown] = {}

    def of(self, move: Move) -> Flown:
        """A move with its commands."""
        key = Change(move.start, move.end)
        if key not in self._known:
            self._known[key] = Flown(self._mixtures, commands(self._table, self._mixtures, move), self._most)
        return self._known[key]
