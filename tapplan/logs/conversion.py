"""Many cells converted at once, and the bad ones among them found without spoiling any other.

Cells that cannot be converted together are parted by their shape, that is with every digit as 0, and those of one
shape by halving. So a cell alone decides what becomes of it, and still few of them are looked at alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_SHAPE = str.maketrans("123456789", "0" * 9)


@dataclass(frozen=True, slots=True)
class Converted:
    """What some cells are, one for one, and the places of those that are nothing of the kind; their value is 0."""

    values: NDArray[Any]
    bad: tuple[int, ...]


def converted(cells: Sequence[str], convert: Callable[[Sequence[str]], NDArray[Any]]) -> Converted:
    """The values of cells; `convert` takes many at once and raises ValueError when one of them is none."""
    if not cells:
        return Converted(np.zeros(0, np.int64), ())
    try:
        return Converted(convert(cells), ())
    except (ValueError, OverflowError):
        pass
    if len(set(cells)) == 1:
        return Converted(np.zeros(len(cells), np.int64), tuple(range(len(cells))))
    values: list[Any] = [0] * len(cells)
    bad: list[int] = []
    for group in _groups(cells):
        part = converted([cells[place] for place in group], convert)
        bad += [group[place] for place in part.bad]
        for place, value in zip(group, part.values.tolist(), strict=True):
            values[place] = value
    return Converted(np.array(values), tuple(sorted(bad)))


def _groups(cells: Sequence[str]) -> list[list[int]]:
    """The places of cells of each shape, or of either half where they have only one."""
    groups: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        groups.setdefault(cell.translate(_SHAPE), []).append(place)
    middle = len(cells) // 2
    return list(groups.values()) if len(groups) > 1 else [list(range(middle)), list(range(middle, len(cells)))]
