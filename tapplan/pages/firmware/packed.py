"""The compiled controller as arrays of C: in the smallest whole numbers that hold them, and a sum over their bytes.

Moves are strings of steps in one pool, a step being a mask, the ms after it and the band that the move ends in; a
move ends with the mask of its band, so that moves with the same end share it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from tapplan.control.program import Passing, Program
from tapplan.control.standing import AWAY
from tapplan.errors import UsageError

MOST_MS = 2**32 - 1


@dataclass(frozen=True, slots=True)
class CArray:
    """One array of unsigned whole numbers, so many bits each."""

    name: str
    values: tuple[int, ...]
    bits: int

    @property
    def size(self) -> int:
        """Bytes of the whole array."""
        return len(self.values) * self.bits // 8

    def content(self, place: int) -> bytes:
        """The bytes of one number, the lowest first, whatever the machine."""
        return self.values[place].to_bytes(self.bits // 8, "little")


@dataclass(frozen=True, slots=True)
class WholeTimes:
    """The least times of the controller in whole ms, each rounded up."""

    confirm_up: int
    confirm_down: int
    return_after: int


@dataclass(frozen=True, slots=True)
class Packed:
    """All arrays of a program.

    `begin`: where the cuts of each standing begin; `cut`: readings at which an answer begins; `entry`, one more than
    cuts in every standing: the first step on the way to the standing that follows, or any of its own where it stays;
    `retreat`: the first step to away from each row, and last from rest; `coils`: the mask of each standing; `stay`:
    the cut at which the readings that keep it end; `mask`, `wait` and `end`: the steps.
    """

    begin: CArray
    cut: CArray
    entry: CArray
    retreat: CArray
    coils: CArray
    stay: CArray
    mask: CArray
    wait: CArray
    end: CArray
    times: WholeTimes

    @property
    def groups(self) -> tuple[tuple[CArray, ...], ...]:
        """Every array, those of one length that belong together side by side."""
        standings, steps = (self.retreat, self.coils, self.stay), (self.mask, self.wait, self.end)
        return ((self.begin,), (self.cut,), (self.entry,), standings, steps)

    @property
    def arrays(self) -> tuple[CArray, ...]:
        """Every array, in the order in which they are summed."""
        return tuple(one for group in self.groups for one in group)

    @property
    def size(self) -> int:
        """Bytes of all arrays."""
        return sum(one.size for one in self.arrays)

    @property
    def check(self) -> int:
        """The sum that the firmware compares: group by group, number by number."""
        numbers = (
            one.content(place) for group in self.groups for place in range(len(group[0].values)) for one in group
        )
        return crc_16(b"".join(numbers))

    @property
    def place_bits(self) -> int:
        """Bits that hold the place of every answer, and of one beyond the last."""
        return bits_of([len(self.entry.values)])

    @property
    def step_bits(self) -> int:
        """Bits that hold the place of every step, and of one beyond the last."""
        return bits_of([len(self.mask.values)])

    @property
    def time_bits(self) -> int:
        """Bits that hold every wait."""
        times = self.times
        return max(16, bits_of([*self.wait.values, times.confirm_up, times.confirm_down, times.return_after]))


def crc_16(content: bytes) -> int:
    """The cyclic sum of 16 bits with the polynomial x^16 + x^12 + x^5 + 1 (ITU-T V.41), begun with all ones.

    It finds every change within 16 bits that follow one another.
    """
    found = 0xFFFF
    for byte in content:
        found ^= byte << 8
        for _ in range(8):
            found = (found << 1 ^ (0x1021 if found & 0x8000 else 0)) & 0xFFFF
    return found


def bits_of(values: Iterable[int]) -> int:
    """8, 16 or 32: the fewest bits that hold these whole numbers, none of them below nought."""
    most = max(values, default=0)
    return next(bits for bits in (8, 16, 32) if most < 2**bits)


def packed(made: Program) -> Packed:
    """The arrays of a program.

    Raises:
        UsageError: a time is longer than 32 bits of milliseconds.
    """
    pool = _Pool(made)
    entries = [
        pool.entry(_steps(made.step(standing, answer), made.number(answer)))
        if answer != standing
        else pool.own(made.number(standing))
        for standing, node in zip(made.standings, made.nodes, strict=True)
        for answer in node.answers
    ]
    retreats = [pool.entry(_steps(one, made.number(AWAY))) for one in made.retreats]
    lengths = [len(node.firsts) for node in made.nodes]
    begins = [sum(lengths[:number]) for number in range(len(lengths) + 1)]
    mask_bits = bits_of([2 ** len(made.table.circuit.relays) - 1])
    return Packed(
        _smallest("begin", begins),
        _smallest("cut", [first for node in made.nodes for first in node.firsts] or [0]),
        _smallest("entry", entries),
        _smallest("retreat", retreats),
        CArray("coils", made.coils, mask_bits),
        _smallest("stay", [begin + kept for begin, kept in zip(begins, _kept(made), strict=False)]),
        CArray("mask", tuple(one.mask for one in pool.steps), mask_bits),
        _smallest("wait", [one.wait for one in pool.steps]),
        _smallest("end", [one.end for one in pool.steps]),
        _times(made),
    )


def _kept(made: Program) -> list[int]:
    """How many cuts lie below the readings that keep a standing; of being away, the half: there a search begins."""
    rows = [node.answers.index(one) for one, node in zip(made.standings[:-1], made.nodes[:-1], strict=True)]
    return [*rows, len(made.nodes[-1].firsts) // 2]


def _smallest(name: str, values: Sequence[int]) -> CArray:
    return CArray(name, tuple(values), bits_of(values))


def whole_ms(given: Fraction) -> int:
    """A time in whole ms, rounded up: a wait is never shorter than it is stated.

    Raises:
        UsageError: it does not fit into 32 bits.
    """
    found = ceil(given)
    if found > MOST_MS:
        raise UsageError(f"found a time of {found} ms; accepted: up to {MOST_MS}, which 32 bits hold")
    return found


def _times(made: Program) -> WholeTimes:
    sensing, backup = made.table.design.sensing, made.table.design.backup
    return WholeTimes(
        whole_ms(sensing.confirmation_ms(upward=True)),
        whole_ms(sensing.confirmation_ms(upward=False)),
        whole_ms(Fraction(0) if backup is None else backup.return_after_ms),
    )


@dataclass(frozen=True, slots=True)
class CoilStep:
    """Coils to set, the ms until the next step, or until readings count, and the node that the move ends in."""

    mask: int
    wait: int
    end: int


class _Pool:
    """Every step once for all moves that go on alike from there; and at least one that ends in each standing."""

    def __init__(self, made: Program) -> None:
        self.steps: list[CoilStep] = []
        moves = [_steps(one, made.number(change.end)) for change, one in made.passings.items()]
        moves += [_steps(one, made.number(AWAY)) for one in made.retreats]
        for steps in sorted(moves, key=len, reverse=True):
            self._keep(steps)
        for end in set(range(len(made.coils))) - {one.end for one in self.steps}:
            self._keep([CoilStep(made.coils[end], 0, end)])

    def _keep(self, wanted: list[CoilStep]) -> None:
        if self._place(wanted) is None:
            self.steps += wanted

    def _place(self, wanted: list[CoilStep]) -> int | None:
        ends = range(len(self.steps) - len(wanted) + 1)
        return next((at for at in ends if self.steps[at : at + len(wanted)] == wanted), None)

    def entry(self, wanted: list[CoilStep]) -> int:
        """The place of the first step of a move."""
        found = self._place(wanted)
        if found is None:
            raise ValueError("a move was not kept")
        return found

    def own(self, end: int) -> int:
        """The place of a step that ends in a standing."""
        return next(place for place, one in enumerate(self.steps) if one.end == end)


def _steps(passing: Passing, end: int) -> list[CoilStep]:
    return [CoilStep(mask, whole_ms(wait), end) for mask, wait in zip(passing.masks, passing.waits_ms, strict=True)]
