"""Faults on the curve: a cross where each stands, its code beside it, or a letter and the code under the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from string import ascii_lowercase
from typing import Any

from tapplan.answers import words
from tapplan.answers.findings import FindingRow
from tapplan.checks.finding import Severity
from tapplan.checks.marks import mark_of
from tapplan.pictures.curveform import CurveForm
from tapplan.pictures.labels import Ground, Label, Patch, around
from tapplan.pictures.naming import NOTHING_LISTED, Listing

ARM = 6.0  # of a cross
AMONG_FINDINGS = "told among the findings"


@dataclass(frozen=True, slots=True)
class Mark:
    """An input and an output in volts, and the code of what is wrong there."""

    input_v: Fraction
    output_v: Fraction
    code: str

    @property
    def told(self) -> str:
        """It in words, for a list."""
        volts = [words.number(one, 1) for one in (self.input_v, self.output_v)]
        return f"{self.code} at {volts[0]} V in, {volts[1]} V out"


def fault_marks(found: Sequence[FindingRow]) -> list[Mark]:
    """Where on the curve faults stand: those whose witness has an input and an output."""
    faulty = [(mark_of(one.witness), one.code) for one in found if one.severity is Severity.FAULT]
    return [Mark(mark.input_v, mark.output_v, code) for mark, code in faulty if mark is not None]


@dataclass(frozen=True, slots=True)
class Cross:
    """A mark at its place in the picture; `number` is its place among the marks."""

    number: int
    mark: Mark
    x: float
    y: float

    @property
    def patch(self) -> Patch:
        """The room of the cross itself."""
        return Patch(self.x, self.y, self.x, self.y).wider(ARM + 1)

    def drawn(self, label: Label | None, prefix: str = "") -> Any:
        """Cross and label, if any, as one group, by the mark's number behind a prefix."""
        import drawsvg

        group = drawsvg.Group(id=f"{prefix}mark-{self.number}")
        group.append_title(self.mark.told)
        for side in (-ARM, ARM):
            ends = (self.x - ARM, self.y - side, self.x + ARM, self.y + side)
            group.append(drawsvg.Lines(*ends, class_="cross"))
        if label is not None:
            group.extend(label.drawn())
        return group


@dataclass(frozen=True, slots=True)
class Coded:
    """The labels of crosses, in their order, None where one has none, and what has to be listed under the picture."""

    labels: tuple[Label | None, ...]
    listed: Listing = NOTHING_LISTED


def coded(ground: Ground, crosses: Sequence[Cross], form: CurveForm) -> Coded:
    """Codes beside their crosses where all have room, else letters there and codes in a list; takes their room.

    More codes than a form has room for would hide the curve; letters without their list would say nothing.
    """
    ground.patches += [one.patch for one in crosses]
    plain = _placed(ground, crosses, [one.mark.code for one in crosses])
    if plain is not None and len(plain) <= form.most_codes:
        ground.put(*plain)
        return Coded(tuple(plain))
    if len(crosses) > form.most_lines:
        return Coded((None,) * len(crosses), Listing((f"{len(crosses)} crosses: faults, {AMONG_FINDINGS}",)))
    keys = [_letter(place) for place in range(len(crosses))]
    keyed = _placed(ground, crosses, keys) or [
        Label(key, one.x + 9, one.y, "hurt") for key, one in zip(keys, crosses, strict=True)
    ]
    ground.put(*keyed)
    told = tuple(f"{key}: {one.mark.told}" for key, one in zip(keys, crosses, strict=True))
    return Coded(tuple(keyed), Listing(told))


def _letter(place: int) -> str:
    return ascii_lowercase[place % 26] * (place // 26 + 1)


def _placed(ground: Ground, crosses: Sequence[Cross], texts: Sequence[str]) -> list[Label] | None:
    """A label for each, on no line where that can be, on no other label in any case; None where one has no room."""
    tried, found = ground.copied(), []
    for one, text in zip(crosses, texts, strict=True):
        choices = list(around(text, one.x, one.y, "hurt"))
        free = (label for fits in (tried.takes, tried.keeps_apart) for label in choices if fits(label))
        label = next(free, None)
        if label is None:
            return None
        tried.put(label)
        found.append(label)
    return found
