"""Which states to use: the fewest that serve the range, then the roomiest, then those with the fewest moves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.serving import Served
from tapplan.control.thresholds import noise_between, room
from tapplan.exact import Span

MOST_RUNGS = 200

Rung = tuple[Served, ...]  # states that serve alike and differ only in their relays


@dataclass(frozen=True, slots=True)
class Demand:
    """What neighbours must leave: the hysteresis beside the noise, and more than twice the noise if it counts."""

    hysteresis: Fraction
    beat_noise: bool = True

    def room(self, below: Served, above: Served) -> Fraction | None:
        """The room between two neighbours, or None when it is not enough."""
        available, noise = room(below, above), noise_between(below, above)
        least = 2 * noise if self.beat_noise else noise
        return available if available >= self.hysteresis + noise and available > least else None


def rungs(candidates: Iterable[Served]) -> list[Rung]:
    """The candidates by falling ratio, those that serve alike together."""
    alike: dict[tuple[Fraction, Fraction, Span | None], list[Served]] = {}
    for candidate in candidates:
        if candidate.serves is not None:
            alike.setdefault((candidate.ratio, candidate.full, candidate.read), []).append(candidate)
    return [
        tuple(alike[key]) for key in sorted(alike, key=lambda key: (-key[0], -key[1], key[2].high if key[2] else 0))
    ]


def ladder(steps: Sequence[Rung], span: Span, demand: Demand) -> list[Served] | None:
    """The best bands that serve the whole span as demanded, by rising input; None when none do.

    Best is: fewest bands; then the largest smallest room; then fewest relays moved from band to band in all;
    then fewest coils driven in all; then the order of the states. Work is at most bands times rungs squared;
    beyond `MOST_RUNGS` the count is still the least there is, the room the best among rungs spread evenly.
    """
    steps = _thinned(steps, span, demand)
    starts = [n for n, rung in enumerate(steps) if rung[0].serves and rung[0].serves.low <= span.low]
    ends = {n for n, rung in enumerate(steps) if rung[0].serves and rung[0].serves.high >= span.high}
    layers = _layers(steps, starts, ends, demand)
    if layers is None:
        return None
    if len(layers) == 1:
        return [_fewest_coils([served for n in starts if n in ends for served in steps[n]])]
    roomiest = max(layers[-1][n] for n in ends if n in layers[-1])
    allowed = _on_a_best_way(steps, layers, ends, (demand, roomiest))
    return _fewest_moves(steps, allowed, (demand, roomiest))


def _thinned(steps: Sequence[Rung], span: Span, demand: Demand) -> Sequence[Rung]:
    """At most about `MOST_RUNGS` of the rungs, among them those of a way with the fewest bands."""
    if len(steps) <= MOST_RUNGS:
        return steps
    even = {place * (len(steps) - 1) // (MOST_RUNGS - 1) for place in range(MOST_RUNGS)}
    return [steps[place] for place in sorted(even | set(_farthest_way(steps, span, demand)))]


def _farthest_way(steps: Sequence[Rung], span: Span, demand: Demand) -> list[int]:
    """From the bottom of the span always the farthest rung in reach: no way takes fewer bands.

    It may stop short of the top, where the states cannot serve the span as demanded.
    """
    way = [n for n, rung in enumerate(steps) if rung[0].serves and rung[0].serves.low <= span.low][-1:]
    while way and _reach(steps[way[-1]][0]) < span.high:
        here = way[-1]
        ahead = range(len(steps) - 1, here, -1)
        farthest = next((n for n in ahead if demand.room(steps[here][0], steps[n][0]) is not None), None)
        if farthest is None:
            break
        way.append(farthest)
    return way


Layer = dict[int, Fraction]  # rung number -> the best smallest room of a way that ends there


def _layers(steps: Sequence[Rung], starts: list[int], ends: set[int], demand: Demand) -> list[Layer] | None:
    unbounded = Fraction(10**12)
    layers: list[Layer] = [dict.fromkeys(starts, unbounded)]
    while not ends & layers[-1].keys():
        grown: Layer = {}
        for low, so_far in layers[-1].items():
            for high in range(low + 1, len(steps)):
                between = demand.room(steps[low][0], steps[high][0])
                if between is not None and steps[high][0].ratio < steps[low][0].ratio:
                    grown[high] = max(grown.get(high, Fraction(0)), min(so_far, between))
        seen = set().union(*layers)
        if not grown.keys() - seen:
            return None
        layers.append(grown)
    return layers


_Way = tuple[int, int, list[Served]]  # relays moved so far, coils driven so far, the bands

Bar = tuple[Demand, Fraction]  # a demand, and the smallest room that counts as best


def _passes(low: Served, high: Served, bar: Bar) -> bool:
    demand, roomiest = bar
    between = demand.room(low, high)
    return between is not None and between >= roomiest and high.ratio < low.ratio


def _on_a_best_way(steps: Sequence[Rung], layers: list[Layer], ends: set[int], bar: Bar) -> list[list[int]]:
    """Layer by layer the rungs that a way of the best room passes through."""
    allowed = [[n for n in layers[-1] if n in ends and layers[-1][n] >= bar[1]]]
    for layer in reversed(layers[:-1]):
        above = allowed[0]
        allowed.insert(
            0,
            [
                n
                for n, so_far in layer.items()
                if so_far >= bar[1] and any(_passes(steps[n][0], steps[m][0], bar) for m in above)
            ],
        )
    return allowed


def _fewest_moves(steps: Sequence[Rung], allowed: list[list[int]], bar: Bar) -> list[Served]:
    """The way through the allowed rungs that moves the fewest relays; ties as `ladder` says."""
    ways: list[_Way] = [(0, _coils(served), [served]) for n in allowed[0] for served in steps[n]]
    for layer in allowed[1:]:
        longer: list[_Way] = []
        for n in layer:
            for served in steps[n]:
                reached = [
                    (moved + _moves(way[-1], served), coils + _coils(served), way)
                    for moved, coils, way in ways
                    if _passes(way[-1], served, bar)
                ]
                if reached:
                    moved, coils, way = min(reached, key=lambda one: one[:2])
                    longer.append((moved, coils, [*way, served]))
        ways = longer
    return min(ways, key=lambda one: one[:2])[2]


def _moves(one: Served, other: Served) -> int:
    return len(set(one.state.energised) ^ set(other.state.energised))


def _coils(served: Served) -> int:
    return len(served.state.energised)


def _fewest_coils(options: list[Served]) -> Served:
    """Of bands that serve the whole span alone, the one nearest ratio 1, then with the fewest coils."""
    return min(options, key=lambda served: (abs(served.ratio - 1), _coils(served)))


def patchwork(steps: Sequence[Rung], span: Span) -> list[Served]:
    """As much of the span as the states serve at all, with gaps where none does; the fewest bands."""
    chosen: list[Served] = []
    reached = span.low
    while reached <= span.high:
        here = [rung[0] for rung in steps if rung[0].serves and rung[0].serves.low <= reached]
        best = max(here, key=_reach, default=None)
        if best is None or _reach(best) < reached or (chosen and _reach(best) <= _reach(chosen[-1])):
            ahead = [rung[0] for rung in steps if rung[0].serves and reached < rung[0].serves.low <= span.high]
            if not ahead:
                break
            best = max(
                (one for one in ahead if one.serves and one.serves.low == min(_start(a) for a in ahead)),
                key=_reach,
            )
        chosen.append(best)
        if _reach(best) >= span.high:
            break
        reached = _reach(best)
    return chosen


def _reach(served: Served) -> Fraction:
    return served.serves.high if served.serves else Fraction(0)


def _start(served: Served) -> Fraction:
    return served.serves.low if served.serves else Fraction(0)
