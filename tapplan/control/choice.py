"""Which states to use, and their names: the fewest that serve, then the roomiest, then with the fewest moves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.serving import Served
from tapplan.control.thresholds import noise_between, room
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.turns import Kind

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


@dataclass(frozen=True, slots=True)
class ChosenBands:
    """The bands to use, by rising input; `demanded`: they meet every demand."""

    bands: list[Served]
    demanded: bool


def chosen(design: Design, steps: Sequence[Rung]) -> ChosenBands:
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
    bar = Bar(demand, roomiest)
    return _fewest_moves(steps, _on_a_best_way(steps, layers, ends, bar), bar)


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


@dataclass(frozen=True, slots=True)
class _Way:
    """Bands one after the other, by rising input: the relays moved between them in all, the coils driven in all."""

    moved: int
    coils: int
    bands: list[Served]

    @property
    def cost(self) -> tuple[int, int]:
        return self.moved, self.coils

    def to(self, band: Served) -> _Way:
        return _Way(self.moved + _moves(self.bands[-1], band), self.coils + _coils(band), [*self.bands, band])


@dataclass(frozen=True, slots=True)
class Bar:
    """A demand, and the smallest room that counts as best."""

    demand: Demand
    roomiest: Fraction

    def passes(self, low: Served, high: Served) -> bool:
        """Whether two bands can be neighbours on a way of the best room."""
        between = self.demand.room(low, high)
        return between is not None and between >= self.roomiest and high.ratio < low.ratio


def _on_a_best_way(steps: Sequence[Rung], layers: list[Layer], ends: set[int], bar: Bar) -> list[list[int]]:
    """Layer by layer the rungs that a way of the best room passes through."""
    allowed = [[n for n in layers[-1] if n in ends and layers[-1][n] >= bar.roomiest]]
    for layer in reversed(layers[:-1]):
        above = allowed[0]
        allowed.insert(
            0,
            [
                n
                for n, so_far in layer.items()
                if so_far >= bar.roomiest and any(bar.passes(steps[n][0], steps[m][0]) for m in above)
            ],
        )
    return allowed


def _fewest_moves(steps: Sequence[Rung], allowed: list[list[int]], bar: Bar) -> list[Served]:
    """The way through the allowed rungs that moves the fewest relays; ties as `ladder` says."""
    ways = [_Way(0, _coils(served), [served]) for n in allowed[0] for served in steps[n]]
    for layer in allowed[1:]:
        longer: list[_Way] = []
        for n in layer:
            for served in steps[n]:
                reached = [way.to(served) for way in ways if bar.passes(way.bands[-1], served)]
                if reached:
                    longer.append(min(reached, key=lambda way: way.cost))
        ways = longer
    return min(ways, key=lambda way: way.cost).bands


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
