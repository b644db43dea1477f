"""Moves as they are timed: by hand on two relays in series, and against every timing on a grid."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random

import pytest

from tapplan.control.flown import Flown, Flying, PassageHeights
from tapplan.control.moves import Mixtures, move_between
from tapplan.control.standing import REST, InRow, Standing
from tapplan.control.table import control_table
from tapplan.design.model import Design, Relay, Sequence, SequenceMove
from tapplan.network.circuit import Position
from tapplan.network.turns import Gain, Kind, NoGain, Outcome
from tests.examples import PAIR, TAPPED, chain, design

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]
B2, B1, D, K = (InRow(number) for number in range(4))
TOP, LOW = F(129, 100), F(227, 258)
AT_REST, DRIVEN, FLIGHT, BOTH = Position.REST, Position.DRIVEN, Position.FLIGHT, Position.BRIDGED


def stage(sequence: Sequence | None = None) -> Design:
    """KL puts the line on 200 turns or, driven, 258; KO the output on 227 or, driven, 258: both in the load's way."""
    return replace(design(TAPPED, PAIR, bands=BANDS), sequence=sequence or Sequence())


def flown(made: Design, start: Standing, end: Standing) -> Flown:
    table = control_table(made)
    return Flying(table, Mixtures(table.circuit)).of(move_between(table, start, end))


def on_nothing(outcome: Outcome) -> bool:
    return not isinstance(outcome, Gain)


def at(ratio: Fraction) -> Callable[[Outcome], bool]:
    return lambda outcome: isinstance(outcome, Gain) and outcome.ratio == ratio


def met(found: Flown) -> set[tuple[Position, ...]]:
    return {passage.mixture for passage in found.passages}


@pytest.mark.parametrize(("start", "end"), [(B2, K), (K, B2)])
def test_together_one_may_open_just_as_the_other_comes_to_rest(start: Standing, end: Standing) -> None:
    """One operates, one releases: each is off its throws for up to 15 ms, and either may be the first: 30 ms.

    All of the 3 x 3 mixtures less the two ends are met.
    """
    found = flown(stage(), start, end)
    assert found.open_ms(on_nothing) == 30
    assert len(found.passages) == 7
    assert found.examined


def test_what_one_makes_lasts_until_the_other_opens() -> None:
    """Touching at once is the most; then the old throw of a relay that lets go opens within 10 ms, else within 15.

    From b2 to k KL operates and KO lets go: direct is KL new and KO old, boost 1 KO new and KL old.
    """
    found = flown(stage(), B2, K)
    assert found.level_ms(at(F(1))) == 10
    assert found.level_ms(at(F(227, 200))) == 15
    assert flown(stage(), D, B1).level_ms(at(TOP)) == 10  # the surge while both let go: KL first, until KO does
    assert flown(stage(), B1, D).level_ms(at(TOP)) == 15  # the surge while both pull in: KO first, until KL does
    assert flown(stage(), D, REST).level_ms(at(TOP)) == 10


def test_in_sequence_flights_do_not_join_and_the_harm_of_the_other_order_is_not_met() -> None:
    """KO lets go 25 ms before KL does at the latest: no surge, one flight at a time, and the dip stands for 35 ms."""
    found = flown(stage(Sequence(order="safest")), D, B1)
    assert found.given.order == ("KO", "KL")
    assert found.open_ms(on_nothing) == 15
    assert found.level_ms(at(TOP)) == 0
    assert found.level_ms(at(LOW)) == 25 + 10
    # Of the movers KL, KO: KO in flight, KO new, KL in flight.
    assert met(found) == {(DRIVEN, FLIGHT), (DRIVEN, AT_REST), (FLIGHT, AT_REST)}


