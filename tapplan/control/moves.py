"""Relay flight: every move the controller can make, and every mixture of positions its relays can pass through.

A changeover opens before it closes, and relays commanded together move in an order nobody guarantees. So for
each relay that moves, old position, in flight, and new position can meet in any combination with the others'.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations, product

from tapplan.control.lookup import inputs_of_interest, moves_to, starts
from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, Position
from tapplan.network.turns import Gain, Kind, Outcome, outcome

MOST_MOVERS = 7  # 3**7 mixtures; beyond that a move is named as not examined


@dataclass(frozen=True, slots=True)
class Move:
    """A change of relays, between bands, at switch-on, to or from backup, or when the coil supply dies.

    `inputs` are the true inputs of the mains range at which it can happen; None when there are none. `loaded`
    says whether the load hangs on the stage meanwhile.
    """

    name: str
    old: frozenset[str]
    new: frozenset[str]
    inputs: Span | None
    loaded: bool = True
    chosen: bool = True  # False: the coils drop out by themselves, in an order nobody can choose

    @property
    def movers(self) -> tuple[str, ...]:
        """The relays that move, in alphabetical order."""
        return tuple(sorted(self.old ^ self.new))


@dataclass(frozen=True, slots=True)
class Passage:
    """One mixture met during a move, a position for each of its movers, and what the stage does in it."""

    movers: tuple[str, ...]
    mixture: tuple[Position, ...]
    outcome: Outcome

    @property
    def positions(self) -> tuple[tuple[str, Position], ...]:
        """The movers, each with its position."""
        return tuple(zip(self.movers, self.mixture, strict=True))

    @property
    def ratio(self) -> Fraction | None:
        """Output over input, or None."""
        return self.outcome.ratio if isinstance(self.outcome, Gain) else None

    @property
    def flying(self) -> tuple[str, ...]:
        """The relays in flight."""
        pairs = zip(self.movers, self.mixture, strict=True)
        return tuple(relay for relay, position in pairs if position is Position.FLIGHT)

    def told(self) -> str:
        """The mixture in words."""
        words = {Position.REST: "at rest", Position.DRIVEN: "driven", Position.FLIGHT: "in flight"}
        return ", ".join(f"{relay} {words[position]}" for relay, position in self.positions)


def moves(table: ControlTable) -> list[Move]:
    """Every move the controller can make by itself, and the loss of the coil supply from every band."""
    found: dict[tuple[str, frozenset[str], frozenset[str]], Move] = {}
    for move in (*_between_bands(table), *_starts(table), *_backup(table), *_dropouts(table)):
        if move.movers:
            found.setdefault((move.name, move.old, move.new), move)
    return list(found.values())


def _inputs(table: ControlTable, row: Row) -> Span | None:
    real = row.real_hold(table.error)
    return None if real is None else real.meet(table.design.mains.span)


def _between_bands(table: ControlTable) -> Iterator[Move]:
    for here in range(len(table.rows)):
        for volt in inputs_of_interest(table):
            before = here
            for number in moves_to(table, here, volt):
                old, new = table.rows[before], table.rows[number]
                name = f'"{old.name}" to "{new.name}"'
                yield Move(name, frozenset(old.energised), frozenset(new.energised), _inputs(table, new))
                before = number


def _starts(table: ControlTable) -> Iterator[Move]:
    for volt in inputs_of_interest(table):
        for row in starts(table, (volt, 0)):
            yield Move(f'start into "{row.name}"', frozenset(), frozenset(row.energised), _inputs(table, row))


def _backup(table: ControlTable) -> Iterator[Move]:
    if table.design.backup is None:
        return
    away = frozenset(table.design.backup.energised)
    for row in table.rows:
        driven = frozenset(row.energised)
        yield Move(f'"{row.name}" to backup', driven, away, _inputs(table, row), loaded=False)
        yield Move(f'backup to "{row.name}"', away, driven, _inputs(table, row), loaded=False)


def _dropouts(table: ControlTable) -> Iterator[Move]:
    for row in table.rows:
        name = f'coil supply lost in "{row.name}"'
        yield Move(name, frozenset(row.energised), frozenset(), _inputs(table, row), chosen=False)


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
            for position in (Position.REST, Position.FLIGHT, Position.DRIVEN)
        }
        self._solved: dict[int, Outcome] = {}  # by the closed contacts, one bit each
        self._met: dict[tuple[frozenset[str], frozenset[str]], tuple[Passage, ...]] = {}

    def passages(self, move: Move) -> tuple[Passage, ...]:
        """Every mixture of old, in flight and new that is neither wholly old nor wholly new."""
        key = (move.old, move.new)
        if key not in self._met:
            self._met[key] = tuple(self._every(move))
        return self._met[key]

    def _every(self, move: Move) -> Iterator[Passage]:
        ends = [(_settled(relay, move.old), _settled(relay, move.new)) for relay in move.movers]
        options = [
            [(position, self._marks[relay, position]) for position in (old, Position.FLIGHT, new)]
            for relay, (old, new) in zip(move.movers, ends, strict=True)
        ]
        whole = {tuple(old for old, _ in ends), tuple(new for _, new in ends)}
        still = self._still(move)
        for chosen in product(*options):
            mixture = tuple(position for position, _ in chosen)
            if mixture not in whole:
                yield Passage(move.movers, mixture, self._outcome(still + sum(marks for _, marks in chosen)))

    def passage(self, move: Move, mixture: tuple[Position, ...]) -> Passage:
        """One mixture, a position for each mover; the other relays stand as before the move."""
        moving = sum(self._marks[placed] for placed in zip(move.movers, mixture, strict=True))
        return Passage(move.movers, mixture, self._outcome(self._still(move) + moving))

    def _still(self, move: Move) -> int:
        still = frozenset(self._circuit.relays) - frozenset(move.movers)
        return sum(self._marks[relay, _settled(relay, move.old)] for relay in still)

    def _outcome(self, closed: int) -> Outcome:
        if closed not in self._solved:
            contacts = (number for number in range(len(self._circuit.contacts)) if closed >> number & 1)
            self._solved[closed] = outcome(self._circuit, frozenset(contacts))
        return self._solved[closed]


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
        settled, flights = [], []
        for step, relay in enumerate(sequence):
            placed = {name: _settled(name, move.new if name in sequence[:step] else move.old) for name in move.movers}
            flying = {**placed, relay: Position.FLIGHT}
            flights.append(mixtures.passage(move, tuple(flying[name] for name in move.movers)))
            if step:
                settled.append(mixtures.passage(move, tuple(placed[name] for name in move.movers)))
        yield Order(sequence, tuple(settled), tuple(flights))


def safest_order(mixtures: Mixtures, move: Move, ends: tuple[Fraction, Fraction]) -> Order:
    """The order that shorts nothing, then rises least above both ends' ratios, then dips least below them."""
    low, high = min(ends), max(ends)

    def harm(order: Order) -> tuple[bool, Fraction, Fraction]:
        above = max([ratio - high for ratio in order.ratios if ratio > high], default=Fraction(0))
        below = max([low - ratio for ratio in order.ratios if ratio < low], default=Fraction(0))
        return order.shorts, above, below

    return min(orders(mixtures, move), key=harm)
