"""What changed between two revisions of a design: the promise, the bands, the margins, the findings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from fractions import Fraction

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Accepted, Judgement, judged
from tapplan.checks.margins import margins, sharings
from tapplan.checks.review import Review, review
from tapplan.checks.sizes import sizes
from tapplan.checks.traits import Trait
from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.design.shape import keys_of
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
class FindingChange:
    """A finding of one code, severity and place in both revisions whose witness differs."""

    old: Finding
    new: Finding

    @property
    def worse(self) -> bool:
        """Whether a fault grew in any measure, or a warning in time, current, flux or error.

        Where and how high a warning about flight or a stuck part bites moves with every threshold, to and fro.
        """
        if self.new.severity is Severity.NOTE:
            return False
        before, after = sizes(self.old.witness), sizes(self.new.witness)
        counted = before.keys() & after.keys()
        if self.new.severity is Severity.WARNING:
            counted &= {"time", "current", "flux", "error"}
        return any(after[what] > before[what] for what in counted)


@dataclass(frozen=True, slots=True)
class TraitChange:
    """A figure that every such stage has, before and after.

    Times, factors and counts make it worse. Volts alone are told and not judged: where a surge or a dip bites moves
    with every threshold, to and fro. They are worse where they last longer and do more harm: volts beyond the window
    times how long. `old` None: the trait is new; `new` None: it is gone.
    """

    old: Trait | None
    new: Trait | None

    @property
    def trait(self) -> Trait:
        """The trait as it is, or as it was where it is gone."""
        found = self.new or self.old
        assert found is not None  # noqa: S101 - one of the two is there
        return found

    @property
    def worse(self) -> bool:
        """Whether it grew, or is new."""
        if self.new is None or self.old is None:
            return self.old is None
        if self.new.unit == "V":
            return _longer(self.new.lasts_ms, self.old.lasts_ms) and self.new.harm > self.old.harm
        if self.new.code == "unsafe-rest":
            return abs(self.new.value - 1) > abs(self.old.value - 1)
        return self.new.value > self.old.value


def _longer(new_ms: Fraction | None, old_ms: Fraction | None) -> bool:
    """Whether a time grew; where none is known nothing lasts."""
    return new_ms is not None and new_ms > (Fraction(0) if old_ms is None else old_ms)


@dataclass(frozen=True, slots=True)
class StatedChange:
    """A key of the file that differs, beside the promise and the bands; None: not stated."""

    key: str
    old: object
    new: object


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two revisions, difference by difference."""

    promises: tuple[PromiseChange, ...]
    bands: tuple[BandChange, ...]
    margins: tuple[MarginChange, ...]
    smallest: tuple[MarginChange, ...]
    gained: tuple[Finding, ...]
    lost: tuple[Finding, ...]
    accepted: tuple[Accepted, ...]
    grown: tuple[FindingChange, ...]
    traits: tuple[TraitChange, ...]
    stated: tuple[StatedChange, ...]

    @property
    def worse(self) -> bool:
        """Whether less is promised, the smallest margin or overlap shrank, or a fault, warning or trait grew.

        A larger margin may shrink in favour of the smallest: a threshold that moves gives to one and takes from one.
        """
        return (
            any(one.worse for one in self.promises)
            or any(one.won_v < 0 for one in self.smallest)
            or any(one.severity is not Severity.NOTE for one in self.gained)
            or any(one.worse for one in self.grown)
            or any(one.worse for one in self.traits)
        )


def compared(old: Design, new: Design) -> Comparison:
    """The differences between two designs, in the order of the new one's bands and rules."""
    return compared_reviews(review(old), review(new))


def compared_reviews(before: Review, after: Review) -> Comparison:
    """As `compared`, for designs that have been reviewed already."""
    judged_before, judged_after = judged(before), judged(after)
    found_before, found_after = list(judged_before.findings), list(judged_after.findings)
    return Comparison(
        tuple(_promises(before, after)),
        tuple(_bands(before, after)),
        tuple(_margins(before, after)),
        tuple(_smallest(before, after)),
        tuple(_without(found_after, found_before)),
        tuple(_without(list(_without(found_before, found_after)), [one.finding for one in judged_after.accepted])),
        tuple(_accepted_since(judged_before, judged_after)),
        tuple(_changed(found_before, found_after)),
        tuple(_traits(judged_before, judged_after)),
        tuple(_stated(before.design, after.design)),
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
    return {f"{where.in_band(one.row.name)}, {one.end} end": one.margin_v for one in margins(reviewed)}


def _overlaps_of(reviewed: Review) -> dict[str, Fraction]:
    return {f'overlap of "{one.below.name}" and "{one.above.name}"': one.overlap_v for one in sharings(reviewed)}


def _changed(before: list[Finding], after: list[Finding]) -> Iterator[FindingChange]:
    known = {(one.code, one.severity, one.where): one for one in before}
    for one in after:
        was = known.get((one.code, one.severity, one.where))
        if was is not None and was.witness != one.witness:
            yield FindingChange(was, one)


def _traits(before: Judgement, after: Judgement) -> Iterator[TraitChange]:
    """The traits that differ, or that one of the two has alone; the two sides of sudden steps apart."""
    was, now = ({(one.code, one.side): one for one in found.traits} for found in (before, after))
    for key in dict.fromkeys([*was, *now]):
        old, new = was.get(key), now.get(key)
        if old is None or new is None or (old.value, old.lasts_ms) != (new.value, new.lasts_ms):
            yield TraitChange(old, new)


def _accepted_since(before: Judgement, after: Judgement) -> Iterator[Accepted]:
    """What the newer revision accepts and the older did not."""
    known = {(one.finding.code, one.finding.where) for one in before.accepted}
    for one in after.accepted:
        if (one.finding.code, one.finding.where) not in known:
            yield one


_ELSEWHERE = {"mains.range_v", "output.window_v", "title"}  # told as promises, or of no consequence


def _stated(old: Design, new: Design) -> Iterator[StatedChange]:
    """Every key that differs, named as in the file; bands are told by themselves."""
    was, now = (_keys(one, "") for one in (old, new))
    for key in dict.fromkeys([*was, *now]):
        if was.get(key) != now.get(key) and key not in _ELSEWHERE and not key.startswith("band"):
            yield StatedChange(key, was.get(key), now.get(key))


def _keys(value: object, path: str) -> dict[str, object]:
    """The leaves of a design by their paths; entries of a list by their names where they have them."""
    leaves: dict[str, object] = {}
    if is_dataclass(value) and not isinstance(value, type):
        for key in keys_of(type(value)):
            leaves |= _keys(getattr(value, key.name), f"{path}.{key.written}" if path else key.written)
        return leaves
    if isinstance(value, tuple) and value and is_dataclass(value[0]):
        for number, one in enumerate(value, 1):
            leaves |= _keys(one, f"{path}[{getattr(one, 'name', number)}]")
        return leaves
    return {path: value}


def _without(some: list[Finding], others: list[Finding]) -> Iterator[Finding]:
    """The findings that the others do not have: by code, severity and place."""
    known = {(one.code, one.severity, one.where) for one in others}
    return (one for one in some if (one.code, one.severity, one.where) not in known)