@pytest.mark.parametrize(("pause", "gap", "mixtures"), [(0, 25, 7), (24, 30, 5), (25, 15, 3), (26, 15, 3)])
def test_a_pause_counts_for_what_it_keeps_apart(pause: int, gap: int, mixtures: int) -> None:
    """KO flies until 25 ms at the latest, and KL opens at the pause at the earliest and 10 ms later at the latest.

    At once: the second opens 10 ms after the first at most, so 10 + 15 ms. At a pause of 24 ms KL can still open
    while KO flies, and even touch before it rests; that it is off its old throw before KO is off its own is not met.
    """
    order = SequenceMove(old="d", new="b1", order=("KO", "KL"))
    found = flown(stage(Sequence(pause_ms=F(pause), moves=(order,))), D, B1)
    assert found.open_ms(on_nothing) == gap
    assert found.level_ms(at(TOP)) == max(10 - pause, 0)
    assert len(met(found)) == mixtures


def test_bounce_is_open_for_a_gap_and_either_for_a_level() -> None:
    """KO alone, from b1 to b2: up to 10 ms off both throws, then up to 5 on nothing or on the new throw.

    A state before that is as bad goes on until the contact opens, 15 ms after the command at the latest; one after it
    begins with the first touch, at once at the earliest, and counts on from the latest rest after 30 ms.
    """
    found = flown(stage(), B1, B2)
    assert found.open_ms(on_nothing) == 15
    assert found.level_ms(on_nothing) == 15
    assert found.level_ms(at(TOP)) == 0  # only the wholly new is at it, and that is after the move
    assert found.level_ms(at(TOP), after_ms=F(100)) == 30 + 100
    assert found.level_ms(at(F(227, 200)), before_ms=F(100)) == 100 + 15


def test_a_relay_behind_a_resting_one_lengthens_nothing() -> None:
    """In the chain K1 at rest leaves K2 without a part: K2 alone moving there makes no difference at all.

    With K1 letting go, K2's flight counts only while K1 is still driven: from its opening at once to K1's own rest,
    10 + 15 ms, and K2 alone afterwards adds nothing; if K2 stays, it is K1's own 15 ms.
    """
    frame = design((), {}, bands=[("t2", ["K1", "K2"], 180, 200), ("t0", [], 195, 220),
                                  ("behind", ["K2"], 215, 240), ("t1", ["K1"], 235, 260)])  # fmt: skip
    made = replace(chain(2), bands=frame.bands)
    t2, t0, behind, t1 = (InRow(number) for number in range(4))
    idle = flown(made, t0, behind)
    assert idle.open_ms(on_nothing) == 0
    assert {one.ratio for one in idle.passages} == {F(1)}
    assert idle.level_ms(at(F(1)), before_ms=F(100), after_ms=F(50)) == 100 + 30 + 50
    assert flown(made, t2, behind).open_ms(on_nothing) == 15
    assert flown(made, t2, t0).open_ms(on_nothing) == 10 + 15
    assert flown(made, t1, behind).open_ms(on_nothing) == 10 + 15


def test_a_relay_that_flies_in_no_time_is_never_in_flight() -> None:
    def instant(relay: Relay) -> Relay:
        return replace(relay, transfer_ms=(F(0), F(0)), bounce_ms=(F(0), F(0)))

    made = stage()
    found = flown(replace(made, relays=tuple(instant(relay) for relay in made.relays)), B1, D)
    assert met(found) == {(AT_REST, DRIVEN), (DRIVEN, AT_REST)}
    assert found.open_ms(on_nothing) == 0
    assert found.level_ms(at(TOP)) == 15


def test_more_movers_than_are_gone_through_are_said_to_be_unexamined() -> None:
    names = [f"K{number}" for number in range(1, 9)]
    frame = design((), {}, bands=[("up", names, 180, 220), ("down", [], 215, 260), ("less", names[1:], 255, 280)])
    made = replace(chain(8), bands=frame.bands)
    assert not flown(made, InRow(0), InRow(1)).examined
    assert flown(made, InRow(1), InRow(2)).examined


