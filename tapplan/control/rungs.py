"""The states that bands are chosen from, by falling ratio; those that serve alike are one rung.

Where the ratio alone says what a state serves, and all states are solved in bulk, a rung is made when it is looked
at: of a million ratios some hundreds are. What all of them serve is then told by the few that cover the same inputs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise

from tapplan.control.drop import Loaded, drops
from tapplan.control.serving import Served, all_served, served_under
from tapplan.control.thresholds import least_read
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import State, energised_of, solved_in_bulk

Rung = tuple[Served, ...]  # states that serve alike and differ only in their relays


@dataclass(frozen=True, slots=True)
class Rungs:
    """So many rungs by falling ratio, and each by its place.

    `rising`: what a rung serves begins and ends above what the one before it serves, and it asks for readings no
    lower, so that the last that passes can be found by halving.
    """

    count: int
    at: Callable[[int], Rung]
    rising: bool

    def __len__(self) -> int:
        return self.count

    def __getitem__(self, place: int) -> Rung:
        return self.at(place)

    def __iter__(self) -> Iterator[Rung]:
        return map(self.at, range(self.count))

    def last(self, passes: Callable[[Served], bool], after: int = -1) -> int | None:
        """The place of the last rung beyond one that passes, None where none does.

        Where rungs are rising, `passes` is a question to which the lower ones say yes and the higher ones no.
        """
        if not self.rising:
            return next((place for place in range(self.count - 1, after, -1) if passes(self.at(place)[0])), None)
        found, failing = after, self.count
        while failing - found > 1:
            middle = (found + failing) // 2
            found, failing = (middle, failing) if passes(self.at(middle)[0]) else (found, middle)
        return None if found == after else found

    def last_from(self, volt: Fraction, after: int = -1) -> int | None:
        """The place of the last rung beyond one that serves from this input, or from below it."""
        return self.last(lambda one: start(one) <= volt, after)


@dataclass(frozen=True, slots=True)
class Candidates:
    """The rungs to choose bands from, and usable states that serve together what all of them serve."""

    rungs: Rungs
    serving: tuple[Served, ...]


def candidates(design: Design, circuit: Circuit) -> Candidates:
    """What the states of a design offer.

    Raises:
        UsageError: there are too many of them to look at each.
    """
    if solved_in_bulk(circuit) and not drops(design, circuit):
        steps = _by_ratio(design, circuit)
        return Candidates(steps, tuple(_covering(steps)))
    serving = tuple(all_served(design, circuit))
    return Candidates(rungs(one for one in serving if one.sensed is not None), serving)


def rungs(served: Iterable[Served]) -> Rungs:
    """The states by falling ratio, those that serve alike together; without those that serve nothing."""
    alike: dict[tuple[Fraction, Fraction, Span | None], list[Served]] = {}
    for one in served:
        if one.serves is not None:
            alike.setdefault((one.ratio, one.full, one.read), []).append(one)
    falling = sorted(alike, key=lambda key: (-key[0], -key[1], key[2].high if key[2] else 0))
    each = [tuple(alike[key]) for key in falling]
    return Rungs(len(each), each.__getitem__, all(_rises(one[0], other[0]) for one, other in pairwise(each)))


def start(one: Served) -> Fraction:
    """The lowest input that a state serves; 0 of one that serves none."""
    return one.serves.low if one.serves else Fraction(0)


def reach(one: Served) -> Fraction:
    """The highest input that a state serves; 0 of one that serves none."""
    return one.serves.high if one.serves else Fraction(0)


def _rises(below: Served, above: Served) -> bool:
    low, high = least_read(below), least_read(above)
    return (
        start(below) < start(above)
        and reach(below) < reach(above)
        and below.lowest_keep / low <= above.lowest_keep / high
        and below.half_noise / low <= above.half_noise / high
    )


def _by_ratio(design: Design, circuit: Circuit) -> Rungs:
    """The rungs of states of which the ratio says everything: they rise as it falls."""
    from tapplan.network.bulk import solve_all  # numpy, only where it pays

    solved = solve_all(circuit)
    falling = solved.falling()

    def states(place: int) -> Iterator[State]:
        return (State(energised_of(circuit, one), solved.outcome(one)) for one in falling.of(place))

    @cache
    def rung(place: int) -> Rung:
        found = (served_under(design, circuit, state, Loaded(state.ratio)) for state in states(place))
        return tuple(one for one in found if one is not None)

    return Rungs(len(falling), rung, rising=True)


def _covering(steps: Rungs) -> Iterator[Served]:
    """States that serve together what all serve, of each stretch without a gap the first and the last among them."""
    place = 0
    while place < len(steps):
        here = steps[place][0]
        yield here
        onward = steps.last_from(reach(here), place)
        place = place + 1 if onward is None else onward
