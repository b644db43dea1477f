"""How the coils of a move change: all at once, or one after the other with a pause, as `[sequence]` states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tapplan.control.flights import RelayFlight
from tapplan.control.moves import MOST_MOVERS, Mixtures, Move, order_to_choose
from tapplan.control.standing import AWAY, REST, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.control.timing import Travel, travel


@dataclass(frozen=True, slots=True)
class Commands:
    """The coil changes of one move, from the first at 0 ms; `flights` are those of its movers, in their order.

    `groups` are the relays commanded at one instant, one group after the other. `blank_ms`: after the last coil
    change readings are not counted for so long. `settled_ms` follows: when the last contact is still at the latest.
    """

    move: Move
    groups: tuple[tuple[str, ...], ...]
    flights: tuple[RelayFlight, ...]
    blank_ms: Fraction
    settled_ms: Fraction = field(init=False)

    def __post_init__(self) -> None:
        latest = max((one.settled for one in self.flights), default=Fraction(0))
        object.__setattr__(self, "settled_ms", latest)

    @property
    def order(self) -> tuple[str, ...]:
        """The relays in the order commanded; those of one instant in the order of the file."""
        return tuple(relay for group in self.groups for relay in group)

    @property
    def ordered(self) -> bool:
        """Whether the relays are commanded one after the other."""
        return len(self.groups) > 1

    @property
    def opens_ms(self) -> Fraction:
        """When the first contact has changed at the latest."""
        return min((one.commanded + one.delay.high for one in self.flights), default=Fraction(0))

    @property
    def decides_ms(self) -> Fraction:
        """When readings count again: every relay settled, and the blanking over; at once where no coil changes."""
        ends = (one.commanded + self.blank_ms for one in self.flights)
        return max(self.settled_ms, max(ends, default=Fraction(0)))


def commands(table: ControlTable, mixtures: Mixtures, move: Move) -> Commands:
    """What the design's sequence makes of a move; together where the coils drop out by themselves."""
    sequence = table.design.sequence
    groups = _groups(table, mixtures, move)
    travels = {relay: _travel(table, move, relay) for relay in move.movers}
    begins: dict[str, Fraction] = {}
    now = Fraction(0)
    for group in groups:
        begins |= dict.fromkeys(group, now)
        settling = max(travels[relay].most for relay in group)
        now += settling if sequence.pause_ms is None else sequence.pause_ms
    flights = tuple(_flight(begins[relay], travels[relay]) for relay in move.movers)
    return Commands(move, groups, flights, sequence.blank_ms)


def _flight(commanded: Fraction, taken: Travel) -> RelayFlight:
    return RelayFlight(commanded, taken.delay, taken.transfer, taken.bounce, taken.makes_first)


def _travel(table: ControlTable, move: Move, relay: str) -> Travel:
    stated = next(one for one in table.design.relays if one.name == relay)
    return travel(stated, driven=relay in move.new)


def _groups(table: ControlTable, mixtures: Mixtures, move: Move) -> tuple[tuple[str, ...], ...]:
    order = _stated_order(table, move)
    if order is None and table.design.sequence.order == "safest" and len(move.movers) <= MOST_MOVERS:
        chosen = order_to_choose(mixtures, move)
        order = None if chosen is None else chosen.relays
    if order is None:
        return (move.movers,) if move.movers else ()
    return tuple((relay,) for relay in order)


def _stated_order(table: ControlTable, move: Move) -> Sequence[str] | None:
    """The order that the file gives for just this move; none when the coils drop out."""
    if not move.chosen:
        return None
    ends = tuple(_named(table, one) for one in (move.start, move.end))
    return next((one.order for one in table.design.sequence.moves if (one.old, one.new) == ends), None)


def _named(table: ControlTable, standing: Standing) -> str:
    if isinstance(standing, InRow):
        return table.rows[standing.number].name
    return REST.value if standing is REST else AWAY.value
