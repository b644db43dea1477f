"""Which points of an undrawn board are joined: in which coil state, by ohms and by volts together.

Ohms alone cannot tell a contact from a winding of few ohms, and no volts alone cannot tell a contact from a point
that hangs free. So volts between two points mean that they are not joined, whatever the ohms say; no volts mean it
only where both points are known to be live.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from tapplan.bench.isolation import Reading
from tapplan.bench.measures import Condition
from tapplan.bench.meter import Meter
from tapplan.exact import Span

JOINED_OHM = Fraction(1)  # a contact and its leads; more is a winding

Edge = frozenset[str]  # two points
DrivenCoils = frozenset[str]


@dataclass(frozen=True, slots=True)
class Fact:
    """Whether two points are joined with these coils driven; not `sure` where a winding of few ohms would read so.

    `by_volts`: apart by volts, and no ohms speak against a winding of few ohms between them.
    """

    coils: DrivenCoils
    pair: Edge
    joined: bool
    sure: bool
    by_volts: bool = False


@dataclass(frozen=True, slots=True)
class PairThen:
    """Two points with these coils driven."""

    coils: DrivenCoils
    pair: Edge


@dataclass(frozen=True, slots=True)
class Evidence:
    """What readings say of joined points.

    `windings` are pairs of few ohms with volts across them then: no contacts. `fixed` points sit on the winding
    themselves, for they were seen live and apart from every other point.
    """

    facts: tuple[Fact, ...]
    windings: frozenset[PairThen]
    fixed: frozenset[str]


NOTHING_SEEN = Evidence((), frozenset(), frozenset())


def volts_of(readings: Iterable[Reading]) -> list[Reading]:
    """The readings of volts on a small source."""
    on_source = [one for one in readings if one.measure.condition.power == "low" and one.value is not None]
    return [one for one in on_source if one.measure.what == "volts" and one.measure.condition.fed is not None]


def coils_of(condition: Condition) -> DrivenCoils:
    """The coils driven, none where nothing is said of them."""
    return condition.coils or frozenset()


def without_lugs(readings: Iterable[Reading]) -> list[Reading]:
    """The readings with a winding's own end taken as the point it leads to: on a sound board they are one."""
    found = []
    for one in readings:
        measure = one.measure
        if measure.what in ("volts", "ohms"):
            at = tuple(end.removeprefix("lug ") for end in measure.at)
            if len(set(at)) < len(at):
                continue
            fed = measure.condition.fed
            bare = None if fed is None else (fed[0].removeprefix("lug "), fed[1].removeprefix("lug "))
            measure = replace(measure, at=at, condition=replace(measure.condition, fed=bare))
        found.append(replace(one, measure=measure))
    return found


def _then(one: Reading) -> PairThen:
    """Where a reading was taken."""
    return PairThen(coils_of(one.measure.condition), frozenset(one.measure.at))


def evidence(readings: Sequence[Reading], meter: Meter, points: Sequence[str]) -> Evidence:
    """What is joined and what apart; `points` are all that the board has, as far as they are known."""
    apart = _apart_by_volts(readings, meter)
    joined = _joined_by_volts(readings, meter)
    few: dict[PairThen, bool] = {}
    for one in readings:
        if one.measure.what == "ohms" and one.value is not None:
            few[_then(one)] = one.value <= JOINED_OHM
    many = {place.pair for place, is_few in few.items() if not is_few}
    windings = frozenset(place for place, is_few in few.items() if is_few and place in apart)
    facts = []
    for place in sorted({*apart, *joined, *few}, key=lambda one: (sorted(one.coils), sorted(one.pair))):
        coils, pair = place.coils, place.pair
        if place in apart or not few.get(place, True):
            facts.append(Fact(coils, pair, joined=False, sure=True, by_volts=pair not in many))
        else:
            facts.append(Fact(coils, pair, joined=True, sure=place in joined))
    return Evidence(tuple(facts), windings, _fixed(facts, points, live_points(readings, meter)))


