"""Better turns beside some that meet a request, for objectives other than room: a walk until none is better.

What it finds is a plan, never a proof; how much better one could be the bounds say.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations, product

import numpy as np

from tapplan.arrays import Floats
from tapplan.study.search import Stop, scored
from tapplan.study.task import Task

STRIDES = (1, 2, 3, 5, 9, 17)
TOGETHER = (1, 2, 4)
MOST_STEPS = 400


def improved(task: Task, starts: Iterable[tuple[int, ...]], stop: Stop) -> tuple[int, ...] | None:
    """The best turns reached from any of the starts; None where there is none."""
    best: tuple[float, tuple[int, ...]] | None = None
    step = task.request.multiple
    for start in starts:
        at = np.array(start, dtype=np.float64) / step
        score = float(scored(task, at[None, :])[0])
        for _ in range(MOST_STEPS):
            beside = _beside(task, at)
            scores = scored(task, beside)
            place = int(np.argmax(scores))
            if scores[place] <= score or stop():
                break
            at, score = beside[place], float(scores[place])
        if score > -np.inf and (best is None or score > best[0]):
            best = score, tuple(int(one) * step for one in at)
    return None if best is None else best[1]


def _beside(task: Task, at: Floats) -> Floats:
    """One unknown more or less by a stride, two by a small one, and all of them scaled by a turn of the largest."""
    size = len(at)
    moves = [_moved(size, {place: sign * far}) for place in range(size) for far in STRIDES for sign in (-1, 1)]
    moves += [
        _moved(size, {one: a * sign, other: b})
        for one, other in combinations(range(size), 2)
        for a, b, sign in product(TOGETHER, TOGETHER, (-1, 1))
    ]
    moves += [-one for one in moves[len(STRIDES) * 2 * size :]]
    scaled = [np.rint(at * (1 + by / at.max())) for by in (-2, -1, 1, 2)]
    beside = np.concatenate([at + np.array(moves), np.array(scaled)])
    return beside[(beside >= 1).all(axis=1)]


def _moved(size: int, by: dict[int, int]) -> Floats:
    move = np.zeros(size)
    for place, far in by.items():
        move[place] = far
    return move
