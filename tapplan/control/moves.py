"""Relay flight: every move the controller can make, and every mixture of positions its relays can pass through.

A changeover opens before it closes, or closes before it opens, and relays commanded together move in an order nobody
guarantees. So for each relay that moves, old position, in flight (on neither throw, or on both), and new position can
meet in any combination with the others'.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, permutations

from tapplan.control.decisions import Decisions
from tapplan.control.standing import AWAY, REST, Change, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, Position
from tapplan.network.grouped import blocks
from tapplan.network.turns import Gain, Kind, Outcome, outcome

CHANGING = (Position.FLIGHT, Position.BRIDGED)  # on neither throw, or on both
MOST_MOVERS = 7  # 3**7 mixtures; beyond that a move is named as not examined
MOST_MIXTURES = 60_000  # of all moves together; with more, moves of fewer relays are named as not examined


@dataclass(frozen=True, slots=True)
class Move:
    """A change of relays: between bands, at switch-on, to or from backup, or when the coil supply dies.

    `movers` are the relays that move, in the order of the file. `inputs` are the true inputs of the mains range at
    which it can happen; None when there are none. `loaded` says whether the load hangs on the stage meanwhile.
    """

    name: str
    start: Standing
    end: Standing
    old: frozenset[str]
    new: frozenset[str]
    movers: tuple[str, ...]
    inputs: Span | None
    loaded: bool = True

    @property
    def chosen(self) -> bool:
        """Whether the controller commands it; else the coils drop out by themselves, in an order nobody chooses."""
        return self.end is not REST


@dataclass(frozen=True, slots=True)
class Passage:
    """Mixtures that are one circuit, met during a move: where the movers stand that matter, and what the stage does.

    `count` mixtures, for the movers that make no difference may be in any position.
    """

    movers: tuple[str, ...]
    mixture: tuple[Position, ...]
    outcome: Outcome
    count: int = 1

    @property
    def positions(self) -> dict[str, Position]:
        """The position of each mover."""
        return dict(zip(self.movers, self.mixture, strict=True))

    @property
    def ratio(self) -> Fraction | None:
        """Output over input, or None."""
        return self.outcome.ratio if isinstance(self.outcome, Gain) else None

    @property
    def flying(self) -> tuple[str, ...]:
        """The relays in flight."""
        return tuple(relay for relay, position in self.positions.items() if position in CHANGING)


def moves(made: Decisions) -> list[Move]:
    """Every move the controller can make by itself, and the loss of the coil supply from every band.

    Leaving all bands is one of them only where there is a backup: elsewhere nothing is promised, and nothing judged.
    """
    promised = made.table.design.backup is not None
    commanded = (
        move_between(made.table, one.start, one.end) for one in transitions(made) if promised or one.end is not AWAY
    )
    dropped = (move_between(made.table, InRow(number), REST) for number in range(len(made.table.rows)))
    return [move for move in (*commanded, *dropped) if move.movers]


def most_movers(every: Iterable[Move]) -> int:
    """How many relays a move of a table may have at most for its mixtures to be gone through.

    `MOST_MOVERS`, or as many fewer as keep the mixtures of all such moves together within `MOST_MIXTURES`.
    """
    counts = Counter(len(move.movers) for move in every)
    within = accumulate(counts[movers] * 3**movers for movers in range(1, MOST_MOVERS + 1))
    return sum(1 for mixtures in within if mixtures <= MOST_MIXTURES)


def transitions(made: Decisions) -> Iterator[Change]:
    """Every change of standing that some reading brings about."""
    for node in made.nodes:
        for answer in dict.fromkeys(node.answers):
            if answer != node.standing:
                yield Change(node.standing, answer)


def energised_in(table: ControlTable, standing: Standing) -> frozenset[str]:
    """The relays driven in a standing."""
    if isinstance(standing, InRow):
        return frozenset(table.rows[standing.number].energised)
    return frozenset(table.away.state.energised if standing is AWAY else ())


def move_between(table: ControlTable, start: Standing, end: Standing) -> Move:
    """The move from one standing to another; its movers may be none. To `REST`: the coil supply is lost."""
    old, new = energised_in(table, start), energised_in(table, end)
    movers = tuple(relay for relay in table.circuit.relays if relay in old ^ new)
    row = end if isinstance(end, InRow) else start
    real = table.rows[row.number].real_hold(table.blur) if isinstance(row, InRow) else None
    inputs = None if real is None else real.meet(table.design.mains.span)
    loaded = table.design.backup is None or AWAY not in (start, end)
    return Move(_name(table, start, end), start, end, old, new, movers, inputs, loaded)


def _name(table: ControlTable, start: Standing, end: Standing) -> str:
    first, last = (f'"{table.rows[one.number].name}"' if isinstance(one, InRow) else "backup" for one in (start, end))
    if end is REST:
        return f"coil supply lost in {first}"
    if start is AWAY and table.design.backup is None:
        return f"start into {last}"
    return f"{first} to {last}"


class Mixtures:
    """What a circuit does in the mixtures of relay positions met during moves, each solved once for all moves."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._marks = {
            (relay, position): sum(
                1 << number
                for number, contact in enumerate(circuit.contacts)
                if circuit.relays[contact.relay] == relay and contact.throw in position.value
            )
            for relay in circuit.relays
            for position in Position
        }
        self._solved: dict[int, Outcome] = {}  # by the closed contacts, one bit each
        self._met: dict[tuple[frozenset[str], frozenset[str]], tuple[Passage, ...]] = {}

    def passages(self, move: Move) -> tuple[Passage, ...]:
        """Every mixture of old, in flight and new, those that are one circuit together.

        Left out are the wholly old and the wholly new, where every mover matters.
        """
        key = (move.old, move.new)
        if key not in self._met:
            self._met[key] = tuple(self._every(move))
        return self._met[key]

    def _every(self, move: Move) -> Iterator[Passage]:
        numbers = {relay: number for number, relay in enumerate(self._circuit.relays)}
        options = {
            number: (_settled(relay, move.old), self._circuit.between(number), _settled(relay, move.new))
            if relay in move.movers
            else (_settled(relay, move.old),)
            for relay, number in numbers.items()
        }
        for decided in blocks(self._circuit, options):
            movers = tuple(relay for relay in move.movers if numbers[relay] in decided)
            mixture = tuple(decided[numbers[relay]] for relay in movers)
            ends = [tuple(_settled(relay, driven) for relay in movers) for driven in (move.old, move.new)]
            free = len(move.movers) - len(movers)
            if free or mixture not in ends:
                closed = self._circuit.closed(decided)
                outcome = self._outcome(sum(1 << number for number in closed))
                yield Passage(movers, mixture, outcome, 3**free - ends.count(mixture))

    def between(self, relay: str) -> Position:
        """Where a relay stands while it changes over."""
        return self._circuit.between(self._circuit.relays.index(relay))

    def passage(self, move: Move, mixture: tuple[Position, ...]) -> Passage:
        """One mixture, a position for each mover; the other relays stand as before the move."""
        moving = sum(self._marks[placed] for placed in zip(move.movers, mixture, strict=True))
        return Passage(move.movers, mixture, self._outcome(self._still(move) + moving))

    def _still(self, move: Move) -> int:
        still = frozenset(self._circuit.relays) - frozenset(move.movers)
        return sum(self._marks[relay, _settled(relay, move.old)] for relay in still)

    def ratio(self, driven: frozenset[str]) -> Fraction | None:
        """The ratio of a settled state, or None."""
        found = self._outcome(sum(self._marks[relay, _settled(relay, driven)] for relay in self._circuit.relays))
        return found.ratio if isinstance(found, Gain) else None

    def _outcome(self, bits: int) -> Outcome:
        if bits not in self._solved:
            contacts = (number for number in range(len(self._circuit.contacts)) if bits >> number & 1)
            self._solved[bits] = outcome(self._circuit, frozenset(contacts))
        return self._solved[bits]


