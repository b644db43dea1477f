"""All 2**R relay states at once: the exact union of `turns`, carried out on arrays with numpy.

The relays are taken in the order of the file. Each doubles the number of columns, one column a partial
state: its NC contacts are closed in the even columns, its NO contacts in the odd ones. A point is dropped
once no later relay touches it, so the arrays stay as narrow as the wiring allows, and early joins are done
once for all states that share them. Whole numbers throughout: int32, int64, or Python's own where the turns
are too large for either.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapplan.network.circuit import Circuit, Contact
from tapplan.network.spaces import LoopSpace, Vector, extended
from tapplan.network.turns import USABLE, Gain, Kind, Outcome, TerminalTurns, classify, potentials

KINDS: tuple[Kind, ...] = tuple(Kind)
_CHUNK = 1 << 14  # columns worked on at a time: the arrays of one chunk stay in the processor's cache
_NO_SPACE, _WHOLE = 0, 1

Whole = NDArray[Any]


@dataclass(slots=True)
class _Columns:
    """Partial states side by side: `part` is (points, columns), `height` (cores, points, columns)."""

    points: list[int]
    part: NDArray[np.uint16]
    height: Whole
    space: NDArray[np.int32]

    def piece(self, start: int, stop: int) -> _Columns:
        cut = slice(start, stop)
        return _Columns(self.points, self.part[:, cut].copy(), self.height[:, :, cut].copy(), self.space[cut].copy())


@dataclass(frozen=True, slots=True)
class KindsAndRatios:
    """For every state the number of its kind in `KINDS`, and its ratio as numerator and denominator.

    The ratio is reduced, its denominator positive; 0/0 stands where the state has none.
    """

    kinds: NDArray[np.uint8]
    above: Whole
    below: Whole


@dataclass(frozen=True, slots=True)
class Alike:
    """The states of one kind and ratio: how many, and the numbers of some, those with the fewest relays driven."""

    kind: Kind
    ratio: Fraction | None
    count: int
    numbers: list[int]


@dataclass(frozen=True, slots=True)
class FallingRatios:
    """Usable states by falling ratio, those of one ratio by number; `starts` is where each ratio begins, and the end.

    Of every ratio there are the states with the fewest relays driven, up to some of them.
    """

    numbers: NDArray[np.int64]
    starts: NDArray[np.int64]

    def __len__(self) -> int:
        """How many ratios there are."""
        return len(self.starts) - 1

    def of(self, place: int) -> list[int]:
        """The numbers of the states of one ratio; 0 is the highest."""
        found: list[int] = self.numbers[self.starts[place] : self.starts[place + 1]].tolist()
        return found


@dataclass(frozen=True, slots=True)
class _Sorted:
    """The numbers of all states in some order, and where in it those that are alike begin, and the end."""

    order: NDArray[np.int64]
    starts: NDArray[np.int64]


class Solved:
    """The answers for all states, in counting order.

    `line` and `output` are the turn vectors from neutral, (cores, states), in units of `Circuit.turn_unit`;
    they mean something only where `line_joined` and `output_joined` say so.
    """

    def __init__(self, circuit: Circuit, columns: list[_Columns], spaces: list[LoopSpace]) -> None:
        self._circuit = circuit
        self._spaces = spaces
        self._known: dict[tuple[object, ...], Outcome] = {}
        row = {point: number for number, point in enumerate(columns[0].points)}
        neutral, line, output = row[circuit.neutral], row[circuit.line], row[circuit.output]
        self.line = np.concatenate([c.height[:, line] - c.height[:, neutral] for c in columns], axis=1)
        self.output = np.concatenate([c.height[:, output] - c.height[:, neutral] for c in columns], axis=1)
        self.line_joined = np.concatenate([c.part[line] == c.part[neutral] for c in columns])
        self.output_joined = np.concatenate([c.part[output] == c.part[neutral] for c in columns])
        self.space = np.concatenate([c.space for c in columns])
        self.straight = np.zeros(len(self.space), dtype=bool)

    def __len__(self) -> int:
        return len(self.space)

    def outcome(self, number: int) -> Outcome:
        """The outcome of one state, by the same classification as the one-state solver."""
        line: Vector | None = None
        output: Vector | None = None
        if self.line_joined[number]:
            line = tuple(int(turns) for turns in self.line[:, number])
        if self.output_joined[number]:
            output = tuple(int(turns) for turns in self.output[:, number])
        space, straight = int(self.space[number]), bool(self.straight[number])
        signature = (space, line, output, straight)
        if signature not in self._known:
            self._known[signature] = classify(
                self._circuit.turn_unit, self._spaces[space], TerminalTurns(line, output, straight)
            )
        return self._known[signature]

    def kinds_and_ratios(self) -> KindsAndRatios:
        """The kind and the ratio of every state."""
        if len(self._circuit.cores) == 1:
            return self._one_core()
        kinds = np.zeros(len(self), dtype=np.uint8)
        above = np.zeros(len(self), dtype=object)
        below = np.zeros(len(self), dtype=object)
        for number in range(len(self)):
            found = self.outcome(number)
            kinds[number] = KINDS.index(found.kind)
            if isinstance(found, Gain):
                above[number], below[number] = found.ratio.numerator, found.ratio.denominator
        return KindsAndRatios(kinds, above, below)

    def leanest(self, most: int = 8) -> list[int]:
        """For every ratio there is, the states with the fewest relays driven, up to `most` of them, in order."""
        found: list[int] = self._leanest(self.kinds_and_ratios(), most).tolist()
        return found

    def falling(self, most: int = 8) -> FallingRatios:
        """The same of the ratios that a band may use, by falling ratio."""
        each = self.kinds_and_ratios()
        lean = self._leanest(each, most)
        numbers = lean[np.isin(each.kinds[lean], [KINDS.index(kind) for kind in USABLE])]
        above, below = each.above[numbers], each.below[numbers]
        order = _by_falling_ratio(above, below)
        above, below = above[order], below[order]
        changes = np.flatnonzero((above[1:] != above[:-1]) | (below[1:] != below[:-1])) + 1
        starts = np.concatenate([[0], changes, [len(order)]]) if len(order) else np.zeros(1, dtype=np.int64)
        return FallingRatios(numbers[order], starts)

    def _alike(self, each: KindsAndRatios) -> _Sorted:
        """The states by kind, then by ratio, then by relays driven, then by number."""
        driven = np.bitwise_count(np.arange(len(self)))
        keys = (each.kinds, each.above, each.below)
        order = np.lexsort((driven, *keys[::-1]))
        changes = np.zeros(len(self), dtype=bool)
        changes[0] = True
        for column in keys:
            changes[1:] |= column[order[1:]] != column[order[:-1]]
        return _Sorted(order, np.append(np.flatnonzero(changes), len(self)))

    def _leanest(self, each: KindsAndRatios, most: int) -> NDArray[np.int64]:
        alike = self._alike(each)
        first = np.repeat(alike.starts[:-1], np.diff(alike.starts))
        driven = np.bitwise_count(alike.order)
        lean = (np.arange(len(self)) - first < most) & (driven == driven[first]) & (each.below[alike.order] != 0)
        return np.sort(alike.order[lean])

    def census(self, most: int, lone: Collection[Kind] = KINDS) -> list[Alike]:
        """The states by kind and ratio, up to `most` numbers of each; what stands alone only of the kinds `lone`."""
        each = self.kinds_and_ratios()
        alike = self._alike(each)
        sorted_keys = [column[alike.order] for column in (each.kinds, each.above, each.below)]
        starts, stops = alike.starts[:-1], alike.starts[1:]
        told = (stops - starts > 1) | np.isin(sorted_keys[0][starts], [KINDS.index(kind) for kind in lone])
        found = []
        for start, stop in zip(starts[told].tolist(), stops[told].tolist(), strict=True):
            kind, top, bottom = (column[start] for column in sorted_keys)
            ratio = Fraction(int(top), int(bottom)) if bottom else None
            examples = alike.order[start : min(stop, start + most)].tolist()
            found.append(Alike(KINDS[kind], ratio, stop - start, examples))
        return found

    def _one_core(self) -> KindsAndRatios:
        line, output = self.line[0], self.output[0]
        shorted = (self.space != _NO_SPACE) | (self.line_joined & (line == 0))
        fed, joined = self.line_joined, self.output_joined
        sign = np.where(line < 0, -1, 1)
        up, down = output * sign, line * sign
        tests = [
            (shorted, Kind.SHORTED),
            (~fed & self.straight, Kind.BYPASS),
            (~fed, Kind.UNFED),
            (~joined, Kind.FLOATING),
            (up == 0, Kind.DEAD),
            (up < 0, Kind.REVERSED),
            (up > down, Kind.BOOST),
            (up < down, Kind.BUCK),
        ]
        kinds = np.select(
            [test for test, _ in tests],
            [np.uint8(KINDS.index(kind)) for _, kind in tests],
            default=np.uint8(KINDS.index(Kind.DIRECT)),
        ).astype(np.uint8)
        without = shorted | ~fed | ~joined
        divisor = np.where(without, 1, np.gcd(up, down))
        above, below = np.where(without, 0, up // divisor), np.where(without, 0, down // divisor)
        bypass = kinds == KINDS.index(Kind.BYPASS)
        above[bypass] = below[bypass] = 1
        return KindsAndRatios(kinds, above, below)


def _by_falling_ratio(above: Whole, below: Whole) -> NDArray[np.int64]:
    """The places of some reduced ratios by falling ratio, equal ones as they stand; exact.

    A quotient of whole numbers that a float holds is rounded the same way whatever else there is, so that floats sort
    all but what they cannot tell apart.
    """
    if above.dtype != object and max(above.max(initial=0), below.max(initial=0)) < 2**53:
        quotients = above / below
        order = np.argsort(-quotients, kind="stable")
        level = quotients[order[1:]] == quotients[order[:-1]]
        same = (above[order[1:]] == above[order[:-1]]) & (below[order[1:]] == below[order[:-1]])
        if not (level & ~same).any():
            return order
    exact = [Fraction(int(high), int(low)) for high, low in zip(above, below, strict=True)]
    return np.array(sorted(range(len(exact)), key=lambda place: -exact[place]), dtype=np.int64)


def solve_all(circuit: Circuit) -> Solved:
    """Every relay state of the circuit. Memory grows as 2**R: some 25 bytes a state, plus one chunk."""
    whole: LoopSpace = ((Fraction(1),),)
    spaces: list[LoopSpace] = [(), whole] if len(circuit.cores) == 1 else [()]
    solved = Solved(circuit, _swept(circuit, _start(circuit, spaces, windings=True), spaces), spaces)
    if not solved.line_joined.all():
        columns = _swept(circuit, _start(circuit, [()], windings=False), [()])
        row = {point: number for number, point in enumerate(columns[0].points)}
        line, output = row[circuit.line], row[circuit.output]
        solved.straight = np.concatenate([c.part[line] == c.part[output] for c in columns])
        solved.straight &= ~solved.line_joined
    return solved


def _start(circuit: Circuit, spaces: list[LoopSpace], *, windings: bool) -> _Columns:
    """The single column in which no contact is decided yet."""
    joined = potentials(circuit, frozenset(), windings=windings)
    points = list(range(len(circuit.points)))
    largest = 2 * sum(section.turns for section in circuit.sections)
    dtype = np.int32 if largest < 2**31 else np.int64 if largest < 2**63 else object
    height = np.array(joined.height, dtype=dtype).T.reshape(len(circuit.cores), len(points), 1)
    part = np.array(joined.part, dtype=np.uint16).reshape(len(points), 1)
    if joined.loops not in spaces:
        spaces.append(joined.loops)
    return _Columns(points, part, height, np.array([spaces.index(joined.loops)], dtype=np.int32))


def _swept(circuit: Circuit, columns: _Columns, spaces: list[LoopSpace]) -> list[_Columns]:
    """The columns of all states, in chunks, each carried from the first relay to the last."""
    finished: list[_Columns] = []
    waiting = [(0, columns)]
    while waiting:
        relay, now = waiting.pop()
        if relay == len(circuit.relays):
            finished.append(now)
        elif len(now.space) >= _CHUNK:
            half = len(now.space) // 2
            waiting.append((relay, now.piece(half, 2 * half)))
            waiting.append((relay, now.piece(0, half)))
        else:
            waiting.append((relay + 1, _doubled(circuit, now, relay, spaces)))
    return finished


def _doubled(circuit: Circuit, now: _Columns, relay: int, spaces: list[LoopSpace]) -> _Columns:
    """The columns with one relay more decided, its points dropped where nothing later touches them."""
    columns = _Columns(
        now.points,
        np.repeat(now.part, 2, axis=1),
        np.repeat(now.height, 2, axis=2),
        np.repeat(now.space, 2),
    )
    for contact in circuit.contacts:
        if contact.relay == relay:
            _join(columns, contact, spaces)
    needed = circuit.kept_points.union(
        *({contact.com, contact.end} for contact in circuit.contacts if contact.relay > relay)
    )
    kept = [row for row, point in enumerate(columns.points) if point in needed]
    return _Columns(
        [columns.points[row] for row in kept],
        np.ascontiguousarray(columns.part[kept]),
        np.ascontiguousarray(columns.height[:, kept]),
        columns.space,
    )


def _join(columns: _Columns, contact: Contact, spaces: list[LoopSpace]) -> None:
    """Closes one contact in the columns of its throw, in place."""
    cut = slice(int(contact.throw == "no"), None, 2)
    part, height = columns.part[:, cut], columns.height[:, :, cut]
    low, high = columns.points.index(contact.com), columns.points.index(contact.end)
    kept, moved = part[low].copy(), part[high].copy()
    step = height[:, low] - height[:, high]
    same = kept == moved
    if same.any():
        _note_loops(columns.space[cut], same, step, spaces)
        step = np.where(same, 0, step)
    moving = part == moved
    np.copyto(part, kept, where=moving)
    height += moving * step[:, np.newaxis, :]


def _note_loops(space: NDArray[np.int32], same: NDArray[np.bool_], step: Whole, spaces: list[LoopSpace]) -> None:
    """Extends the loop space of the columns in which a contact closes a loop that does not cancel."""
    closing = same & (step != 0).any(axis=0)
    if not closing.any():
        return
    if len(step) == 1:
        space[closing] = _WHOLE
        return
    known: dict[tuple[int, ...], int] = {}
    for column in np.flatnonzero(closing):
        vector = tuple(int(turns) for turns in step[:, column])
        key = (int(space[column]), *vector)
        if key not in known:
            grown = extended(spaces[key[0]], vector)
            if grown not in spaces:
                spaces.append(grown)
            known[key] = spaces.index(grown)
        space[column] = known[key]
