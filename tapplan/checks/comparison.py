"""What changed between two revisions of a design: the promise, the bands, the margins, the findings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.margins import margins, sharings
from tapplan.checks.review import Review, review
from tapplan.checks.rules import findings_in
from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class PromiseChange:
    """The mains range or the output window, changed; worse when less is promised than before."""

    key: str
    old: Span
    new: Span
    worse: bool


@dataclass(frozen=True, slots=True)
class BandChange:
    """A band of one name in both revisions that differs, or in one only (the other is None)."""

    name: str
    old: Row | None
    new: Row | None

    @property
    def change(self) -> str:
        """In a word: added, removed, rewired (other relays or ratio), or moved (other thresholds)."""
        if self.old is None or self.new is None:
            return "added" if self.old is None else "removed"
        same = self.old.energised == self.new.energised and self.old.ratio == self.new.ratio
        return "moved" if same else "rewired"


@dataclass(frozen=True, slots=True)
class MarginChange:
    """A margin in volts before and after: of a band's end to the window, or of two neighbours' overlap."""

    what: str
    old_v: Fraction
    new_v: Fraction

    @property
    def won_v(self) -> Fraction:
        """Volts won; negative when lost."""
        return self.new_v - self.old_v


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two revisions, difference by difference."""

    promises: tuple[PromiseChange, ...]
    bands: tuple[BandChange, ...]
    margins: tuple[MarginChange, ...]
    smallest: tuple[MarginChange, ...]
    gained: tuple[Finding, ...]
    lost: tuple[Finding, ...]

    @property
    def worse(self) -> bool:
        """Whether less is promised, the smallest margin or overlap has shrunk, or a fault or warning was gained.

        A larger margin may shrink in favour of the smallest: a threshold that moves gives to one and takes from one.
        """
        return (
            any(one.worse for one in self.promises)
            or any(one.won_v < 0 for one in self.smallest)
            or any(one.severity is not Severity.NOTE for one in self.gained)
        )


def compared(old: Design, new: Design) -> Comparison:
    """The differences between two designs, in the order of the new one's bands and rules."""
    before, after = review(old), review(new)
    found_before, found_after = findings_in(before), findings_in(after)
    return Comparison(
        tuple(_promises(before, after)),
        tuple(_bands(before, after)),
        tuple(_margins(before, after)),
        tuple(_smallest(before, after)),
        tuple(_without(found_after, found_before)),
        tuple(_without(found_before, found_after)),
    )


def _promises(before: Review, after: Review) -> Iterator[PromiseChange]:
    old, new = before.mains, after.mains
    if old != new:
        yield PromiseChange("mains.range_v", old, new, worse=new.low > old.low or new.high < old.high)
    old, new = before.window, after.window
    if old != new:
        yield PromiseChange("output.window_v", old, new, worse=new.low < old.low or new.high > old.high)


def _bands(before: Review, after: Review) -> Iterator[BandChange]:
    old = {row.name: row for row in before.table.rows}
    new = {row.name: row for row in after.table.rows}
    for name in [*new, *(name for name in old if name not in new)]:
        was, now = old.get(name), new.get(name)
        if was is None or now is None or _differ(was, now):
            yield BandChange(name, was, now)


def _differ(was: Row, now: Row) -> bool:
    return (was.energised, was.ratio, was.kept, was.hold) != (now.energised, now.ratio, now.kept, now.hold)


def _margins(before: Review, after: Review) -> Iterator[MarginChange]:
    old, new = _margins_of(before), _margins_of(after)
    for what, volts in new.items():
        if what in old and old[what] != volts:
            yield MarginChange(what, old[what], volts)


def _smallest(before: Review, after: Review) -> Iterator[MarginChange]:
    for what, of in (("smallest margin of a band", _ends_of), ("smallest overlap of neighbours", _overlaps_of)):
        old, new = of(before), of(after)
        if old and new:
            yield MarginChange(what, min(old.values()), min(new.values()))


def _margins_of(reviewed: Review) -> dict[str, Fraction]:
    return _ends_of(reviewed) | _overlaps_of(reviewed)


def _ends_of(reviewed: Review) -> dict[str, Fraction]:
    return {f'band "{one.row.name}", {one.end} end': one.margin_v for one in margins(reviewed)}


def _overlaps_of(reviewed: Review) -> dict[str, Fraction]:
    return {f'overlap of "{one.below.name}" and "{one.above.name}"': one.overlap_v for one in sharings(reviewed)}


def _without(some: list[Finding], others: list[Finding]) -> Iterator[Finding]:
    """The findings that the others do not have: by code, severity and place."""
    known = {(one.code, one.severity, one.where) for one in others}
    return (one for one in some if (one.code, one.severity, one.where) not in known)