def _by_condition(readings: Iterable[Reading]) -> dict[Condition, list[Reading]]:
    found: dict[Condition, list[Reading]] = {}
    for one in volts_of(readings):
        found.setdefault(one.measure.condition, []).append(one)
    return found


def is_zero(one: Reading, meter: Meter) -> bool:
    """Whether a reading may stand for nothing at all."""
    return one.value is None or meter.true(one.measure, one.value).low <= 0


def live_points(readings: Iterable[Reading], meter: Meter) -> Mapping[Condition, frozenset[str]]:
    """By condition of the small source, the points between which volts were seen, and those it feeds then."""
    found = {}
    for condition, here in _by_condition(readings).items():
        seen = {end for one in here if not is_zero(one, meter) for end in one.measure.at}
        found[condition] = frozenset(seen | set(condition.fed or ())) if seen else frozenset()
    return found


def _spans(here: Sequence[Reading], meter: Meter) -> dict[str, dict[str, Span]]:
    """True volts from each point to each other that was read, the pair fed included where it was not."""
    found: dict[str, dict[str, Span]] = {}
    condition = here[0].measure.condition
    if condition.fed is not None and condition.volts is not None:
        one, two = condition.fed
        whole = Span(condition.volts, condition.volts)
        found = {one: {two: whole}, two: {one: whole}}
    for reading in here:
        one, two = reading.measure.at
        span = meter.true(reading.measure, reading.value or Fraction(0))
        found.setdefault(one, {})[two] = span
        found.setdefault(two, {})[one] = span
    return found


def _apart_by_volts(readings: Sequence[Reading], meter: Meter) -> set[PairThen]:
    """Pairs with volts between them, read or by their unlike volts to a third point."""
    found = set()
    for condition, here in _by_condition(readings).items():
        if all(is_zero(one, meter) for one in here):
            continue
        coils, spans = coils_of(condition), _spans(here, meter)
        for third, others in spans.items():
            found |= {PairThen(coils, frozenset({third, one})) for one, span in others.items() if span.low > 0}
            for one, two in combinations(others, 2):
                if others[one].meet(others[two]) is None:
                    found.add(PairThen(coils, frozenset({one, two})))
    return found


def _joined_by_volts(readings: Sequence[Reading], meter: Meter) -> set[PairThen]:
    """Pairs without volts between them, both of them live against the same points by other readings."""
    found = set()
    for condition, here in _by_condition(readings).items():
        seen = [frozenset(one.measure.at) for one in here if not is_zero(one, meter)]
        group = closed({}, [*seen, frozenset(condition.fed or ())] if seen else [])
        for one in here:
            pair = frozenset(one.measure.at)
            if is_zero(one, meter) and pair <= set(group) and linked(group, pair):
                found.add(_then(one))
    return found


def closed(group: Mapping[str, str], edges: Iterable[Edge]) -> dict[str, str]:
    """The name of the group of each point, after more pairs are put together."""
    found = dict(group)
    for edge in edges:
        one, two = (found.get(end, end) for end in sorted(edge))
        for point in [point for point, name in found.items() if name == two] + sorted(edge):
            found[point] = one
    return found


def linked(group: Mapping[str, str], pair: Edge) -> bool:
    """Whether two points are in one group."""
    return len({group.get(end, end) for end in pair}) == 1


def _fixed(facts: Sequence[Fact], points: Sequence[str], live: Mapping[Condition, frozenset[str]]) -> frozenset[str]:
    """Points seen live and apart from all others in one coil state."""
    apart: dict[tuple[DrivenCoils, str], set[str]] = {}
    for fact in facts:
        if not fact.joined:
            one, two = sorted(fact.pair)
            apart.setdefault((fact.coils, one), set()).add(two)
            apart.setdefault((fact.coils, two), set()).add(one)
    alive = {(coils_of(condition), point) for condition, seen in live.items() for point in seen}
    return frozenset(point for coils, point in alive if set(points) - {point} <= apart.get((coils, point), set()))
