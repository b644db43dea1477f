"""Where the thresholds between two neighbouring bands may stand: a grid within the room that the promises leave.

An upper end may go up to the highest reading that the lower band may keep, a lower end down to the lowest one that
the upper band may keep (`control.serving`); between them the hysteresis wanted must stay. A threshold that lies
beyond that already may stay where it is, and go no farther.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from tapplan.control.serving import served
from tapplan.control.table import ControlTable, Row
from tapplan.control.thresholds import STEPS, Handover, least_read, most_read, noise_between
from tapplan.design.edit import FINEST
from tapplan.design.model import Band, Design
from tapplan.exact import Span, rounded_down, rounded_up

COARSEST_GRID = Fraction(1, 10)  # volts sensed
COARSEST_INPUT = Fraction(1, 4)  # input volts

HandoverEnds = Sequence[Handover]  # the thresholds of some handovers, by rising input


@dataclass(frozen=True)
class HandoverRoom:
    """What one handover may be; `number` is that of the row below it. Thresholds are in the units sensed.

    `most_upper` and `least_lower` are the outermost ends; `read_below` and `read_above` what the two rows read of an
    input volt, at the most and at the least. Overlaps are in input volts: no less than `least_overlap`, and more than
    `noise` where that was so before.
    """

    number: int
    now: Handover
    most_upper: Fraction
    least_lower: Fraction
    read_below: Fraction
    read_above: Fraction
    least_overlap: Fraction
    noise: Fraction
    step: Fraction
    _known: dict[Handover, bool] = field(default_factory=dict, init=False, repr=False, compare=False)

    def overlap(self, ends: Handover) -> Fraction:
        """How far the two rows then overlap, in input volts."""
        return ends.upper_end / self.read_below - ends.lower_end / self.read_above

    def within(self, upper: Fraction, lower: Fraction) -> HandoverRoom:
        """The same with its outermost ends farther in."""
        return replace(self, most_upper=upper, least_lower=lower)

    @cached_property
    def uppers(self) -> tuple[Fraction, ...]:
        """The upper ends to try, rising; the present one is among them."""
        least = (self.least_lower / self.read_above + self.least_overlap) * self.read_below
        return self._grid(Span(min(least, self.most_upper), self.most_upper), self.now.upper_end)

    @cached_property
    def lowers(self) -> tuple[Fraction, ...]:
        """The lower ends to try, rising; the present one is among them."""
        most = (self.most_upper / self.read_below - self.least_overlap) * self.read_above
        return self._grid(Span(self.least_lower, max(most, self.least_lower)), self.now.lower_end)

    def _grid(self, within: Span, now: Fraction) -> tuple[Fraction, ...]:
        first, last = rounded_up(within.low, self.step), rounded_down(within.high, self.step)
        count = int((last - first) / self.step) + 1
        return tuple(sorted({now, *(first + number * self.step for number in range(max(count, 0)))}))

    def allows(self, ends: Handover) -> bool:
        """Whether two ends of the grid leave the overlap that is wanted; what is found is kept."""
        if ends not in self._known:
            overlap, before = self.overlap(ends), self.overlap(self.now)
            wide = overlap >= self.least_overlap and (overlap > self.noise or overlap >= before)
            self._known[ends] = wide or ends == self.now
        return self._known[ends]


def rooms_in(table: ControlTable) -> tuple[HandoverRoom, ...]:
    """The handovers with any choice, by rising input; none beside a state that serves nothing or fixes no reading."""
    found = (_room(table, number) for number in range(len(table.rows) - 1))
    return tuple(one for one in found if one is not None and (len(one.uppers) > 1 or len(one.lowers) > 1))


def _room(table: ControlTable, number: int) -> HandoverRoom | None:
    rows = table.rows[number : number + 2]
    below, above = (served(table.design, table.circuit, row.state) for row in rows)
    if below is None or above is None or below.read is None or above.read is None:
        return None
    now = Handover(rows[0].hold.high, rows[1].hold.low)
    read_below, read_above = most_read(below), least_read(above)
    overlap = now.upper_end / read_below - now.lower_end / read_above
    return HandoverRoom(
        number,
        now,
        max(below.highest_keep, now.upper_end),
        min(above.lowest_keep, now.lower_end),
        read_below,
        read_above,
        min(overlap, table.design.sensing.hysteresis_v),
        noise_between(below, above),
        grid_step(min(read_below, read_above)),
    )


def grid_step(reading: Fraction) -> Fraction:
    """The step of the grid in volts sensed, where so much is read of an input volt: a tenth, or finer."""
    fine = (step for step in STEPS if step <= COARSEST_GRID and step / reading <= COARSEST_INPUT)
    return next(fine, STEPS[-1])


@dataclass(frozen=True)
class Thresholds:
    """A table whose handovers can be moved, and those that have room for it."""

    table: ControlTable
    rooms: tuple[HandoverRoom, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "rooms", rooms_in(self.table))

    @property
    def now(self) -> tuple[Handover, ...]:
        """Those of the table as it is."""
        return tuple(room.now for room in self.rooms)

    def moved(self, ends: HandoverEnds) -> ControlTable:
        """The table with other thresholds at its handovers; outer ends stay.

        Raises:
            ValueError: a hold would end before it begins.
        """
        rows = list(self.table.rows)
        for room, one in zip(self.rooms, ends, strict=True):
            below, above = rows[room.number], rows[room.number + 1]
            up, down = one.upper_end, one.lower_end
            rows[room.number] = replace(below, hold=Span(below.hold.low, up), kept=Span(below.kept.low, up))
            rows[room.number + 1] = replace(above, hold=Span(down, above.hold.high), kept=Span(down, above.kept.high))
        return replace(self.table, rows=tuple(rows))

    @cached_property
    def _rising(self) -> tuple[int, ...]:
        """The rows whose ends both lie below those of the next one, as is usual; they are kept so."""
        found = enumerate(pairwise(self.table.rows))
        return tuple(number for number, (below, above) in found if _rises(below, above))

    def ordered(self, ends: HandoverEnds) -> bool:
        """Whether no hold ends before it begins, and rows whose ends rise still do: so none changes its place."""
        try:
            rows = self.moved(ends).rows
        except ValueError:
            return False
        return all(_rises(rows[number], rows[number + 1]) for number in self._rising)


@dataclass(frozen=True, slots=True)
class FreeEnds:
    """The ends of one handover at which no row changes its place, the other handovers as they are."""

    uppers: frozenset[Fraction]
    lowers: frozenset[Fraction]

    def __contains__(self, one: Handover) -> bool:
        """Whether both are such ends: each is held against ends of other handovers, never against the other."""
        return one.upper_end in self.uppers and one.lower_end in self.lowers


def free_ends(thresholds: Thresholds, ends: HandoverEnds, place: int) -> FreeEnds:
    """The free ends on the grid of a handover, by place, where these ends keep the rows in order."""
    room, now = thresholds.rooms[place], ends[place]

    def keeps(one: Handover) -> bool:
        return thresholds.ordered([*ends[:place], one, *ends[place + 1 :]])

    return FreeEnds(
        frozenset(end for end in room.uppers if keeps(Handover(end, now.lower_end))),
        frozenset(end for end in room.lowers if keeps(Handover(now.upper_end, end))),
    )


def _rises(below: Row, above: Row) -> bool:
    one, other = below.input_hold or below.kept, above.input_hold or above.kept
    return one.low < other.low and one.high < other.high


def restated(table: ControlTable) -> Design:
    """The design with the holds of a table stated in it, in the order of the file, as they would be written there."""
    holds = {row.name: _rounded(row.hold) for row in table.rows}
    design = table.stated
    bands = design.bands or tuple(Band(name=row.name, energised=row.energised) for row in table.rows)
    return replace(design, bands=tuple(replace(one, hold_v=holds[one.name]) for one in bands))


def _rounded(hold: Span) -> tuple[Fraction, Fraction]:
    """HandoverEnds that a file can hold, inward: the safe side."""
    low, high = rounded_up(hold.low, FINEST), rounded_down(hold.high, FINEST)
    return (low, high) if low <= high else (hold.low, hold.high)
