"""Output against input: each band with its hysteresis, the window, the worst case as a shade, gaps marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span
from tapplan.pictures.barparts import bar, lanes_of
from tapplan.pictures.curveform import DESK, CurveForm, Scale
from tapplan.pictures.faultmarks import AMONG_FINDINGS, Cross, Mark, coded
from tapplan.pictures.labels import Ground, Label, Patch, Stroke, around, centred
from tapplan.pictures.naming import Listing, Named, listed, named

FEWEST_NUMBERS = 4  # of an axis in a narrow form
BARS_FOOT = 48  # room for what stands below the bars
BAND_APART = 5.5  # how far a label keeps from a band's line, which is drawn with a broad shade


def scale_of(table: ControlTable, form: CurveForm = DESK) -> Scale:
    """Room for every hold, the mains range and the window, with a little around."""
    mains, window = table.design.mains.span, table.design.output.window
    holds = [row.input_hold for row in table.rows if row.input_hold is not None]
    low = min([mains.low, *(one.low for one in holds)])
    high = max([mains.high, *(one.high for one in holds)])
    outputs = [end for row in table.rows if (one := _worst(row)) for end in (one.low, one.high)]
    around = (high - low) / 20
    floor, top = min([window.low, *outputs]), max([window.high, *outputs])
    outer = (top - floor) / 10
    return Scale(Span(low - around, high + around), Span(floor - outer, top + outer), form)


def _around(one: Scale, two: Scale) -> Scale:
    """Room for both."""
    inputs = Span(min(one.inputs.low, two.inputs.low), max(one.inputs.high, two.inputs.high))
    outputs = Span(min(one.outputs.low, two.outputs.low), max(one.outputs.high, two.outputs.high))
    return Scale(inputs, outputs, one.form)


def _worst(row: Row) -> Span | None:
    return None if row.input_hold is None else row.output_over(row.input_hold)


def curve(table: ControlTable, gaps: Sequence[Span], marks: Sequence[Mark] = (), form: CurveForm = DESK) -> Any:
    """The drawing, with marks at what is wrong.

    For a page: each band is a group `curve-band-N` by its row, each mark `mark-N`; a marker in the group `now` may be
    moved, and the group `faulty` may be filled with a line. Each form has a prefix before all of these.
    """
    drawing = _drawn(table, gaps, _Upon(marks), scale_of(table, form))
    drawing.extend(_for_a_page(form))
    return drawing


def curves(table: ControlTable, gaps: Sequence[Span], older: ControlTable, form: CurveForm = DESK) -> Any:
    """The drawing with an older revision's bands dashed upon it; groups are `curves-band-N`.

    It has nothing that a page moves, so it may stand beside another one.
    """
    scale = _around(scale_of(table, form), scale_of(older, form))
    return _drawn(table, gaps, _Upon(before=[one.held for one in _bands(older, scale)], prefix="curves"), scale)


@dataclass(frozen=True, slots=True)
class _Upon:
    """What is drawn upon the bands: marks, those of an older revision; and what the names of groups begin with."""

    marks: Sequence[Mark] = ()
    before: Sequence[Stroke] = ()
    prefix: str = "curve"


def _drawn(table: ControlTable, gaps: Sequence[Span], upon: _Upon, scale: Scale) -> Any:
    import drawsvg

    form, bands, steps = scale.form, _bands(table, scale), _steps(table, scale)
    ground = _ground(table, scale, [*steps, *upon.before, *(edge for one in bands for edge in one.edges)])
    crosses = _crosses(upon.marks, scale)
    codes = coded(ground, crosses, form)
    gap_names = [_gap_name(ground, scale, gap) for gap in gaps]
    naming = named(ground, [Named(one.row.name, one.held) for one in bands])
    under = _under(form, [naming.listed, codes.listed, _beyond(upon.marks, crosses, form)])

    drawing = drawsvg.Drawing(form.width, max([form.height, *(one.y + 10 for one in under)]))
    _frame(drawing, table, scale)
    drawing.extend(part for gap, name in zip(gaps, gap_names, strict=True) for part in _gap(scale, gap, name))
    prefix = f"{form.prefix}{upon.prefix}-band"
    drawing.extend(_band(one, label, prefix) for one, label in zip(bands, naming.labels, strict=True))
    drawing.extend(part for step in steps for part in _step(step))
    drawing.extend(drawsvg.Line(one.x1, one.y1, one.x2, one.y2, class_="older") for one in upon.before)
    drawing.extend(cross.drawn(label, form.prefix) for cross, label in zip(crosses, codes.labels, strict=True))
    drawing.extend(part for label in under for part in label.drawn())
    return drawing


def _under(form: CurveForm, lists: Sequence[Listing]) -> list[Label]:
    """Lists under the picture, one under the other."""
    found: list[Label] = []
    for one in lists:
        top = max([form.height - 8, *(label.y for label in found)])
        found += listed(one, Patch(form.list_left, top, form.frame.right, top), form.most_lines)
    return found


def _gap(scale: Scale, gap: Span, name: Label) -> list[Any]:
    """Inputs that nothing covers, from top to foot."""
    import drawsvg

    x, wide = scale.x(gap.low), max(scale.x(gap.high) - scale.x(gap.low), 3)
    frame = scale.form.frame
    return [drawsvg.Rectangle(x, frame.top, wide, frame.bottom - frame.top, class_="gap"), *name.drawn()]


def _for_a_page(form: CurveForm) -> list[Any]:
    """What only a page shows: a line that it fills, cut off at the frame, and a marker that it moves."""
    import drawsvg

    frame, prefix = form.frame, form.prefix
    clip = drawsvg.ClipPath(id=f"{prefix}curve-frame")
    clip.append(drawsvg.Rectangle(frame.left, frame.top, frame.right - frame.left, frame.bottom - frame.top))
    faulty = drawsvg.Group(id=f"{prefix}faulty", class_="faulty-line", visibility="hidden", clip_path=clip)
    marker = drawsvg.Group(id=f"{prefix}now", visibility="hidden")
    marker.append(drawsvg.Circle(0, 0, 6, class_="point"))
    return [faulty, marker]


@dataclass(frozen=True, slots=True)
class _Band:
    """A row in the picture: where its hold runs, where it really may, and how far the load pulls that down."""

    number: int
    row: Row
    held: Stroke
    reached: Stroke
    loaded: Stroke

    @property
    def edges(self) -> tuple[Stroke, ...]:
        return (self.reached, self.loaded)


def _bands(table: ControlTable, scale: Scale) -> list[_Band]:
    """The rows that have a ratio and a reading."""
    found = []
    for number, row in enumerate(table.rows):
        hold, real = row.input_hold, row.real_hold(table.blur)
        if hold is None or real is None or row.ratio is None or row.full is None:
            continue
        lines = [
            _line(scale, inputs, ratio) for inputs, ratio in ((hold, row.ratio), (real, row.ratio), (real, row.full))
        ]
        found.append(_Band(number, row, *lines))
    return found


def _line(scale: Scale, inputs: Span, ratio: Fraction) -> Stroke:
    ends = [(scale.x(volts), scale.y(ratio * volts)) for volts in (inputs.low, inputs.high)]
    return Stroke(*ends[0], *ends[1], BAND_APART)


def _ground(table: ControlTable, scale: Scale, lines: Sequence[Stroke]) -> Ground:
    """What labels must not lie on: these lines, and the ends of the mains range."""
    ends = [scale.x(volts) for volts in (table.design.mains.span.low, table.design.mains.span.high)]
    form = scale.form
    limits = [Stroke(x, form.top, x, form.base) for x in ends]
    return Ground(Patch(form.left, 2, form.width - 2, form.base - 2), [], [*limits, *lines])


def _crosses(marks: Sequence[Mark], scale: Scale) -> list[Cross]:
    """The marks that lie in the picture."""
    return [
        Cross(number, mark, scale.x(mark.input_v), scale.y(mark.output_v))
        for number, mark in enumerate(marks)
        if mark.input_v in scale.inputs and mark.output_v in scale.outputs
    ]


def _beyond(marks: Sequence[Mark], crosses: Sequence[Cross], form: CurveForm) -> Listing:
    """The others, in words."""
    drawn = {one.number for one in crosses}
    told = [f"{form.beyond}: {mark.told}" for number, mark in enumerate(marks) if number not in drawn]
    return Listing(tuple(told), f"{form.beyond}: {len(told)} faults, {AMONG_FINDINGS}")


def _gap_name(ground: Ground, scale: Scale, gap: Span) -> Label:
    """The word at a gap, at its top, its foot or between, where there is room."""
    x = (scale.x(gap.low) + scale.x(gap.high)) / 2
    top, base = int(scale.form.top), int(scale.form.base)
    rows = [top + 10, base - 12, *range(top + 28, base - 28, 16)]
    choices = [centred("gap", x, y, "hurt") for y in rows]
    choices += [label for y in rows for label in around("gap", x, y, "hurt")]
    free = (label for fits in (ground.takes, ground.keeps_apart) for label in choices if fits(label))
    found = next(free, choices[0])
    ground.put(found)
    return found


def _frame(drawing: Any, table: ControlTable, scale: Scale) -> None:
    """The window, the axes with their numbers and words, and the ends of the mains range."""
    import drawsvg

    window, mains, frame = table.design.output.window, table.design.mains.span, scale.form.frame
    left, right, base = frame.left, frame.right, frame.bottom
    top, bottom = scale.y(window.high), scale.y(window.low)
    drawing.append(drawsvg.Rectangle(left, top, right - left, bottom - top, class_="window"))
    for volts in _numbers(scale.outputs, scale.form):
        y = scale.y(volts)
        drawing.append(drawsvg.Line(left, y, right, y, class_="grid"))
        drawing.append(drawsvg.Text(f"{float(volts):g}", 11, left - 6, y + 4, text_anchor="end", class_="faint"))
    for volts in _numbers(scale.inputs, scale.form):
        x = scale.x(volts)
        drawing.append(drawsvg.Line(x, base, x, base + 5, class_="axis"))
        drawing.append(drawsvg.Text(f"{float(volts):g}", 11, x, base + 18, text_anchor="middle", class_="faint"))
    for volts in (mains.low, mains.high):
        drawing.append(drawsvg.Line(scale.x(volts), frame.top, scale.x(volts), base, class_="limit"))
    drawing.append(drawsvg.Line(left, base, right, base, class_="axis"))
    drawing.extend(_axis_words(scale.form))


def _axis_words(form: CurveForm) -> list[Any]:
    """What is told below the frame and, where it has room, at its side."""
    import drawsvg

    middle, high = (form.left + form.width - form.right) / 2, form.height / 2
    foot = drawsvg.Text(form.foot, 12, middle, form.height - 8, text_anchor="middle", class_="words")
    if not form.side:
        return [foot]
    turned = f"rotate(-90 14 {high})"
    return [foot, drawsvg.Text(form.side, 12, 14, high, text_anchor="middle", transform=turned, class_="words")]


def _numbers(span: Span, form: CurveForm) -> list[Fraction]:
    """The numbers of an axis: few where a form has little room, but enough to read between them."""
    few = ticks(span, form.ticks)
    return few if len(few) >= FEWEST_NUMBERS else ticks(span)


def ticks(span: Span, about: int = 7) -> list[Fraction]:
    """Round numbers inside a span, some `about` of them."""
    rough = float(span.high - span.low) / about
    power = Fraction(10) ** len(str(int(rough))) / 10 if rough >= 1 else Fraction(1, 10)
    step = next((power * size for size in (1, 2, 5, 10) if power * size >= Fraction(rough)), power * 10)
    first = -(-span.low // step)
    found = []
    while first * step <= span.high:
        found.append(first * step)
        first += 1
    return found


def _band(one: _Band, label: Label, prefix: str) -> Any:
    """One band: its worst case as a shade, its line, its name."""
    import drawsvg

    group = drawsvg.Group(id=f"{prefix}-{one.number}")
    group.append_title(one.row.name)
    upper, lower = one.reached, one.loaded
    shade = (upper.x1, upper.y1, upper.x2, upper.y2, lower.x2, lower.y2, lower.x1, lower.y1)
    group.append(drawsvg.Lines(*shade, close=True, class_="worst"))
    group.append(drawsvg.Line(upper.x1, upper.y1, upper.x2, upper.y2, class_="reach"))
    group.append(drawsvg.Line(one.held.x1, one.held.y1, one.held.x2, one.held.y2, class_="band"))
    group.extend(label.drawn())
    return group


def _steps(table: ControlTable, scale: Scale) -> list[Stroke]:
    """The steps between neighbours: one where a rising line leaves, one where a falling line does."""
    found = []
    for below, above in pairwise(table.rows):
        if below.input_hold and above.input_hold and below.ratio and above.ratio:
            up, down = below.input_hold.high, above.input_hold.low
            if up < down:
                continue  # a gap: no band is entered there
            for volts, first, last in ((up, below.ratio, above.ratio), (down, above.ratio, below.ratio)):
                x = scale.x(volts)
                found.append(Stroke(x, scale.y(first * volts), x, scale.y(last * volts)))
    return found


def _step(step: Stroke) -> list[Any]:
    import drawsvg

    x, finish = step.x2, step.y2
    tip = 7 if finish > step.y1 else -7
    head = drawsvg.Lines(x, finish, x - 4, finish - tip, x + 4, finish - tip, close=True, class_="arrow")
    return [drawsvg.Line(x, step.y1, x, finish, class_="step"), head]


def bandbars(table: ControlTable, gaps: Sequence[Span], form: CurveForm = DESK) -> Any:
    """The readings that keep each band, one bar under the other: overlaps are hysteresis, gaps are marked."""
    import drawsvg

    scale = scale_of(table, form)
    base = form.top + form.row_height * len(table.rows)
    height = base + BARS_FOOT
    drawing = drawsvg.Drawing(form.width, height)
    lanes = lanes_of(form, len(table.rows))
    for volts in _numbers(scale.inputs, form):
        x = scale.x(volts)
        drawing.extend(drawsvg.Line(x, lane.top, x, lane.bottom, class_="grid") for lane in lanes)
        drawing.append(drawsvg.Text(f"{float(volts):g}", 11, x, base + 16, text_anchor="middle", class_="faint"))
    for gap in gaps:
        x, wide = scale.x(gap.low), max(scale.x(gap.high) - scale.x(gap.low), 3)
        drawing.extend(drawsvg.Rectangle(x, lane.top, wide, lane.bottom - lane.top, class_="gap") for lane in lanes)
    limits = [scale.x(volts) for volts in (table.design.mains.span.low, table.design.mains.span.high)]
    for x in limits:
        drawing.extend(drawsvg.Line(x, lane.top, x, lane.bottom, class_="limit") for lane in lanes)
    for number, row in enumerate(table.rows):
        drawing.append(bar(scale, row, number, limits))
    drawing.append(drawsvg.Text("line, V", 12, form.width / 2, height - 8, text_anchor="middle", class_="words"))
    return drawing
