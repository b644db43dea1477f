"""Stays in a bad way while relays move: every timing on a grid, the closed form, laws, and worked examples."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import permutations, product
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapplan.control.flights import (
    BadStages,
    FlightStage,
    RelayFlight,
    StageVector,
    Stay,
    meets,
)
from tapplan.control.stays import longest_stay
from tapplan.exact import Span

F = Fraction
FINE = 7  # grid steps to a whole ms: a stay that is a limit, not reached, misses a whole ms by fewer steps
OLD, OPEN, BOUNCING, NEW = FlightStage


def flight(
    commanded: int | F, delay: tuple[int, int], transfer: tuple[int, int], bounce: tuple[int, int] = (0, 0)
) -> RelayFlight:
    return RelayFlight(F(commanded), *(Span(F(low), F(high)) for low, high in (delay, transfer, bounce)))


def operating(commanded: int | F) -> RelayFlight:
    return flight(commanded, (0, 15), (0, 10), (0, 5))


def releasing(commanded: int | F) -> RelayFlight:
    return flight(commanded, (0, 10), (0, 10), (0, 5))


def in_series(vector: StageVector) -> bool:
    """A path through one contact of every relay is open, or may be."""
    return any(stage in (OPEN, BOUNCING) for stage in vector)


def table_of(bad: NDArray[np.bool_]) -> BadStages:
    """A bad set by an array, that must not be asked about what is before and after the move, nor twice."""
    asked: set[StageVector] = set()

    def answer(vector: StageVector) -> bool:
        assert set(vector) not in ({OLD}, {NEW})
        assert vector not in asked
        asked.add(vector)
        return bool(bad[vector])

    return answer


class Grid:
    """Every timing of a move with all times on a grid, stepped from instant to instant.

    Between two instants of the grid a relay is in one stage; at an instant it is in the one it leaves and in all it
    enters, and a stay breaks there when some choice among these is good.
    """

    def __init__(self, flights: list[RelayFlight], fine: int = FINE) -> None:
        self.relays = len(flights)
        ranges = [
            range(int(span.low * fine), int(span.high * fine) + 1)
            for each in flights
            for span in (each.delay, each.transfer, each.bounce)
        ]
        lasting = np.stack([part.ravel() for part in np.meshgrid(*ranges, indexing="ij")], axis=-1)
        events = lasting.reshape(-1, self.relays, 3).cumsum(axis=2)
        self.events = events + np.array([int(each.commanded * fine) for each in flights])[None, :, None]
        self.fine = fine
        self.instants = range(int(self.events.min()), int(self.events.max()) + 1)

    def _between(self, instant: int) -> NDArray[np.int64]:
        """The stages just after an instant, as one number to base 4 for each timing."""
        stages = (self.events <= instant).sum(axis=2)
        return stages @ 4 ** np.arange(self.relays - 1, -1, -1)

    def _at(self, instant: int) -> NDArray[np.int64]:
        """The stages at an instant, a bit for each, as one number to base 16 for each timing."""
        entered = np.pad(self.events <= instant, ((0, 0), (0, 0), (1, 0)), constant_values=True)
        still = np.pad(self.events >= instant, ((0, 0), (0, 0), (0, 1)), constant_values=True)
        lasts = np.ones_like(entered)
        lasts[:, :, 1:3] = self.events[:, :, :2] < self.events[:, :, 1:]
        bits = (entered & still & lasts) @ 2 ** np.arange(4)
        return bits @ 16 ** np.arange(self.relays - 1, -1, -1)

    def longest(self, bad: NDArray[np.bool_], within: Span | None = None) -> int:
        """The longest stay over all the timings, in whole ms, what is not reached rounded up."""
        bad, instants = bad.copy(), self.instants
        if within is None:
            bad.flat[0] = bad.flat[-1] = False
        else:
            instants = range(int(within.low * self.fine), int(within.high * self.fine))
        throughout = bad
        for axis in range(self.relays):
            choices = [[stage for stage in range(4) if bits >> stage & 1] for bits in range(16)]
            throughout = np.stack([throughout.take(some, axis).all(axis) for some in choices], axis)
        lasts = np.zeros(len(self.events), dtype=np.int64)
        longest = 0
        for instant in instants:
            lasts = np.where(throughout.ravel()[self._at(instant)], lasts, 0)
            lasts = np.where(bad.ravel()[self._between(instant)], lasts + 1, 0)
            longest = max(longest, int(lasts.max()))
        return -(-longest // self.fine)

    def met(self) -> set[StageVector]:
        """The vectors that some timing has at an instant of the grid at which no more than one relay changes."""
        codes: set[int] = set()
        for instant in range(self.instants.start - 1, self.instants.stop + 1):
            changing = (self.events == instant).any(axis=2).sum(axis=1)
            codes |= set(np.unique(self._at(instant)[changing <= 1]).tolist())
        bits = [[code >> 4 * place & 15 for place in reversed(range(self.relays))] for code in codes]
        return {
            vector for each in bits for vector in product(*([s for s in FlightStage if b >> s & 1] for b in each))
        }


def random_flights(chance: Random, relays: int, loose: int) -> list[RelayFlight]:
    """Flights in whole ms, with no more than so many spans that are longer than an instant."""
    free = set(chance.sample(range(3 * relays), loose))
    spans = []
    for place in range(3 * relays):
        low = chance.choice((0, 0, 1, 2))
        spans.append((low, low + (chance.choice((1, 1, 2)) if place in free else 0)))
    return [flight(chance.choice((0, 0, 1, 3)), *spans[3 * n : 3 * n + 3]) for n in range(relays)]


def random_bad(chance: Random, relays: int) -> NDArray[np.bool_]:
    """A bad set without rule, or one made of boxes, or one where bouncing is bad when either throw is."""
    noise = np.random.default_rng(chance.randrange(2**32))
    bad = noise.random((4,) * relays) < chance.choice((0.5, 0.8, 0.9, 0.95))
    kind = chance.randrange(3)
    if kind == 1:
        bad = np.ones((4,) * relays, dtype=bool)
        for _ in range(relays):
            ends = [sorted((chance.randrange(4), chance.randrange(4))) for _ in range(relays)]
            bad[tuple(slice(low, high + 1) for low, high in ends)] = False
    if kind == 2:
        for axis in range(relays):
            whole = [slice(None)] * axis
            bad[(*whole, 2)] = bad[(*whole, 1)] | bad[(*whole, 3)]
    return bad


def cases(seed: int, number: int) -> Iterator[tuple[Random, list[RelayFlight]]]:
    chance = Random(seed)
    for _ in range(number):
        relays = chance.choice((1, 2, 2, 3, 3, 4))
        yield chance, random_flights(chance, relays, chance.randrange(min(3 * relays, 4)))


def test_no_timing_on_a_grid_stays_longer_and_one_stays_so_long() -> None:
    outcomes: Counter[str] = Counter()
    for chance, flights in cases(1, 350):
        grid = Grid(flights)
        for _ in range(2):
            bad = random_bad(chance, len(flights))
            stay = longest_stay(flights, table_of(bad))
            assert stay.exact
            assert stay.most == grid.longest(bad), (flights, bad)
            outcomes["stays" if stay.most else "passed" if stay.at else "not met"] += 1
            outcomes[f"{len(flights)} relays"] += stay.most > 0
            outcomes["more than two vectors"] += len(stay.at) > 2
            assert_course(flights, bad, stay)
    assert min(outcomes.values()) >= 5, outcomes
    assert outcomes["stays"] >= 400
    assert outcomes["more than two vectors"] >= 100


def test_within_a_span_before_and_after_the_move_count_too() -> None:
    outcomes: Counter[str] = Counter()
    for chance, flights in cases(9, 120):
        bad = random_bad(chance, len(flights))
        low = chance.choice((-2, 0, 1, 3))
        within = Span(F(low), F(low + chance.choice((0, 2, 5, 20))))
        stay = longest_stay(flights, lambda vector, bad=bad: bool(bad[vector]), within)
        assert stay.exact
        assert stay.most == Grid(flights).longest(bad, within), (flights, bad, within)
        outcomes["none" if not stay.most else "all" if stay.most == within.high - low else "part"] += 1
        outcomes["before or after"] += bool(stay.most) and any(set(vector) in ({OLD}, {NEW}) for vector in stay.at)
    assert len(outcomes) == 4
    assert min(outcomes.values()) >= 15, outcomes


def assert_course(flights: list[RelayFlight], bad: NDArray[np.bool_], stay: Stay) -> None:
    """The vectors of a stay are bad, can be met, and follow one another."""
    assert all(bad[vector] and meets(flights, vector) for vector in stay.at)
    for before, after in zip(stay.at, stay.at[1:], strict=False):
        assert before != after
        assert all(old <= new for old, new in zip(before, after, strict=True))
    everything = product(FlightStage, repeat=len(flights))
    can = any(bad[v] and meets(flights, v) for v in everything if set(v) not in ({OLD}, {NEW}))
    assert bool(stay.at) == can


def test_what_can_be_met_is_what_a_timing_on_a_grid_meets() -> None:
    outcomes: Counter[str] = Counter()
    for _, flights in cases(2, 150):
        met = Grid(flights).met()
        for vector in product(FlightStage, repeat=len(flights)):
            assert meets(flights, vector) == (vector in met), (flights, vector)
            passing = sum(
                (stage == OPEN and each.transfer.high == 0) or (stage == BOUNCING and each.bounce.high == 0)
                for each, stage in zip(flights, vector, strict=True)
            )
            outcomes[f"{'met' if vector in met else 'not met'}, {min(passing, 2)} passed in no time"] += 1
    assert set(outcomes) == {"met, 0 passed in no time", *(f"not met, {n} passed in no time" for n in range(3))}
    assert min(outcomes.values()) >= 100, outcomes


def longest_gap_in_series(flights: Sequence[RelayFlight]) -> Fraction:
    """The longest time in ms for which a path through a contact of every relay can be open, in closed form.

    In a row of flights that join, each begins before the one before it is over. Say it opens within [A, Z] and takes
    at most F. The last opens after the first by at most the sum of the F between; and, for an earlier j and a later
    k, by at most Z_k - A_j with the F before j and those from k on. They can join when every A_k comes before Z_j and
    the F from j to k. Every row in every order is tried: 13,699 for seven relays.
    """
    rows = (row for size in range(1, len(flights) + 1) for row in permutations(flights, size))
    return max((gap for gap in map(_joined, rows) if gap is not None), default=Fraction(0))


def _joined(flights: Sequence[RelayFlight]) -> Fraction | None:
    """The longest gap of flights that join in this order; None when they cannot."""
    before = [sum((flight.longest for flight in flights[:place]), Fraction(0)) for place in range(len(flights))]
    reach = before[-1]
    for late, last in enumerate(flights):
        for early, first in enumerate(flights[:late]):
            between = before[late] - before[early]
            if last.opens.low >= first.opens.high + between:
                return None
            reach = min(reach, last.opens.high - first.opens.low + before[-1] - between)
    return reach + flights[-1].longest


def test_in_series_as_in_closed_form() -> None:
    outcomes: Counter[str] = Counter()
    chance = Random(4)
    for _ in range(300):
        relays = chance.choice((1, 2, 3, 3, 4, 4, 5))
        flights = []
        for _ in range(relays):
            lows = [chance.choice((0, 0, F(chance.randrange(12), 2))) for _ in range(3)]
            spans = [Span(F(low), low + F(chance.choice((0, 1, 3, 8)), chance.choice((1, 3)))) for low in lows]
            flights.append(RelayFlight(F(chance.choice((0, 0, 0, 5, 10, 20))), *spans))
        closed = longest_gap_in_series(flights)
        stay = longest_stay(flights, in_series)
        assert stay.exact
        assert stay.most == closed, flights
        alone = max(each.longest for each in flights)
        outcomes["alone" if closed == alone else "joined"] += 1
        outcomes["one after the other"] += closed < sum(each.longest for each in flights) and closed > alone
    assert min(outcomes.values()) >= 60, outcomes


def test_closed_form_as_on_a_grid() -> None:
    outcomes: Counter[bool] = Counter()
    for _, flights in cases(5, 150):
        closed = longest_gap_in_series(flights)
        bad = np.array([in_series(v) for v in product(FlightStage, repeat=len(flights))]).reshape((4,) * len(flights))
        assert closed == Grid(flights).longest(bad), flights
        outcomes[closed > max(each.longest for each in flights)] += 1
    assert min(outcomes.values()) >= 30, outcomes


@pytest.mark.parametrize("least", [0, 1])
def test_a_faster_relay_can_make_the_gap_longer(least: int) -> None:
    slow = flight(0, (10, 12), (3 * least, 3), (least, 1))
    for other, gap in ((slow, 6), (replace(slow, delay=Span(F(6), F(8))), 8)):
        assert longest_gap_in_series([slow, other]) == gap
        assert longest_stay([slow, other], in_series).most == gap


@pytest.mark.parametrize(
    ("flights", "gap"),
    [
        ([operating(0), releasing(0)], 30),
        ([flight(0, (0, 9), (0, 4), (0, 2)), flight(0, (0, 6), (0, 4), (0, 2))], 12),
        ([releasing(0), operating(F(249, 10))], F(299, 10) + F(1, 10)),
        ([releasing(0), operating(25)], 15),
        ([operating(0), releasing(F(299, 10))], 30),
        ([operating(0), releasing(30)], 15),
        ([operating(0), releasing(60), operating(30)], 15),
        ([operating(0)] * 7, 30),
        ([], 0),
    ],
)
def test_gaps_by_hand(flights: list[RelayFlight], gap: F) -> None:
    assert longest_stay(flights, in_series).most == gap
    if len(flights) < 6:
        assert longest_gap_in_series(flights) == gap


def test_a_stay_by_hand_and_its_course() -> None:
    """Both open for as long as the slower transfer of two that open together; apart, for as long as they overlap."""
    together = [flight(0, (5, 8), (2, 4), (0, 0)), flight(0, (5, 8), (3, 3), (1, 1))]
    assert longest_stay(together, lambda v: v == (OPEN, OPEN)) == Stay(F(3), ((OPEN, OPEN),))
    late = [together[0], replace(together[1], commanded=F(6))]
    assert longest_stay(late, lambda v: v == (OPEN, OPEN)) == Stay(F(1), ((OPEN, OPEN),))
    later = [together[0], replace(together[1], commanded=F(7))]
    assert longest_stay(later, lambda v: v == (OPEN, OPEN)) == Stay(F(0), ())
    apart = longest_stay(later, lambda v: v[0] != OLD and v[1] in (OLD, OPEN))
    assert apart == Stay(F(13), ((OPEN, OLD), (NEW, OLD), (NEW, OPEN)))


def test_what_is_passed_in_no_time_is_not_met_and_breaks_nothing() -> None:
    """A contact that changes over in no time was never open; nor is one that may, where that is the worst."""
    passing = [flight(0, (3, 3), (0, 0), (4, 4)), flight(0, (0, 0), (9, 9))]
    assert longest_stay(passing, lambda v: v == (OPEN, OPEN)) == Stay(F(0), ())
    through = tuple((stage, OPEN) for stage in (OLD, BOUNCING, NEW))
    assert longest_stay(passing, lambda v: v[1] == OPEN) == Stay(F(9), through)
    assert longest_stay(passing, lambda v: v[1] == OPEN and v[0] != OPEN) == Stay(F(9), through)
    may = [flight(0, (3, 3), (0, 2), (4, 4)), passing[1]]
    assert longest_stay(may, lambda v: v[1] == OPEN and v[0] != OPEN).most == 9
    must = [flight(0, (3, 3), (1, 2), (4, 4)), passing[1]]
    assert longest_stay(must, lambda v: v[1] == OPEN and v[0] != OPEN).most == 5
    both = [flight(0, (0, 2), (0, 0), (1, 3))] * 2
    assert not meets(both, (OPEN, OLD))
    assert meets(both, (BOUNCING, OLD))


def test_a_good_vector_that_is_only_touched_breaks_a_stay() -> None:
    exact = [flight(0, (0, 0), (5, 5)), flight(0, (5, 5), (5, 5))]
    assert longest_stay(exact, lambda v: v in ((OPEN, OLD), (NEW, OPEN))).most == 5
    assert longest_stay(exact, lambda v: v in ((OPEN, OLD), (NEW, OPEN), (NEW, OLD))).most == 5
    assert longest_stay(exact, in_series).most == 5
    assert longest_stay(exact, lambda v: True).most == 10
    assert not meets(exact, (OPEN, OPEN))
    assert not meets(exact, (NEW, OLD))
    assert meets(exact, (NEW, OPEN))


def test_a_relay_does_not_act_before_its_cause() -> None:
    for place in range(3):
        spans = [(-1, 2) if n == place else (0, 2) for n in range(3)]
        with pytest.raises(ValueError, match="before its cause"):
            flight(0, *spans)


def test_the_times_of_a_flight() -> None:
    one = flight(7, (1, 2), (3, 5), (10, 20))
    assert (one.opens, one.touches, one.rests) == (Span(F(8), F(9)), Span(F(11), F(14)), Span(F(21), F(34)))
    assert (one.settled, one.longest) == (34, 25)


spans = st.tuples(st.integers(0, 6), st.integers(0, 6)).map(lambda ends: Span(F(min(ends)), F(max(ends))))
flights_of_any_kind = st.lists(
    st.builds(RelayFlight, st.integers(0, 12).map(F), spans, spans, spans), min_size=1, max_size=4
)


@st.composite
def narrowed(draw: st.DrawFn, span: Span) -> Span:
    ends = sorted(draw(st.integers(int(2 * span.low), int(2 * span.high))) for _ in range(2))
    return Span(F(ends[0], 2), F(ends[1], 2))


@st.composite
def with_narrower(draw: st.DrawFn) -> tuple[list[RelayFlight], list[RelayFlight]]:
    wide = draw(flights_of_any_kind)
    narrow = [
        RelayFlight(each.commanded, *(draw(narrowed(span)) for span in (each.delay, each.transfer, each.bounce)))
        for each in wide
    ]
    return wide, narrow


@settings(max_examples=150, deadline=None)
@given(with_narrower(), st.integers(0, 2**31))
def test_narrower_times_never_lengthen_a_stay(pair: tuple[list[RelayFlight], list[RelayFlight]], seed: int) -> None:
    wide, narrow = pair
    bad = random_bad(Random(seed), len(wide))
    assert longest_stay(narrow, table_of(bad)).most <= longest_stay(wide, table_of(bad)).most
    assert longest_gap_in_series(narrow) <= longest_gap_in_series(wide)
    assert all(meets(wide, v) or not meets(narrow, v) for v in product(FlightStage, repeat=len(wide)))


@settings(max_examples=150, deadline=None)
@given(flights_of_any_kind, st.integers(0, 2**31), st.integers(0, 9))
def test_a_long_pause_keeps_two_relays_apart(flights: list[RelayFlight], seed: int, more: int) -> None:
    first, second = flights[0], flights[-1]
    pause = first.delay.high + first.longest - second.delay.low
    pair = [first, replace(second, commanded=first.commanded + pause + more)]
    under_way = list(product((OPEN, BOUNCING), repeat=2))
    assert not any(meets(pair, vector) for vector in under_way)
    assert longest_stay(pair, lambda v: v in under_way) == Stay(F(0), ())
    assert longest_stay(pair, in_series).most == max(first.longest, second.longest)
    hasty = [first, replace(second, commanded=pair[1].commanded - more - F(1, 2))]
    loose = all(span.low < span.high for each in pair for span in (each.delay, each.transfer, each.bounce))
    if loose:
        assert meets(hasty, (BOUNCING, OPEN))


@settings(max_examples=100, deadline=None)
@given(
    flights_of_any_kind,
    st.integers(0, 2**31),
    st.sampled_from([F(1, 3), F(7, 10**6), F(10**15 + 1, 3), F(1, 10**19)]),
)
def test_a_unit_a_start_and_an_order_do_not_matter(flights: list[RelayFlight], seed: int, unit: F) -> None:
    bad = random_bad(Random(seed), len(flights))
    known = longest_stay(flights, table_of(bad))

    def moved(span: Span) -> Span:
        return span.scaled(unit)

    others = [
        RelayFlight((each.commanded - 5) * unit, moved(each.delay), moved(each.transfer), moved(each.bounce))
        for each in reversed(flights)
    ]
    turned = longest_stay(others, table_of(bad.transpose()))
    assert turned.most == known.most * unit
    assert bool(turned.at) == bool(known.at)
    assert turned.exact
    assert known.exact


def test_a_relay_that_does_not_matter_changes_nothing() -> None:
    chance, longer = Random(6), 0
    for _ in range(60):
        flights = random_flights(chance, 4, 8)
        bad = random_bad(chance, 3)
        bad[0, 0, 0] = bad[3, 3, 3] = False
        place = chance.randrange(4)

        def with_one_more(vector: StageVector, bad: NDArray[np.bool_] = bad, place: int = place) -> bool:
            return bool(bad[vector[:place] + vector[place + 1 :]])

        few = longest_stay(flights[:place] + flights[place + 1 :], table_of(bad))
        many = longest_stay(flights, with_one_more)
        assert few.exact
        assert many.exact
        assert few.most == many.most
        longer += few.most > 0
    assert longer >= 30


def test_a_search_cut_off_is_never_too_low_and_says_so() -> None:
    outcomes: Counter[str] = Counter()
    chance = Random(7)
    for _ in range(150):
        relays = chance.choice((2, 3, 4))
        flights = random_flights(chance, relays, 6)
        bad = random_bad(chance, relays)
        known = longest_stay(flights, table_of(bad))
        assert known.exact
        last = None
        for nodes in (0, 1, 2, 4, 8, 4000):
            stay = longest_stay(flights, table_of(bad), most_nodes=nodes)
            assert stay.most >= known.most
            assert last is None or stay.most <= last
            assert bool(stay.at) == bool(known.at)
            assert all(bad[vector] for vector in stay.at)
            if stay.exact:
                assert stay == known
            outcomes["exact" if stay.exact else "too high" if stay.most > known.most else "right by chance"] += 1
            last = stay.most
        assert stay.exact
    assert min(outcomes.values()) >= 20, outcomes
    assert len(outcomes) == 3


def test_the_first_case_is_from_first_opening_to_last_rest() -> None:
    flights = [flight(0, (2, 3), (1, 4), (0, 5)), flight(1, (2, 4), (1, 2), (0, 1))]
    stay = longest_stay(flights, in_series, most_nodes=0)
    assert (stay.most, stay.exact) == (10, False)
    stay = longest_stay(flights, in_series, Span(F(3), F(20)), most_nodes=0)
    assert (stay.most, stay.exact) == (17, False)


def test_seven_relays_take_few_cases() -> None:
    """By counts, not by times: the answers are exact within 12 cases."""
    flights = [operating(0), releasing(0), operating(0), releasing(0), operating(20), releasing(20), operating(20)]
    assert longest_stay(flights, in_series, most_nodes=12).most == 50
    assert longest_stay(flights, in_series, most_nodes=12).exact
    chance, lengths = Random(8), set()
    for _ in range(6):
        places = sorted(chance.sample(range(7), 3))
        bad = random_bad(chance, 3)
        bad[0, 0, 0] = bad[3, 3, 3] = False

        def of_three(vector: StageVector, bad: NDArray[np.bool_] = bad, places: list[int] = places) -> bool:
            return bool(bad[tuple(vector[place] for place in places)])

        stay = longest_stay(flights, of_three, most_nodes=12)
        assert stay.exact
        assert stay.most == longest_stay([flights[place] for place in places], table_of(bad)).most
        lengths.add(stay.most)
    assert len(lengths) >= 3, lengths
