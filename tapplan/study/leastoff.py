"""How near to what is wanted the output could be: on average, with ratios of any numbers, a bound for every wiring.

The u (1/g) of a ladder are sought on a grid of cells, each input served by the better of its two neighbours. Within a
cell the deviation counts as that of the best u in it, and neighbours may be as far apart as the room allows between
the nearest u of their cells, so that no ladder is better than what is found (a dynamic program; own derivation).
"""

from __future__ import annotations

from math import log

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Floats
from tapplan.study.ladder import ladder_of
from tapplan.study.request import Request

CELLS = 1500


def least_deviation(request: Request, ratios: int) -> float:
    """A mean deviation that no plan of so many ratios at most is below, as a share of what is wanted."""
    ladder, target = ladder_of(request), request.target
    volts, counts = np.array([[float(one.volts), float(one.counts)] for one in request.weights]).T
    middle = float(target.low + target.high) / 2
    first = min(ladder.first, float(volts.min()) / float(target.high)) * 0.999
    last = max(ladder.last, float(volts.max()) / float(target.low)) * 1.001
    edges = np.exp(np.linspace(log(first), log(last), CELLS + 1))
    low, high = edges[:-1], edges[1:]
    off = _off(volts, low, high, request) * (counts / counts.sum() / middle)
    natural = np.clip(np.searchsorted(edges, volts / middle) - 1, 0, CELLS - 1)
    reach = np.searchsorted(low, ladder.onward_all(high, float(request.needed)), side="right")
    between = _between(off, natural, reach)
    place = np.arange(CELLS)[:, None]
    best = np.where(low <= ladder.first, (off * (natural <= place)).sum(axis=1), np.inf)
    after = np.where(high >= ladder.last, (off * (natural >= place)).sum(axis=1), np.inf)
    least = float((best + after).min())
    for _ in range(ratios - 1):
        best = (best[:, None] + between).min(axis=0)
        least = min(least, float((best + after).min()))
    return least


def _off(volts: Floats, low: Floats, high: Floats, request: Request) -> Floats:
    """For each cell and input how far the output of the best u in it is from the target; shape (cells, inputs)."""
    most, least = volts[None, :] / low[:, None], volts[None, :] / high[:, None]
    target = request.target
    return np.asarray(np.maximum(np.maximum(least - float(target.high), float(target.low) - most), 0.0))


def _between(off: Floats, natural: NDArray[np.int64], reach: NDArray[np.int64]) -> Floats:
    """What the inputs between two neighbouring cells cost, each at the better one; inf where the room is too little.

    An input whose best u lies in a cell costs nothing there, whichever neighbours it is counted between.
    """
    cells = len(off)
    cost = np.zeros((cells, cells))
    for number, cell in enumerate(natural):
        cost[:cell, cell + 1 :] += np.minimum(off[:cell, number, None], off[None, cell + 1 :, number])
    place = np.arange(cells)
    return np.where((place[None, :] > place[:, None]) & (place[None, :] < reach[:, None]), cost, np.inf)
