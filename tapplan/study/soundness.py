"""Whether thresholds keep all that a design promises: reviewed anew from the design as it would be written.

Nothing that was found before needs to be gone; but no promise that held may be broken, no fault may be new or larger,
no neighbours with less than the hysteresis wanted may be new, and no kind of warning. Figures that every stage has
(`checks.traits`) move with any threshold and are judged by the limits that the file states for them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Judgement, judged
from tapplan.checks.review import Review, review_of
from tapplan.checks.sizes import Sizes, sizes
from tapplan.control.table import ControlTable
from tapplan.control.thresholds import Handover
from tapplan.errors import TableError
from tapplan.rating.built import built_table
from tapplan.study.handovers import HandoverEnds, HandoverRoom, Thresholds, restated

THIN = "thin-hysteresis"


@dataclass(frozen=True, slots=True)
class Keeping:
    """What a review says of a design's promises: those held, and what is wrong, by code or by code and place.

    `faults` have the sizes of each, as `checks.sizes` measures them, the largest where there are several. `margin` is
    the least of any promise, in volts; None where none has any.
    """

    held: frozenset[str]
    faults: Mapping[str, Sizes]
    thin: frozenset[str]
    warned: frozenset[str]
    margin: Fraction | None

    def no_worse(self, before: Keeping) -> bool:
        """Whether all that held before still does, and nothing is wrong that was not."""
        return (
            before.held <= self.held
            and all(
                mark in before.faults and _within(found, before.faults[mark]) for mark, found in self.faults.items()
            )
            and self.thin <= before.thin
            and self.warned <= before.warned
        )


def keeping(review: Review) -> Keeping:
    """What a review says of the promises.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    found = judged(review)
    every = [*found.findings, *(one.finding for one in found.accepted)]
    return Keeping(
        frozenset(one.code for one in found.promises if one.held),
        _faults([one for one in every if one.severity is Severity.FAULT]),
        frozenset(one.where for one in every if one.code == THIN),
        frozenset(one.code for one in every if _counts(one)),
        _margin(found),
    )


def _faults(found: Iterable[Finding]) -> Mapping[str, Sizes]:
    """The sizes of each fault by its code and place."""
    sized: dict[str, Sizes] = {}
    for one in found:
        largest = sized.setdefault(f"{one.code} {one.where}", {})
        for size, value in sizes(one.witness).items():
            largest[size] = max(value, largest.get(size, value))
    return sized


def _within(found: Sizes, before: Sizes) -> bool:
    """Whether a fault is no larger in anything it is measured by."""
    return all(size in before and value <= before[size] for size, value in found.items())


def _counts(one: Finding) -> bool:
    return one.severity is Severity.WARNING and one.code != THIN


def _margin(found: Judgement) -> Fraction | None:
    least = found.least
    return None if least is None else least.margin


class Soundness:
    """Judges thresholds by a whole review each, against what was kept before; what it has found it keeps."""

    def __init__(self, thresholds: Thresholds, before: Keeping) -> None:
        self.thresholds = thresholds
        self.before = before
        self.reviewed = 0
        self._known: dict[tuple[Handover, ...], Keeping | None] = {}

    def sound(self, ends: HandoverEnds) -> bool:
        """Whether the design with these thresholds keeps all that it kept."""
        found = self.keeping(ends)
        return found is not None and found.no_worse(self.before)

    def keeping(self, ends: HandoverEnds) -> Keeping | None:
        """What the review says of the design written with these thresholds and read again; None: it does not read."""
        key = tuple(ends)
        if key not in self._known:
            self.reviewed += 1
            table = written_table(self.thresholds.moved(key))
            self._known[key] = None if table is None else keeping(review_of(table))
        return self._known[key]

    def trimmed(self) -> tuple[HandoverRoom, ...]:
        """The rooms with each end no farther out than where, moved alone, it keeps all that was kept."""
        return tuple(self._trimmed(place) for place in range(len(self.thresholds.rooms)))

    def _trimmed(self, place: int) -> HandoverRoom:
        room, now = self.thresholds.rooms[place], self.thresholds.now

        def sound(one: Handover) -> bool:
            ends = (*now[:place], one, *now[place + 1 :])
            return self.thresholds.ordered(ends) and self.sound(ends)

        uppers = [end for end in room.uppers if end >= room.now.upper_end]
        lowers = [end for end in room.lowers[::-1] if end <= room.now.lower_end]
        upper = uppers[_last(len(uppers), lambda at: sound(Handover(uppers[at], room.now.lower_end)))]
        lower = lowers[_last(len(lowers), lambda at: sound(Handover(room.now.upper_end, lowers[at])))]
        return room.within(upper, lower)


def _last(count: int, good: Callable[[int], bool]) -> int:
    """The last of so many places that is good, by halving; the first one is, and none after the first bad one."""
    low, high = 0, count - 1
    if good(high):
        return high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if good(middle) else (low, middle)
    return low


def written_table(table: ControlTable) -> ControlTable | None:
    """The table of the design as it would be written, read again; None where that is another table."""
    try:
        found = built_table(restated(table))
    except TableError:
        return None
    if [(row.name, row.energised) for row in found.rows] != [(row.name, row.energised) for row in table.rows]:
        return None
    return found
