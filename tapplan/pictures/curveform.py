"""How large the curve and the bars are drawn: for a desk, or as narrow as a phone, at true size on both."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import inf

from tapplan.exact import Span
from tapplan.pictures.labels import Patch


@dataclass(frozen=True, slots=True)
class CurveForm:
    """Sizes in points of the picture, and what there is room for.

    `left`, `right`, `top` and `bottom` are the room around the frame, `list_left` is where lists under it begin.
    `ticks` is about how many numbers an axis has, `most_codes` how many faults are named at their crosses,
    `most_lines` how many lines a list may have. A bar and the room around it are `row_height`, of which `name_room`
    is kept for a name above the bar; without it names stand in bars or beside them. `side` and `foot` are the words
    at the axes, `beyond` those before a fault that lies outside. All ids of a picture begin with `prefix`.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    list_left: float
    ticks: int
    most_codes: int
    most_lines: float
    row_height: float
    name_room: float
    side: str
    foot: str
    beyond: str
    prefix: str

    @property
    def base(self) -> float:
        """Where the frame ends below."""
        return self.height - self.bottom

    @property
    def frame(self) -> Patch:
        """What the curve is drawn in."""
        return Patch(self.left, self.top, self.width - self.right, self.base)


DESK = CurveForm(
    width=760,
    height=420,
    left=64,
    right=20,
    top=20,
    bottom=48,
    list_left=64,
    ticks=7,
    most_codes=12,
    most_lines=inf,
    row_height=26,
    name_room=0,
    side="output, V",
    foot="line, V",
    beyond="beyond the picture",
    prefix="",
)
# As wide as a page leaves room on a phone of 390 points. Its side has no room for words, so both axes are told below.
PHONE = CurveForm(
    width=370,
    height=260,
    left=40,
    right=14,
    top=24,
    bottom=44,
    list_left=6,
    ticks=5,
    most_codes=4,
    most_lines=5,
    row_height=40,
    name_room=16,
    side="",
    foot="up: output, V; across: line, V",
    beyond="beyond",
    prefix="narrow-",
)


@dataclass(frozen=True, slots=True)
class Scale:
    """From volts to places in a picture of that form."""

    inputs: Span
    outputs: Span
    form: CurveForm = DESK

    def x(self, volts: Fraction) -> float:
        """Across."""
        share = float((volts - self.inputs.low) / (self.inputs.high - self.inputs.low))
        return self.form.left + share * (self.form.width - self.form.left - self.form.right)

    def y(self, volts: Fraction) -> float:
        """Down."""
        share = float((volts - self.outputs.low) / (self.outputs.high - self.outputs.low))
        return self.form.base - share * (self.form.base - self.form.top)
