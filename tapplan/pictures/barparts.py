"""The parts of the picture of bars: a bar with its name, and where upright lines may run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from tapplan.control.table import Row
from tapplan.pictures.curveform import CurveForm, Scale
from tapplan.pictures.labels import Label, Patch
from tapplan.pictures.letters import letters

BAR_FONT = replace(letters("words"), bold=True)  # a page may make it bold


def lanes_of(form: CurveForm, count: int) -> list[Patch]:
    """Where upright lines run through the bars: from top to foot, or not through the names above bars."""
    base = form.top + form.row_height * count
    if not form.name_room:
        return [Patch(form.left, form.top, form.frame.right, base)]
    ends = [form.top + form.row_height * (number + 1) for number in range(count)]
    return [Patch(form.left, end - form.row_height + form.name_room + 2, form.frame.right, end) for end in ends]


def bar(scale: Scale, row: Row, number: int, limits: Sequence[float]) -> Any:
    """One band's bar, by its row, with its name and the relays driven in it above, in it or beside it."""
    import drawsvg

    form = scale.form
    driven = "+".join(row.energised) or "none"
    told = f"{row.name}: {driven}" + ("" if row.input_hold is not None else "; what keeps it is not fixed")
    group = drawsvg.Group(id=f"{form.prefix}bar-{number}")
    group.append_title(told)
    y = form.top + number * form.row_height + form.name_room + 4
    high = form.row_height - form.name_room - 8
    low = end = float(form.left)
    if (hold := row.input_hold) is not None:
        low, end = scale.x(hold.low), scale.x(hold.high)
        group.append(drawsvg.Rectangle(low, y, end - low, high, class_="bar"))
    place = Patch(low, y, end, y + high)
    label = _name_above(told, place, form) if form.name_room else _name_at(told, place, limits, form)
    group.extend(label.drawn())
    return group


def _name_above(told: str, place: Patch, form: CurveForm) -> Label:
    """The text above a bar, from its beginning where there is room, else farther left, else cut."""
    shown = BAR_FONT.cut(told, form.width - 12)
    return Label(shown, max(min(place.left, form.width - 6 - BAR_FONT.wide(shown)), 6), place.top - 5)


def _name_at(told: str, place: Patch, limits: Sequence[float], form: CurveForm) -> Label:
    """The text inside a bar, else beside it, clear of the ends of the mains range if can be, else cut."""
    wide, y = BAR_FONT.wide(told), place.top + 13.5
    places = [
        Patch(place.left + 6, y, place.right - 6, y),
        Patch(place.right + 6, y, form.width - 6, y),
        Patch(max(place.left - 6 - wide, 6), y, place.left - 6, y),
    ]
    fitting = [one for one in places if one.right - one.left >= wide - 1e-6]
    free = [one for one in fitting if not any(one.left - 2 < x < one.left + wide + 2 for x in limits)]
    best = next(iter([*places[:1], *free] if places[0] in fitting else [*free, *fitting]), None)
    if best is None:
        best = max(places[1:], key=lambda one: one.right - one.left)
    return Label(BAR_FONT.cut(told, best.right - best.left + 1e-6), best.left, y)