def test_a_move_that_moves_nothing_is_a_moment() -> None:
    """Losing the coil supply in b1, which stands at rest: what was so before, and is so after, goes on."""
    found = flown(stage(), B1, REST)
    assert found.move.movers == ()
    assert found.level_ms(at(F(227, 200)), before_ms=F(100), after_ms=F(50)) == 150
    assert (found.open_ms(on_nothing), found.level_ms(on_nothing)) == (0, 0)


def test_a_move_is_worked_out_once() -> None:
    table = control_table(stage())
    flying = Flying(table, Mixtures(table.circuit))
    one = flying.of(move_between(table, B1, D))
    assert flying.of(move_between(table, B1, D)) is one
    assert flying.of(move_between(table, D, B1)) is not one
    assert [one.open_ms(on_nothing), one.open_ms(on_nothing), one.level_ms(on_nothing)] == [30, 30, 30]


def outcome_of(ratio: Fraction | None) -> Outcome:
    return NoGain(Kind.FLOATING, "open") if ratio is None else Gain(Kind.BOOST, ratio, None, None)


def test_passages_by_height_are_those_that_a_walk_over_all_of_them_finds() -> None:
    """Nothing without a ratio, below it what is reversed."""
    chance = Random(17)
    for _ in range(200):
        ratios = [chance.choice((None, *(F(n, 4) for n in range(-2, 6)))) for _ in range(chance.randrange(8))]
        found = PassageHeights.of([outcome_of(ratio) for ratio in ratios])
        heights = [F(0) if ratio is None else ratio for ratio in ratios]
        for at_height in (F(n, 8) for n in range(-6, 13)):
            assert found.at_least(at_height) == {n for n, height in enumerate(heights) if height >= at_height}
            assert found.at_most(at_height) == {n for n, height in enumerate(heights) if height <= at_height}
        assert list(found.rungs) == sorted(set(heights))


# Every timing on a grid, stepped by hand: nothing of the core is used but the table.

FINE = 7  # grid steps to a whole ms: a stay that is a limit, not reached, misses a whole ms by fewer steps
LINE = {AT_REST: F(200), DRIVEN: F(258)}
OUTPUT = {AT_REST: F(227), DRIVEN: F(258)}
Part = tuple[int, int]


def ratio_of(line: Position, output: Position) -> Fraction | None:
    """None where a common is on neither tap, or joins two and shorts what lies between."""
    return None if {FLIGHT, BOTH} & {line, output} else OUTPUT[output] / LINE[line]


Vectors = list[tuple[int, ...]]  # the stage of each relay: 0 old, 1 open, 2 bouncing, 3 new
Bad = Callable[[Fraction | None], bool]


