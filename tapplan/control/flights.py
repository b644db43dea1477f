"""How relays of one move fly: when each opens, touches its other throw, and is still, within its own spans of time.

Coincidence never adds to a stay. A stage lasts from its event to the next one, both instants taken in: a good vector
that is only touched, one relay entering it at the very instant another leaves it, breaks the stay there; and a bad
vector that is only touched is not met. Where spans leave room this changes nothing, as timings just beside such an
instant come as near as wanted to the same length. Where they leave none, it is what lets a pause that is just long
enough keep two flights apart. A stage that a relay runs through in no time is not met, and breaks nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from fractions import Fraction

from tapplan.exact import Span


class FlightStage(IntEnum):
    """How far a relay has come: on its old throw, on neither, on neither or the new throw, on the new throw.

    One that makes before it breaks goes the same way seen from its end: on its old throw, on that or both, on both,
    on the new throw.
    """

    OLD = 0
    OPEN = 1
    BOUNCING = 2
    NEW = 3


StageVector = tuple[FlightStage, ...]  # one stage for each relay, in the order of the flights
BadStages = Callable[[StageVector], bool]


@dataclass(frozen=True, slots=True)
class RelayFlight:
    """One relay's part in a move; all times in ms, `commanded` after the first command of the move.

    `delay` runs from the command to the old throw's opening, `transfer` on to the first touch of the other throw,
    `bounce` on to its rest there. With `makes_first` it runs to that touch, `bounce` on to the rest, `transfer` on to
    the old throw's opening. When the old throw can open, the new one first touch, and close for good, follows:
    `opens`, `touches` and `rests`; `entered` has the same in the order in which they come, as the stages after OLD.
    """

    commanded: Fraction
    delay: Span
    transfer: Span
    bounce: Span
    makes_first: bool = False
    opens: Span = field(init=False, repr=False, compare=False)
    touches: Span = field(init=False, repr=False, compare=False)
    rests: Span = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if min(self.delay.low, self.transfer.low, self.bounce.low) < 0:
            raise ValueError("a relay does not act before its cause: delay, transfer and bounce are at least 0")
        first = _after(Span(self.commanded, self.commanded), self.delay)
        object.__setattr__(self, "touches", first if self.makes_first else _after(first, self.transfer))
        object.__setattr__(self, "rests", _after(self.touches, self.bounce))
        object.__setattr__(self, "opens", _after(self.rests, self.transfer) if self.makes_first else first)

    @property
    def entered(self) -> tuple[Span, ...]:
        """When each stage after OLD can begin."""
        return (self.touches, self.rests, self.opens) if self.makes_first else (self.opens, self.touches, self.rests)

    @property
    def lasting(self) -> tuple[Span, ...]:
        """How long the two stages between OLD and NEW can last."""
        return (self.bounce, self.transfer) if self.makes_first else (self.transfer, self.bounce)

    @property
    def old_stages(self) -> tuple[FlightStage, ...]:
        """Those in which its contacts may stand as before."""
        return (FlightStage.OLD, FlightStage.OPEN) if self.makes_first else (FlightStage.OLD,)

    @property
    def new_stages(self) -> tuple[FlightStage, ...]:
        """Those in which its contacts may stand as afterwards."""
        return (FlightStage.NEW,) if self.makes_first else (FlightStage.BOUNCING, FlightStage.NEW)

    @property
    def settled(self) -> Fraction:
        """The time from which the relay is at rest in every timing."""
        return self.entered[-1].high

    @property
    def longest(self) -> Fraction:
        """The most time between opening and rest."""
        return self.transfer.high + self.bounce.high


@dataclass(frozen=True, slots=True)
class Stay:
    """The longest time in a bad way, in ms, and the vectors that follow one another in a timing that comes that near.

    `at` is empty when no bad vector can be met. Unless `exact`, the search was cut off: `most` is then a bound from
    above, and `at` names bad vectors of a timing that may leave them in between.
    """

    most: Fraction
    at: tuple[StageVector, ...]
    exact: bool = True


def meets(flights: Sequence[RelayFlight], vector: StageVector) -> bool:
    """Whether some timing has the relays in these stages all at once, and not by a coincidence of two instants.

    That is for a positive time: a stage that takes no time in any timing is not met.
    """
    pairs = list(zip(flights, vector, strict=True))
    if any(_passed_at_once(flight, stage) for flight, stage in pairs):
        return False
    spans = [_presence(flight, stage) for flight, stage in pairs]
    return all(
        first is None or last is None or first < last
        for one, (first, _) in enumerate(spans)
        for other, (_, last) in enumerate(spans)
        if one != other
    )


def _after(start: Span, lasting: Span) -> Span:
    return Span(start.low + lasting.low, start.high + lasting.high)


def _presence(flight: RelayFlight, stage: FlightStage) -> tuple[Fraction | None, Fraction | None]:
    """The earliest entry into a stage and the latest exit from it; None for what has no beginning or no end."""
    events = flight.entered
    first = None if stage is FlightStage.OLD else events[stage - 1].low
    return first, None if stage is FlightStage.NEW else events[stage].high


def _passed_at_once(flight: RelayFlight, stage: FlightStage) -> bool:
    """Whether the stage takes no time in any timing."""
    if stage in (FlightStage.OLD, FlightStage.NEW):
        return False
    return flight.lasting[stage - FlightStage.OPEN].high == 0
