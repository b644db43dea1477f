"""Branch and bound over whole turns: the best values of a wiring's unknowns, with the proof that none are better.

A box is a span of whole numbers for each unknown. Over a box every ratio lies between two bounds; sorted, the k-th
largest ratio lies between the k-th largest of the low bounds and the k-th largest of the high ones (of any numbers
that lie between such bounds). The room between neighbours, (1-e) hi/g - (1+e) lo/g', is therefore at most what the
low bound of g and the high bound of g' leave. A box whose bound is below the best found is dropped, others are
halved, many at a time; a box of one point is the plan itself. Floating point decides only what is worse by more
than `NEAR`; what is left is settled in exact numbers by the caller.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Floats, Mask
from tapplan.study.request import Request, Sag
from tapplan.study.task import Task

NEAR = 1e-7  # of room in volts, or of another objective's measure
AT_ONCE = 16384
TINY = 1e-12
Stop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Found:
    """Points no worse than the best by more than `NEAR`, and a score that nothing left unlooked at exceeds.

    That is -inf where nothing is left; `boxes` were looked at, and linear programs solved.
    """

    points: tuple[tuple[int, ...], ...]
    open_score: float
    boxes: int
    programs: int = 0

    @property
    def proven(self) -> bool:
        """Whether nothing is left."""
        return self.open_score == -np.inf


@dataclass(frozen=True, slots=True)
class Bounds:
    """Between what some numbers lie: the least and the most of each, in two arrays of one shape."""

    least: Floats
    most: Floats


@dataclass(frozen=True, slots=True)
class _Ratios:
    """Bounds of ratios: falling, shape (states, boxes), and as the states stand, shape (boxes, states)."""

    falling: Bounds
    each: Bounds


def search(task: Task, stop: Stop = lambda: False) -> Found:
    """The points with the largest score; with taps that exist already, every choice of them."""
    if task.request.fixed_taps:
        return _among(task, stop)
    step, top = task.request.multiple, task.request.turns.high
    size = task.wiring.unknowns
    low, high = np.ones((1, size)), np.full((1, size), float(top // step))
    bounds = _scores(task, low, high)
    best, boxes, points, scores = task.least, 0, [np.empty((0, size))], [np.empty(0)]
    while bounds.size and best < task.enough and boxes < task.most_boxes and not stop():
        order = np.argpartition(-bounds, AT_ONCE) if bounds.size > AT_ONCE else np.arange(bounds.size)
        now, later = order[:AT_ONCE], order[AT_ONCE:]
        halves = _halved(low[now], high[now])
        halves_low, halves_high = halves.least, halves.most
        score = _scores(task, halves_low, halves_high)
        boxes += score.size
        good = (score >= best - NEAR) & (score > -np.inf)
        halves_low, halves_high, score = halves_low[good], halves_high[good], score[good]
        middle = np.floor((halves_low + halves_high) / 2)
        seen = _scores(task, middle, middle)
        if seen.max(initial=-np.inf) > best:
            best = float(seen.max())
            points.append(middle[[seen.argmax()]])
            scores.append(np.array([best]))
        single = (halves_low == halves_high).all(axis=1)
        points.append(halves_low[single])
        scores.append(score[single])
        low = np.concatenate([low[later], halves_low[~single]])
        high = np.concatenate([high[later], halves_high[~single]])
        bounds = np.concatenate([bounds[later], score[~single]])
        good = bounds >= best - NEAR
        low, high, bounds = low[good], high[good], bounds[good]
    kept = _kept(np.concatenate(points), np.concatenate(scores), best)
    return Found(_in_turns(kept, step), float(bounds.max(initial=-np.inf)), boxes)


def scored(task: Task, points: Floats) -> Floats:
    """The scores of some points, in multiples of the least step; -inf where one is no plan."""
    return _scores(task, points, points)


def _kept(points: Floats, scores: Floats, best: float) -> Floats:
    """The points as good as the best, as floats can tell."""
    return points[(scores >= best - NEAR) & (scores > -np.inf)]


def _in_turns(points: Floats, step: int) -> tuple[tuple[int, ...], ...]:
    """The points in turns, each once, in order."""
    return tuple(sorted({tuple(int(value) * step for value in row) for row in points}))


def _halved(low: Floats, high: Floats) -> Bounds:
    """Every box in two, across its widest unknown; a box of one point once, as it is."""
    widest = (high - low).argmax(axis=1)
    row = np.arange(len(low))
    middle = np.floor((low[row, widest] + high[row, widest]) / 2)
    upper_low, lower_high = low.copy(), high.copy()
    lower_high[row, widest] = middle
    upper_low[row, widest] = middle + 1
    twice = (high > low).any(axis=1)
    return Bounds(np.concatenate([low, upper_low[twice]]), np.concatenate([lower_high, high[twice]]))


def _among(task: Task, stop: Stop) -> Found:
    """Every choice from the taps there are, some thousands at a time; what is left out could be as good as any."""
    taps, step = np.array(task.request.fixed_taps, dtype=np.float64), task.request.multiple
    size = task.wiring.unknowns
    best, points, scores = task.least, np.empty((0, size)), np.empty(0)
    choices = len(taps) ** size
    for start in range(0, choices, AT_ONCE):
        if start >= task.most_boxes or stop():
            low, high = np.full((1, size), taps.min() / step), np.full((1, size), taps.max() / step)
            return Found(_in_turns(points, 1), float(_scores(task, low, high)[0]), start)
        some = taps[
            np.stack(np.unravel_index(np.arange(start, min(start + AT_ONCE, choices)), [len(taps)] * size), 1)
        ]
        points = np.concatenate([points, some])
        scores = np.concatenate([scores, _scores(task, some / step, some / step)])
        best = max(best, float(scores.max(initial=-np.inf)))
        good = (scores >= best - NEAR) & (scores > -np.inf)
        points, scores = points[good], scores[good]
    return Found(_in_turns(points, 1), -np.inf, choices)


def _over(rows: Floats, low: Floats, high: Floats) -> Bounds:
    """The least and the most of some rows over boxes, shape (boxes, rows) each."""
    least, most = np.zeros((len(rows), len(low))), np.zeros((len(rows), len(low)))
    lows, highs = np.ascontiguousarray(low.T), np.ascontiguousarray(high.T)
    for place, row in enumerate(rows):  # rows have few entries, where a matrix product would pay for all
        for unknown in np.flatnonzero(row):
            below, above = (lows, highs) if row[unknown] > 0 else (highs, lows)
            least[place] += row[unknown] * below[unknown]
            most[place] += row[unknown] * above[unknown]
    return Bounds(least.T, most.T)


def _scores(task: Task, low: Floats, high: Floats) -> Floats:
    """For every box a score that no point in it beats; for a point its own. -inf: no plan inside."""
    low, high = low * task.request.multiple, high * task.request.multiple
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = _ratio_bounds(task, low, high)
        score = _ladder_scores(task, ratios.falling, _shared_rooms(task, low, high))
        if task.request.objective == "deviation" and not task.any_room:
            score = np.where(score > -np.inf, -_deviation(task, ratios.each), -np.inf)
    return np.where(_lawful(task, low, high, ratios.each), score, -np.inf)


def _ratio_bounds(task: Task, low: Floats, high: Floats) -> _Ratios:
    lines, outputs = (_over(rows, low, high) for rows in task.rows)
    least = np.where(outputs.least > 0, outputs.least / lines.most, TINY)
    most = np.where(lines.least > 0, np.maximum(outputs.most, TINY) / lines.least, np.inf)
    least, most = np.where(lines.most > 0, least, TINY), np.where(lines.most > 0, most, TINY)
    boost, buck = task.known.same | task.known.above, task.known.same | task.known.below
    least[:, boost] = np.maximum(least[:, boost], 1)
    most[:, buck] = np.minimum(most[:, buck], 1)
    return _Ratios(Bounds(-np.sort(-least, axis=1).T, -np.sort(-most, axis=1).T), Bounds(least, most))


def _lawful(task: Task, low: Floats, high: Floats, ratios: Bounds) -> Mask:
    """Whether some point of a box keeps the order, the total, the least turns, and the direct ratio asked for."""
    request = task.request
    good = np.asarray((_over(task.rising, low, high).most >= 1).all(axis=1))
    top = _over(task.highest, low, high)
    good &= (top.least.max(axis=1) <= float(request.turns.high)) & (top.most.max(axis=1) >= float(request.turns.low))
    apart = _over(task.throws, low, high)
    good &= ((apart.least < 0) | (apart.most > 0)).all(axis=1)
    if request.require_direct:
        least, most = ratios.least, ratios.most
        first, last = float(request.first_least) * (1 - TINY), float(request.last_most) * (1 + TINY)
        good &= ((least <= 1) & (most >= 1)).any(axis=1)
        # used only where no lower ratio serves the bottom of the range, and no higher one its top
        good &= ~((least >= first) & (most < 1)).any(axis=1) & ~((least > 1) & (most <= last)).any(axis=1)
    return good & _cool(task, low, high)


def _cool(task: Task, low: Floats, high: Floats) -> Mask:
    """Whether some point of a box keeps the volts per turn."""
    lines, outputs = (_over(rows, low, high).most for rows in task.rows)
    request = task.request
    return np.asarray(
        (outputs.min(axis=1) >= float(request.output_least)) & (lines.max(axis=1) >= float(request.line_least))
    )


def _shared_rooms(task: Task, low: Floats, high: Floats) -> Floats:
    """Tighter bounds of the rooms where all states share a side, shape (states - 1, boxes); inf where they do not.

    With line turns f in common, a room is f (H/o - L/o'), with output turns f in common (H l - L l')/f: the common
    turns count once, and the order of the ratios is that of the other side's turns.
    """
    lines, outputs = task.rows
    request = task.request
    window, floor = float(request.high), float(request.low)
    if request.sag != Sag():
        return np.full((len(lines) - 1, len(low)), np.inf)
    if (lines == lines[0]).all():
        turns, shared = _over(outputs, low, high), _over(lines[:1], low, high)
        turns_low, turns_high = (-np.sort(-ends, axis=1).T for ends in (turns.least, turns.most))
        common = [ends[:, 0] for ends in (shared.least, shared.most)]
        each = window / np.maximum(turns_low[:-1], TINY) - floor / np.maximum(turns_high[1:], TINY)
    elif (outputs == outputs[0]).all():
        turns, shared = _over(lines, low, high), _over(outputs[:1], low, high)
        turns_low, turns_high = (np.sort(ends, axis=1).T for ends in (turns.least, turns.most))
        common = [1 / ends[:, 0] for ends in (shared.least, shared.most)]
        each = window * turns_high[:-1] - floor * turns_low[1:]
    else:
        return np.full((len(lines) - 1, len(low)), np.inf)
    return np.where(turns_low[:-1] > 0, np.maximum(common[0] * each, common[1] * each), np.inf)


def _ladder_scores(task: Task, ratios: Bounds, shared: Floats) -> Floats:
    """The best over all first and last ratios used: the first is the lowest that serves the bottom, and so on."""
    request, wiring = task.request, task.wiring
    least, most = ratios.least, ratios.most
    first, last = float(request.first_least) * (1 - TINY), float(request.last_most) * (1 + TINY)
    best = np.full(least.shape[1], -np.inf)
    count = len(least)
    for begin in range(count):
        begins = most[begin] >= first
        if begin + 1 < count:
            begins &= least[begin + 1] < first
        if not begins.any():
            continue
        room = np.full(least.shape[1], np.inf)
        different = np.ones(least.shape[1])
        for end in range(begin, count):
            if end > begin:
                equal = (least[end - 1] == most[end - 1]) & (most[end - 1] == most[end]) & (least[end] == most[end])
                different += ~equal
            lower = np.maximum(least[end - 1], first if end - 1 == begin else last) if end > begin else room
            upper = np.minimum(most[end], first) if end == begin + 1 else most[end]
            if end - begin + 1 >= wiring.least_used:
                final = np.minimum(room, _room(request, lower, np.minimum(upper, last)))
                final = np.minimum(final, shared[end - 1]) if end > begin else final
                good = begins & (least[end] <= last) & (different >= wiring.least_used)
                if end > begin:
                    good &= most[end - 1] > last
                low = Bounds(np.maximum(least[begin], first), most[begin])
                high = Bounds(least[end], np.minimum(most[end], last))
                best = np.maximum(best, np.where(good, _score(task, final, low, high), -np.inf))
            if end > begin:
                room = np.minimum(np.minimum(room, _room(request, lower, upper)), shared[end - 1])
    return best


def _room(request: Request, above: Floats, below: Floats) -> Floats:
    """The most room between two neighbours; -inf where their ratios differ by more than the largest step."""
    sag = request.sag
    loaded = float(1 + sag.always) / below + float(sag.share) * np.abs(1 / below - 1)
    room = float(request.high) / above - float(request.low) * loaded
    if request.largest_step is None:
        return np.asarray(room)
    return np.where(above / below <= (1 + float(request.largest_step)) * (1 + TINY), room, -np.inf)


def _score(task: Task, room: Floats, first: Bounds, last: Bounds) -> Floats:
    """The score of a ladder whose rooms are at most `room`, and whose first and last ratios lie between bounds."""
    if task.any_room or task.request.objective in ("room", "moves"):
        return room
    enough = room >= float(task.request.needed) - NEAR
    if task.request.objective == "deviation":
        return np.where(enough, 0.0, -np.inf)
    return np.where(enough, -np.maximum(_least_share(first), _least_share(last)), -np.inf)


def _least_share(ratios: Bounds) -> Floats:
    """The least share of power transformed, 1 - g or 1 - 1/g, by a ratio between bounds."""
    return np.asarray(np.maximum(0, np.maximum(1 - 1 / ratios.least, 1 - ratios.most)))


def _deviation(task: Task, ratios: Bounds) -> Floats:
    """The least mean distance of the output from the target, each input at its best ratio, as a share of the target.

    What surely lies above the first ratio used, or below the last, counts for nothing.
    """
    volts, shares = task.weighted
    request, target = task.request, task.request.target
    least, most = ratios.least, ratios.most
    first = np.where(least >= float(request.first_least) * (1 - TINY), most, np.inf).min(axis=1)
    last = np.where(most <= float(request.last_most) * (1 + TINY), least, 0).max(axis=1)
    unused = (least > first[:, None]) | (most < last[:, None])
    far = np.where(unused, np.inf, 0)
    middle = float(target.low + target.high) / 2
    mean = np.zeros(len(least))
    for volt, share in zip(volts, shares, strict=True):
        off = np.maximum(least * volt - float(target.high), float(target.low) - most * volt)
        mean += share * (np.maximum(off, 0) + far).min(axis=1)
    return mean / middle
