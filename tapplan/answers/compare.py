"""Two revisions of a design, difference by difference: what `compare` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, ends, more, number, ratio, said, volts, word, yes
from tapplan.answers.findings import FindingRow, finding_rows
from tapplan.answers.verdict import AcceptedRow, accepted_rows, trait_name, trait_told
from tapplan.checks.comparison import (
    BandChange,
    Comparison,
    FindingChange,
    StatedChange,
    TraitChange,
    compared_reviews,
)
from tapplan.checks.review import Review
from tapplan.control.table import Row
from tapplan.exact import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class PromiseDiffers:
    """The mains range or the output window, before and after."""

    key: Annotated[str, word("promise")]
    old: Annotated[Span, ends("was", digits=1)]
    new: Annotated[Span, ends("is", digits=1)]
    worse: Annotated[bool, yes("promised", yes_no=("less", "no less"))]

    @property
    def told(self) -> str:
        """In a sentence."""
        verdict = "less is promised" if self.worse else "no less is promised"
        return f"{self.key}: {words.span(self.old)} V becomes {words.span(self.new)} V; {verdict}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BandThen:
    """A band as one of the revisions has it."""

    energised: Annotated[tuple[str, ...], coils()]
    ratio: Annotated[Fraction | None, ratio()]
    hold_v: Annotated[Span, ends()]


@dataclass(frozen=True, slots=True, kw_only=True)
class BandDiffers:
    """A band that differs, or is in one revision only."""

    name: Annotated[str, word("band")]
    change: Annotated[str, word("change")]
    old: Annotated[BandThen | None, more()]
    new: Annotated[BandThen | None, more()]
    was: Annotated[str, said("was")]
    now: Annotated[str, said("is")]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginDiffers:
    """A margin in volts, before and after."""

    what: Annotated[str, word("what")]
    old_v: Annotated[Fraction, volts("was", digits=2)]
    new_v: Annotated[Fraction, volts("is", digits=2)]
    won_v: Annotated[Fraction, volts()]
    won: Annotated[str, said("won")]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingDiffers:
    """A finding in both revisions whose figures differ."""

    severity: Annotated[str, said("severity")]
    code: Annotated[str, word("code")]
    where: Annotated[str, word("where")]
    old: Annotated[str, word("was")]
    new: Annotated[str, word("is")]
    worse: Annotated[bool, yes("", yes_no=("worse", "no worse"))]

    @property
    def told(self) -> str:
        """In three lines."""
        grown = "worse" if self.worse else "no worse"
        return f"{self.severity}  {self.code}, {self.where}: {grown}\n    was: {self.old}\n    is:  {self.new}"


@dataclass(frozen=True, slots=True, kw_only=True)
class TraitDiffers:
    """A figure that every such stage has, before and after; None where it was not there, or is gone."""

    code: Annotated[str, word()]
    side: Annotated[str | None, word()]
    name: Annotated[str, said("trait")]
    was: Annotated[str, said("was")]
    now: Annotated[str, said("is")]
    unit: Annotated[str, word()]
    old: Annotated[Fraction | None, number()]
    new: Annotated[Fraction | None, number()]
    old_lasts_ms: Annotated[Fraction | None, number()]
    new_lasts_ms: Annotated[Fraction | None, number()]
    worse: Annotated[bool, yes(" ", yes_no=("worse", ""))]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyDiffers:
    """A key of the file, beside promise and bands, before and after; None: not stated."""

    key: Annotated[str, word("key")]
    old: Annotated[Any, word()]
    new: Annotated[Any, word()]
    was: Annotated[str, said("was")]
    now: Annotated[str, said("is")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared(Answer):
    """All differences; `worse`: something got worse. The smallest margins are told even where none differs."""

    heading = "Changes"

    title: str
    files: tuple[str, str] = ("the older", "the newer")
    new: Annotated[str | None, word(optional=True)] = None
    promises: Annotated[tuple[PromiseDiffers, ...], more()]
    bands: Annotated[tuple[BandDiffers, ...], more()]
    margins: Annotated[tuple[MarginDiffers, ...], more()]
    gained: Annotated[tuple[FindingRow, ...], more()]
    lost: Annotated[tuple[FindingRow, ...], more()]
    accepted: Annotated[tuple[AcceptedRow, ...], more()]
    changed: Annotated[tuple[FindingDiffers, ...], more()]
    traits: Annotated[tuple[TraitDiffers, ...], more()]
    stated: Annotated[tuple[KeyDiffers, ...], more()]
    worse: Annotated[bool, yes()]
    margins_differ: bool

    @property
    def wrong(self) -> bool:
        """Whether anything got worse."""
        return self.worse

    @property
    def headline(self) -> str:
        """Between which files."""
        return f"Changes from {self.files[0]} to {self.files[1]}"

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        others = (part for part in self.parts() if part != "margins")
        return not self.margins_differ and not any(getattr(self, part) for part in others)

    @property
    def told(self) -> str:
        """The verdict in a sentence."""
        return "Something got worse." if self.worse else "Nothing got worse."


def compared(older: Review, newer: Review) -> Compared:
    """What changed from one revision to the next."""
    return compared_of(compared_reviews(older, newer), newer.design.title)


def compared_of(found: Comparison, title: str) -> Compared:
    """The same of a comparison at hand."""
    return Compared(
        title=title,
        promises=tuple(
            PromiseDiffers(key=one.key, old=one.old, new=one.new, worse=one.worse) for one in found.promises
        ),
        bands=tuple(_band(one) for one in found.bands),
        margins=tuple(
            MarginDiffers(
                what=one.what,
                old_v=one.old_v,
                new_v=one.new_v,
                won_v=one.won_v,
                won=f"{float(one.won_v):+.2f}" + ("  less" if one.won_v < 0 else ""),
            )
            for one in (*found.margins, *found.smallest)
        ),
        gained=finding_rows(found.gained),
        lost=finding_rows(found.lost),
        accepted=accepted_rows(found.accepted),
        changed=tuple(_finding(one) for one in found.grown),
        traits=tuple(_trait(one) for one in found.traits),
        stated=tuple(_key(one) for one in found.stated),
        worse=found.worse,
        margins_differ=bool(found.margins),
    )


def _band(one: BandChange) -> BandDiffers:
    return BandDiffers(
        name=one.name,
        change=one.change,
        old=_then(one.old),
        new=_then(one.new),
        was=_then_told(one.old),
        now=_then_told(one.new),
    )


def _then(row: Row | None) -> BandThen | None:
    return None if row is None else BandThen(energised=row.energised, ratio=row.ratio, hold_v=row.kept)


def _then_told(row: Row | None) -> str:
    if row is None:
        return "-"
    return f"{words.span(row.kept, 3)} V, {words.relays(row.energised)}, {words.ratio(row.ratio)}"


def _finding(one: FindingChange) -> FindingDiffers:
    return FindingDiffers(
        severity=one.new.severity.value,
        code=one.new.code,
        where=one.new.where,
        old=one.old.told,
        new=one.new.told,
        worse=one.worse,
    )


def _trait(one: TraitChange) -> TraitDiffers:
    old, new, trait = one.old, one.new, one.trait
    return TraitDiffers(
        code=trait.code,
        side=trait.side or None,
        name=trait_name(trait),
        was="-" if old is None else trait_told(old),
        now="-" if new is None else trait_told(new),
        unit=trait.unit,
        old=None if old is None else old.value,
        new=None if new is None else new.value,
        old_lasts_ms=None if old is None else old.lasts_ms,
        new_lasts_ms=None if new is None else new.lasts_ms,
        worse=one.worse,
    )


def _key(one: StatedChange) -> KeyDiffers:
    return KeyDiffers(key=one.key, old=one.old, new=one.new, was=_stated(one.old), now=_stated(one.new))


def _stated(value: object) -> str:
    """A value of the file in words."""
    if isinstance(value, Fraction):
        return words.number(value, 6)
    if isinstance(value, tuple):
        return "[" + ", ".join(_stated(one) for one in value) + "]"
    return "-" if value is None else str(value)