def _settled(relay: str, driven: frozenset[str]) -> Position:
    return Position.DRIVEN if relay in driven else Position.REST


@dataclass(frozen=True, slots=True)
class Order:
    """The movers one after the other, each settled before the next, and what is met on the way."""

    relays: tuple[str, ...]
    settled: tuple[Passage, ...]
    flights: tuple[Passage, ...]

    @property
    def shorts(self) -> bool:
        """Whether the order passes through shorted turns."""
        return any(one.outcome.kind is Kind.SHORTED for one in (*self.settled, *self.flights))

    @property
    def ratios(self) -> list[Fraction]:
        """The ratios met in between, settled or in flight."""
        return [one.ratio for one in (*self.settled, *self.flights) if one.ratio is not None]


def orders(mixtures: Mixtures, move: Move) -> Iterator[Order]:
    """Every order of moving one relay after the other."""
    for sequence in permutations(move.movers):
        yield order_of(mixtures, move, sequence)


def order_of(mixtures: Mixtures, move: Move, sequence: tuple[str, ...]) -> Order:
    """One order of moving one relay after the other."""
    settled, flights = [], []
    for step, relay in enumerate(sequence):
        placed = {name: _settled(name, move.new if name in sequence[:step] else move.old) for name in move.movers}
        flying = {**placed, relay: mixtures.between(relay)}
        flights.append(mixtures.passage(move, tuple(flying[name] for name in move.movers)))
        if step:
            settled.append(mixtures.passage(move, tuple(placed[name] for name in move.movers)))
    return Order(sequence, tuple(settled), tuple(flights))


