"""Labels and the room left for them: on nothing else, and inside."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import cos, pi, sin
from typing import Any

from tapplan.pictures.letters import letters

RINGS = (11.0, 16.0, 24.0, 34.0, 48.0, 66.0, 88.0)  # how far from a place its label is looked for, the nearest first
NEAR = 16.0  # farther off, a leader tells which place a label is of
DIRECTIONS = 16


@dataclass(frozen=True, slots=True)
class Patch:
    """An upright rectangle of a picture."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Patch) -> bool:
        """Whether the two have more in common than an edge."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def within(self, other: Patch) -> bool:
        """Whether it lies in the other."""
        across = other.left <= self.left and self.right <= other.right
        return across and other.top <= self.top and self.bottom <= other.bottom

    def wider(self, by: float) -> Patch:
        """With a margin all around."""
        return Patch(self.left - by, self.top - by, self.right + by, self.bottom + by)


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line of a picture, and how far a label keeps from it."""

    x1: float
    y1: float
    x2: float
    y2: float
    apart: float = 2.0

    def crosses(self, patch: Patch) -> bool:
        """Whether it comes nearer to a patch than it may: the patch, widened, cuts a part out of it."""
        one = patch.wider(self.apart)
        first, last = 0.0, 1.0
        for start, run, low, high in (
            (self.x1, self.x2 - self.x1, one.left, one.right),
            (self.y1, self.y2 - self.y1, one.top, one.bottom),
        ):
            if run == 0:
                if not low < start < high:
                    return False
                continue
            ends = sorted(((low - start) / run, (high - start) / run))
            first, last = max(first, ends[0]), min(last, ends[1])
        return first < last


@dataclass(frozen=True, slots=True)
class Label:
    """A text at its place: where it begins, the line it stands on, the class of its letters; its leader, if any."""

    text: str
    x: float
    y: float
    kind: str = "words"
    leader: Stroke | None = None

    @property
    def patch(self) -> Patch:
        """The room it takes, in bold letters too, for what is in force is in bold."""
        font = replace(letters(self.kind), bold=True)
        return Patch(self.x, self.y - font.above, self.x + font.wide(self.text), self.y + font.below)

    def drawn(self) -> list[Any]:
        """Its leader and its text."""
        import drawsvg

        line = self.leader
        led = [] if line is None else [drawsvg.Line(line.x1, line.y1, line.x2, line.y2, class_="leader")]
        return [*led, drawsvg.Text(self.text, letters(self.kind).size, self.x, self.y, class_=self.kind)]


def centred(text: str, x: float, y: float, kind: str = "words") -> Label:
    """A label with the middle of its room there."""
    made = Label(text, 0, 0, kind).patch
    return Label(text, x - made.right / 2, y - (made.top + made.bottom) / 2, kind)


@dataclass(slots=True)
class Ground:
    """The part of a picture that labels may lie in, and what is drawn there already; only added to."""

    frame: Patch
    patches: list[Patch] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)

    def takes(self, label: Label) -> bool:
        """Whether a label with its leader lies inside, on no other one and on no line."""
        return self.keeps_apart(label) and not any(one.crosses(label.patch) for one in self.strokes)

    def keeps_apart(self, label: Label) -> bool:
        """Whether it lies inside and neither it nor its leader is on another one, whatever lines it may cross."""
        patch, led = label.patch, label.leader
        if not patch.within(self.frame) or any(patch.meets(one) for one in self.patches):
            return False
        return led is None or not any(led.crosses(one) for one in self.patches)

    def put(self, *made: Label) -> None:
        """Takes the room of labels, and of their leaders."""
        self.patches += [one.patch for one in made]
        self.strokes += [one.leader for one in made if one.leader is not None]

    def copied(self) -> Ground:
        """The same, for trying."""
        return Ground(self.frame, list(self.patches), list(self.strokes))


def around(text: str, x: float, y: float, kind: str = "words") -> Iterator[Label]:
    """Labels of a place, the nearest first, to its left and right before those above and below it."""
    size = centred(text, 0, 0, kind).patch
    turns = sorted(range(DIRECTIONS), key=lambda turn: abs(sin(2 * pi * turn / DIRECTIONS)))
    for away in RINGS:
        for turn in turns:
            to_x, to_y = -cos(2 * pi * turn / DIRECTIONS), -sin(2 * pi * turn / DIRECTIONS)
            made = centred(text, x + to_x * (away + size.right), y + to_y * (away + size.bottom), kind)
            yield made if away <= NEAR else replace(made, leader=_led(made.patch, x, y))


def _led(patch: Patch, x: float, y: float) -> Stroke:
    """From the edge of a label to just before its place."""
    from_x, from_y = min(max(x, patch.left), patch.right), min(max(y, patch.top), patch.bottom)
    far = max(((x - from_x) ** 2 + (y - from_y) ** 2) ** 0.5, 1.0)
    short = 8 / far
    return Stroke(from_x, from_y, x - (x - from_x) * short, y - (y - from_y) * short)
