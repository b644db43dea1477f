"""Which states to use, and their names: the fewest that serve, then the roomiest, then with the fewest moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial

from tapplan.control.rungs import Rung, Rungs, reach, start
from tapplan.control.serving import Served
from tapplan.control.thresholds import Demand
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.turns import Kind

MOST_RUNGS = 200


@dataclass(frozen=True, slots=True)
class ChosenBands:
    """The bands to use, by rising input; `demanded`: they meet every demand."""

    bands: list[Served]
    demanded: bool


def chosen(design: Design, steps: Rungs) -> ChosenBands:
    """The bands to use; where none meet every demand, the demands are dropped one by one."""
    wanted = design.sensing.hysteresis_v
    for demand in (
        Demand(wanted),
        Demand(Fraction(0)),
        Demand(Fraction(0), beat_noise=False),
    ):
        bands = ladder(steps, design.mains.span, demand)
        if bands is not None:
            return ChosenBands(bands, demand.hysteresis == wanted and demand.beat_noise)
    return ChosenBands(patchwork(steps, design.mains.span), False)


def names(bands: Sequence[Served]) -> list[str]:
    """Names by what the bands do, counted from the mildest: boost 2, boost 1, direct, buck 1, buck 2."""
    boosts = sum(one.state.kind is Kind.BOOST for one in bands)
    bucks = sum(one.state.kind is Kind.BUCK for one in bands)
    found, boost, buck, plain = [], boosts, 0, 0
    for one in bands:
        if one.state.kind is Kind.BOOST:
            found.append("boost" if boosts == 1 else f"boost {boost}")
            boost -= 1
        elif one.state.kind is Kind.BUCK:
            buck += 1
            found.append("buck" if bucks == 1 else f"buck {buck}")
        else:
            plain += 1
            found.append(one.state.kind.value if plain == 1 else f"{one.state.kind.value} {plain}")
    return found


def ladder(steps: Rungs, span: Span, demand: Demand) -> list[Served] | None:
    """The best bands that serve the whole span as demanded, by rising input; None when none do.

    Best is: fewest bands; then the largest smallest room; then fewest relays moved from band to band in all;
    then fewest coils driven in all; then the order of the states. Work is at most bands times rungs squared;
    beyond `MOST_RUNGS` the count is still the least there is, the room the best among rungs spread evenly.
    """
    rooms = _Rooms(_thinned(steps, span, demand), demand)
    starts = [n for n, rung in enumerate(rooms.steps) if start(rung[0]) <= span.low]
    ends = {n for n, rung in enumerate(rooms.steps) if reach(rung[0]) >= span.high}
    layers = _layers(rooms, starts, ends) if starts and ends else None
    if layers is None:
        return None
    if len(layers) == 1:
        return _fewest_coils([served for n in starts if n in ends for served in rooms.steps[n]])
    roomiest = max(layers[-1][n] for n in ends if n in layers[-1])
    return _fewest_moves(rooms, _on_a_best_way(rooms, layers, ends, roomiest), roomiest)


def _thinned(steps: Rungs, span: Span, demand: Demand) -> Sequence[Rung]:
    """At most about `MOST_RUNGS` of the rungs, among them those of a way with the fewest bands."""
    if len(steps) <= MOST_RUNGS:
        return list(steps)
    even = {place * (len(steps) - 1) // (MOST_RUNGS - 1) for place in range(MOST_RUNGS)}
    return [steps[place] for place in sorted(even | set(_farthest_way(steps, span, demand)))]


def _farthest_way(steps: Rungs, span: Span, demand: Demand) -> list[int]:
    """From the bottom of the span always the farthest rung in reach: no way takes fewer bands.

    It may stop short of the top, where the states cannot serve the span as demanded.
    """
    here = steps.last_from(span.low)
    way: list[int] = []
    while here is not None:
        way.append(here)
        below = steps[here][0]
        if reach(below) >= span.high:
            break
        here = steps.last(partial(demand.met, below), here)
    return way


@dataclass(frozen=True, slots=True)
class _Rooms:
    """Rungs to choose among, and the room between any two of them as demanded, worked out once for each two."""

    steps: Sequence[Rung]
    demand: Demand
    _known: dict[tuple[int, int], Fraction | None] = field(default_factory=dict, init=False)

    def between(self, low: int, high: int) -> Fraction | None:
        """The room between two rungs that can be neighbours, None of others."""
        if (low, high) not in self._known:
            below, above = self.steps[low][0], self.steps[high][0]
            self._known[low, high] = self.demand.room(below, above) if above.ratio < below.ratio else None
        return self._known[low, high]

    def passes(self, low: int, high: int, roomiest: Fraction) -> bool:
        """Whether two rungs can be neighbours on a way of the best room."""
        found = self.between(low, high)
        return found is not None and found >= roomiest


Layer = dict[int, Fraction]  # rung number -> the best smallest room of a way that ends there


def _layers(rooms: _Rooms, starts: list[int], ends: set[int]) -> list[Layer] | None:
    unbounded = Fraction(10**12)
    layers: list[Layer] = [dict.fromkeys(starts, unbounded)]
    while not ends & layers[-1].keys():
        grown: Layer = {}
        for low, so_far in layers[-1].items():
            for high in range(low + 1, len(rooms.steps)):
                between = rooms.between(low, high)
                if between is not None:
                    grown[high] = max(grown.get(high, Fraction(0)), min(so_far, between))
        seen = set().union(*layers)
        if not grown.keys() - seen:
            return None
        layers.append(grown)
    return layers


def _on_a_best_way(rooms: _Rooms, layers: list[Layer], ends: set[int], roomiest: Fraction) -> list[list[int]]:
    """Layer by layer the rungs that a way of the best room passes through."""
    allowed = [[n for n in layers[-1] if n in ends and layers[-1][n] >= roomiest]]
    for layer in reversed(layers[:-1]):
        above = allowed[0]
        on_it = [n for n in layer if layer[n] >= roomiest and any(rooms.passes(n, m, roomiest) for m in above)]
        allowed.insert(0, on_it)
    return allowed


@dataclass(frozen=True, slots=True)
class _Way:
    """Bands one after the other, by rising input: the relays moved between them in all, the coils driven in all.

    `rung` is that of the last.
    """

    moved: int
    coils: int
    rung: int
    bands: list[Served]

    @property
    def cost(self) -> tuple[int, int]:
        return self.moved, self.coils

    def to(self, rung: int, band: Served) -> _Way:
        """The way with one band more."""
        moved, coils = self.moved + _moves(self.bands[-1], band), self.coils + _coils(band)
        return _Way(moved, coils, rung, [*self.bands, band])


def _fewest_moves(rooms: _Rooms, allowed: list[list[int]], roomiest: Fraction) -> list[Served]:
    """The way through the allowed rungs that moves the fewest relays; ties as `ladder` says."""
    ways = [_Way(0, _coils(served), n, [served]) for n in allowed[0] for served in rooms.steps[n]]
    for layer in allowed[1:]:
        longer: list[_Way] = []
        for n in layer:
            before = [way for way in ways if rooms.passes(way.rung, n, roomiest)]
            for served in rooms.steps[n] if before else ():
                longer.append(min((way.to(n, served) for way in before), key=lambda way: way.cost))
        ways = longer
    return min(ways, key=lambda way: way.cost).bands


def _moves(one: Served, other: Served) -> int:
    return len(set(one.state.energised) ^ set(other.state.energised))


def _coils(served: Served) -> int:
    return len(served.state.energised)


def _fewest_coils(options: list[Served]) -> list[Served]:
    """Of bands that serve the whole span alone, the one nearest ratio 1, then with the fewest coils."""
    return [min(options, key=lambda served: (abs(served.ratio - 1), _coils(served)))]


def patchwork(steps: Rungs, span: Span) -> list[Served]:
    """As much of the span as the states serve at all, with gaps where none does; the fewest bands."""
    chosen: list[Served] = []
    reached = span.low
    while reached <= span.high:
        best = _farthest_from(steps, reached)
        if best is None or reach(best) < reached or (chosen and reach(best) <= reach(chosen[-1])):
            best = _next_above(steps, reached)
            if best is None or start(best) > span.high:
                break
        chosen.append(best)
        if reach(best) >= span.high:
            break
        reached = reach(best)
    return chosen


def _farthest_from(steps: Rungs, volt: Fraction) -> Served | None:
    """Of the states that serve from this input or below, the one that reaches farthest."""
    if steps.rising:
        last = steps.last_from(volt)
        return None if last is None else steps[last][0]
    return max((rung[0] for rung in steps if start(rung[0]) <= volt), key=reach, default=None)


def _next_above(steps: Rungs, volt: Fraction) -> Served | None:
    """Of the states that serve only from above this input, the first to serve; of several the farthest reaching."""
    if steps.rising:
        last = steps.last_from(volt)
        following = 0 if last is None else last + 1
        return steps[following][0] if following < len(steps) else None
    ahead = [rung[0] for rung in steps if start(rung[0]) > volt]
    return min(ahead, key=lambda one: (start(one), -reach(one)), default=None)