def safest_order(mixtures: Mixtures, move: Move) -> Order:
    """The order that shorts nothing, then rises least above both ends' ratios, then dips least below them.

    A tie goes to the order of the file. An end without a ratio does not count; without either, only shorts do. Each
    of the three is a bottleneck on the way through the sets of relays already moved, and is settled before the next:
    work grows with n 2^n, not with n!.
    """
    ways = _Ways(mixtures, move)
    ways.keep_least(lambda harm: harm.shorts)
    ways.keep_least(lambda harm: harm.above)
    ways.keep_least(lambda harm: harm.below)
    return order_of(mixtures, move, ways.first())


def order_to_choose(mixtures: Mixtures, move: Move) -> Order | None:
    """The safest order; None where there is none to choose: fewer than two relays, or coils that drop out."""
    return safest_order(mixtures, move) if move.chosen and len(move.movers) > 1 else None


@dataclass(frozen=True, slots=True)
class Harm:
    """What is met on the way: whether it shorts, how far it rises above both ends' ratios, how far it dips below."""

    shorts: int = 0
    above: Fraction = Fraction(0)
    below: Fraction = Fraction(0)

    def worst(self, other: Harm) -> Harm:
        """The worse of the two in each respect."""
        return Harm(max(self.shorts, other.shorts), max(self.above, other.above), max(self.below, other.below))


class _Ways:
    """The steps from each set of relays moved (a bit each, in the order of the file) by one more, with their harm."""

    def __init__(self, mixtures: Mixtures, move: Move) -> None:
        self._movers, self._mixtures, self._move = move.movers, mixtures, move
        self._ends = [one for one in (mixtures.ratio(move.old), mixtures.ratio(move.new)) if one is not None]
        self._last = (1 << len(move.movers)) - 1
        settled = {moved: self._met(moved, None) for moved in range(1, self._last)}
        self._steps: dict[tuple[int, int], Harm] = {}
        for moved in range(self._last):
            for number in range(len(move.movers)):
                if not moved >> number & 1:
                    flight, after = self._met(moved, number), settled.get(moved | 1 << number, Harm())
                    self._steps[moved, number] = flight.worst(after)

    def _met(self, moved: int, in_flight: int | None) -> Harm:
        mixture = tuple(
            self._mixtures.between(relay)
            if number == in_flight
            else _settled(relay, self._move.new if moved >> number & 1 else self._move.old)
            for number, relay in enumerate(self._movers)
        )
        found = self._mixtures.passage(self._move, mixture)
        ratio, none = found.ratio, Fraction(0)
        above = ratio - max(self._ends) if ratio is not None and self._ends else none
        below = min(self._ends) - ratio if ratio is not None and self._ends else none
        return Harm(int(found.outcome.kind is Kind.SHORTED), max(above, none), max(below, none))

    def keep_least(self, respect: Callable[[Harm], int | Fraction]) -> None:
        """Leaves only the steps that a way with the least of a measure can take."""
        least: dict[int, int | Fraction] = {0: 0}
        for moved in range(self._last):
            if moved in least:
                for number in range(len(self._movers)):
                    if (step := self._steps.get((moved, number))) is not None:
                        worst = max(least[moved], respect(step))
                        after = moved | 1 << number
                        least[after] = min(least.get(after, worst), worst)
        self._steps = {key: step for key, step in self._steps.items() if respect(step) <= least[self._last]}

    def first(self) -> tuple[str, ...]:
        """Of the ways left, the first in the order of the file."""
        leads = {self._last}
        for moved in range(self._last - 1, -1, -1):
            if any((moved, n) in self._steps and moved | 1 << n in leads for n in range(len(self._movers))):
                leads.add(moved)
        moved, order = 0, []
        while moved != self._last:
            number = next(
                n for n in range(len(self._movers)) if (moved, n) in self._steps and moved | 1 << n in leads
            )
            order.append(self._movers[number])
            moved |= 1 << number
        return tuple(order)
