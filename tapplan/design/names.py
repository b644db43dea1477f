"""Texts of a design file: names of points and parts, titles, and the place that is sensed.

None may hold what a reader cannot see and a terminal obeys: control characters, ends of lines, and marks that turn
the direction of writing.
"""

from __future__ import annotations

from typing import Annotated, Literal

from tapplan.design.marks import Pair, Taken, Text

# Controls (C0, delete, C1), marks of direction, ends of line and of paragraph, a byte order mark.
_UNSEEN = r"\x00-\x1f\x7f-\x9f" + "\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff"
_EDGE = rf"[^\s{_UNSEEN}]"

NAME = Text(
    "a name",
    rf"{_EDGE}(?:[^{_UNSEEN}]*{_EDGE})?",
    80,
    "a text that is not empty, with no space at its ends and no control character or mark of direction",
)
Name = Annotated[str, NAME]
Title = Annotated[
    str,
    Text(
        "a text", rf"[^{_UNSEEN}]+", 500, "a text that is not empty, with no control character or mark of direction"
    ),
]
TWO_POINTS = Pair('two point names, such as ["NEUTRAL", "T1"]')


def _read_sensed(value: object) -> object | None:
    if isinstance(value, str):
        return value if value in ("input", "output") else None
    points = tuple(map(NAME.read, value)) if isinstance(value, list) else ()
    return points if len(points) == 2 and None not in points else None


Sensed = Annotated[
    Literal["input", "output"] | tuple[str, str],
    Taken(
        _read_sensed,
        '"input", "output", or two point names such as ["P", "N"]',
        {
            "anyOf": [
                {"enum": ["input", "output"]},
                {"type": "array", "items": NAME.schema, "minItems": 2, "maxItems": 2},
            ]
        },
    ),
]