class Timed:
    """A move of KL and KO with whole times: when each is commanded, and its spans of delay, transfer and bounce.

    Those in `first` make before they break: their spans are of delay, bounce and transfer.
    """

    def __init__(
        self,
        ends: list[tuple[Position, Position]],
        spans: list[tuple[int, list[Part]]],
        first: tuple[bool, bool] = (False, False),
    ) -> None:
        self.ends = ends
        self.first = first
        self.spans = spans
        self.settled = max(at + sum(high for _, high in parts) for at, parts in spans)
        self.courses = [self._course(events) for events in self._timings()]

    def _timings(self) -> Iterator[tuple[tuple[int, int, int], ...]]:
        """When each relay opens, touches and rests, on the grid."""
        each = []
        for commanded, parts in self.spans:
            ranges = [range(low * FINE, high * FINE + 1) for low, high in parts]
            begin = commanded * FINE
            each.append([(begin + one, begin + one + two, begin + one + two + three)
                         for one, two, three in product(*ranges)])  # fmt: skip
        return product(*each)

    @staticmethod
    def _course(events: tuple[tuple[int, int, int], ...]) -> list[tuple[int, Vectors, tuple[int, ...]]]:
        """Each instant at which something happens, all vectors that are touched then, and the one from then on.

        Two relays that change at one instant do so in any order. What a relay runs through in no time is not counted.
        """
        found = []
        for when in sorted({at for one in events for at in one}):
            before = tuple(sum(at < when for at in one) for one in events)
            after = tuple(sum(at <= when for at in one) for one in events)
            found.append((when, list(product(*zip(before, after, strict=True))), after))
        return found

    def longest(self, bad: Bad, before: int, after: int, *, level: bool) -> int:
        """The longest stay, in whole ms, what is not reached rounded up."""
        judged = {vector: self._judged(vector, bad, level=level) for vector in product(range(4), repeat=2)}
        judged[0, 0], judged[3, 3] = before > 0, after > 0
        most, end = 0, (self.settled + after) * FINE
        for course in self.courses:
            since = -before * FINE if before else None  # since when it is bad, None while it is not
            for when, touched, then in course:
                if since is not None:
                    most = max(most, when - since)
                if since is None or not all(judged[vector] for vector in touched):
                    since = when
                if not judged[then]:
                    since = None
            if since is not None:
                most = max(most, end - since)
        return -(-most // FINE)

    def _judged(self, vector: tuple[int, ...], bad: Bad, *, level: bool) -> bool:
        """What bounces is bad when it is so on either of what it may be on."""
        options = [
            {0: [old], 1: [old, BOTH] if level else [old], 2: [BOTH], 3: [new]}[one]
            if first
            else {0: [old], 1: [FLIGHT], 2: [FLIGHT, new] if level else [FLIGHT], 3: [new]}[one]
            for one, (old, new), first in zip(vector, self.ends, self.first, strict=True)
        ]
        return any(bad(ratio_of(*mixture)) for mixture in product(*options))


def drawn_times(chance: Random, bounce: int) -> list[dict[str, Part]]:
    """Times of two relays in whole ms, up to three of those spans longer than an instant."""
    names = ("operate", "release", "transfer", "bounce")
    lows = {"operate": (0, 1, 2), "release": (0, 1), "transfer": (0, 1, 2), "bounce": range(bounce + 1)}
    loose = chance.sample([(relay, name) for relay in (0, 1) for name in names], 3)
    found: list[dict[str, Part]] = [{}, {}]
    for relay, name in product((0, 1), names):
        low = chance.choice(lows[name])
        found[relay][name] = (low, low + (chance.choice((1, 1, 2)) if (relay, name) in loose else 0))
    return found


def spans_of(times: dict[str, Part], *, driven: bool, first: bool = False) -> list[Part]:
    after = ("bounce", "transfer") if first else ("transfer", "bounce")
    return [times["operate" if driven else "release"], *(times[name] for name in after)]


def with_times(relay: Relay, times: dict[str, Part]) -> Relay:
    return replace(relay, **{f"{name}_ms": (F(low), F(high)) for name, (low, high) in times.items()})


POSITIONS = {B2: (AT_REST, DRIVEN), B1: (AT_REST, AT_REST), D: (DRIVEN, DRIVEN), K: (DRIVEN, AT_REST)}
DOUBLE = [(B2, K, True, False), (K, B2, False, True), (B1, D, True, True), (D, B1, False, False)]


def making_first(relay: Relay) -> Relay:
    return replace(relay, contact="make-before-break")


NEITHER, LINE_FIRST, BOTH_FIRST = (False, False), (True, False), (True, True)


@pytest.mark.parametrize(
    ("bounce", "first"), [(0, NEITHER), (1, NEITHER), (0, LINE_FIRST), (1, LINE_FIRST), (1, BOTH_FIRST)]
)
def test_no_timing_on_a_grid_stays_longer_and_one_stays_so_long(bounce: int, first: tuple[bool, bool]) -> None:
    """Two relays together, or one after the other with any pause; gaps and levels; what stands before and after.

    `bounce` is the most that a bounce may take at the least; those in `first` make before they break.
    """
    chance = Random(51)
    compared = longer = 0
    for _ in range(30):
        start, end, line_driven, output_driven = chance.choice(DOUBLE)
        times = drawn_times(chance, bounce)
        made = stage()
        pause = chance.choice((None, 0, 1, 2, 3))
        commanded = [0, 0]
        if pause is not None:
            names = ("KL", "KO") if chance.random() < 0.5 else ("KO", "KL")
            bands = control_table(made).rows
            order = SequenceMove(old=bands[start.number].name, new=bands[end.number].name, order=names)
            made = replace(made, sequence=Sequence(pause_ms=F(pause), moves=(order,)))
            commanded[0 if names[0] == "KO" else 1] = pause
        timed_relays = (with_times(*one) for one in zip(made.relays, times, strict=True))
        relays = (making_first(relay) if one else relay for relay, one in zip(timed_relays, first, strict=True))
        made = replace(made, relays=tuple(relays))
        found = flown(made, start, end)
        ends = list(zip(POSITIONS[start], POSITIONS[end], strict=True))
        parts = [
            spans_of(times[0], driven=line_driven, first=first[0]),
            spans_of(times[1], driven=output_driven, first=first[1]),
        ]
        timed = Timed(ends, list(zip(commanded, parts, strict=True)), first)
        assert found.given.settled_ms == timed.settled
        assert found.open_ms(on_nothing) == timed.longest(lambda ratio: ratio is None, 0, 0, level=False)
        bounds = sorted({ratio for ratio in map(ratio_of, *zip(*product(LINE, OUTPUT), strict=True)) if ratio})
        for bound in bounds:
            for sign in (1, -1):

                def beyond(ratio: Fraction | None, bound: Fraction = bound, sign: int = sign) -> bool:
                    return ratio is not None and (ratio - bound) * sign >= 0

                before, after = (5 * beyond(ratio_of(*POSITIONS[one])) for one in (start, end))
                lasts = found.level_ms(
                    lambda outcome: isinstance(outcome, Gain) and beyond(outcome.ratio), F(before), F(after)
                )
                assert lasts == timed.longest(beyond, before, after, level=True)
                compared, longer = compared + 1, longer + (lasts > before + after)
    assert compared == 30 * 8
    assert longer > (0 if first == BOTH_FIRST else 100)


def test_what_makes_before_it_breaks_opens_nothing_and_shorts_what_lies_between_its_throws() -> None:
    """KO from b1 to b2, 31 turns apart: it touches within 15 ms, bounces for 5, and has both closed for 10 more.

    The turns are shorted for all of that at the longest, 15 ms; the old state goes on until the new throw is closed
    for good, 15 + 5 ms after the command, and the new one begins when the old throw opens, at once at the earliest.
    """
    made = stage()
    first = replace(made, relays=(made.relays[0], making_first(made.relays[1])))
    found = flown(first, B1, B2)
    assert met(found) == {(BOTH,)}
    assert found.open_ms(lambda outcome: outcome.kind in (Kind.FLOATING, Kind.UNFED)) == 0
    assert found.level_ms(lambda outcome: outcome.kind is Kind.SHORTED) == 15
    assert found.level_ms(at(F(227, 200)), before_ms=F(100)) == 100 + 20
    assert found.level_ms(at(TOP), after_ms=F(100)) == 30 + 100
    assert found.given.settled_ms == 30


def test_what_makes_before_it_breaks_in_no_time_is_as_what_breaks_first_in_no_time() -> None:
    """No transfer and no bounce: one instant, whichever way round."""

    def instant(relay: Relay) -> Relay:
        return replace(relay, transfer_ms=(F(0), F(0)), bounce_ms=(F(0), F(0)))

    made = stage()
    breaking = replace(made, relays=tuple(instant(relay) for relay in made.relays))
    making = replace(made, relays=tuple(making_first(instant(relay)) for relay in made.relays))
    for start, end, *_ in DOUBLE:
        one, other = flown(breaking, start, end), flown(making, start, end)
        assert met(one) == met(other)
        for level in (TOP, LOW, F(1), F(227, 200)):
            assert one.level_ms(at(level)) == other.level_ms(at(level))
