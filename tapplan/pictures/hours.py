"""How often the band changed in each hour: one bar an hour, told in numbers beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tapplan.pictures.style import number_told

WIDTH, LEFT, RIGHT = 380, 52, 52
TOP, PITCH, BAR, BOTTOM = 40, 14, 10, 8
LEAST_BAR = 1.5  # so long is a count that is not nought


def hours_picture(hours: Sequence[int]) -> Any:
    """The drawing of the changes by hour, the first from midnight on."""
    import drawsvg

    drawing = drawsvg.Drawing(WIDTH, TOP + PITCH * len(hours) + BOTTOM)
    drawing.append(drawsvg.Text("changes of the band", 13, LEFT, 18, class_="words"))
    drawing.append(drawsvg.Text("in the hour from", 11, LEFT, 33, class_="small"))
    most = max(*hours, 1)
    for hour, count in enumerate(hours):
        y = TOP + PITCH * hour
        wide = max(count / most * (WIDTH - LEFT - RIGHT), LEAST_BAR if count else 0)
        drawing.append(drawsvg.Text(f"{hour:02d}:00", 11, LEFT - 6, y + 9, text_anchor="end", class_="faint"))
        drawing.append(drawsvg.Rectangle(LEFT, y, round(wide, 1), BAR, class_="share"))
        told = drawsvg.Text(number_told(count), 11, LEFT + wide + 5, y + 9, class_="small")
        drawing.append(told)
    drawing.append(drawsvg.Line(LEFT, TOP - 2, LEFT, TOP + PITCH * len(hours), class_="axis"))
    return drawing
