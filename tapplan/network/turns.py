"""The exact solver: turn potentials by weighted union, and what a set of closed contacts does.

On one core every turn carries the same voltage, so a point's potential is its signed turns from neutral, the
ratio is one division of two whole numbers, and a closed loop whose turns do not cancel is a short. With
several cores a potential is a vector, one entry a core, and the loops tie the cores' volts per turn together.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.spaces import Direction, LoopSpace, Vector, extended, holds, multiple


class Kind(StrEnum):
    """What a relay state does, in the order in which the kinds are tested."""

    SHORTED = "shorted"
    BYPASS = "bypass"
    UNFED = "unfed"
    UNDETERMINED = "undetermined"
    FLOATING = "floating"
    DEAD = "dead"
    REVERSED = "reversed"
    BOOST = "boost"
    BUCK = "buck"
    DIRECT = "direct"


USABLE = frozenset({Kind.BOOST, Kind.BUCK, Kind.DIRECT, Kind.BYPASS})


@dataclass(frozen=True, slots=True)
class Gain:
    """A state with a ratio output/input. Turns are None where no winding or no single core fixes them."""

    kind: Kind
    ratio: Fraction
    turns_out: Fraction | None
    turns_in: Fraction | None


@dataclass(frozen=True, slots=True)
class NoGain:
    """A state without a ratio, and in `reason` what makes it so."""

    kind: Kind
    reason: str


Outcome = Gain | NoGain


@dataclass(frozen=True, slots=True)
class Potentials:
    """The points of one circuit joined by windings and closed contacts.

    `part[p]` names the connected part point p is in; `height[p]` is its turn vector from that part's root, in
    units of `Circuit.turn_unit`. `loops` is the space of all closed loops.
    """

    part: tuple[int, ...]
    height: tuple[Vector, ...]
    loops: LoopSpace

    def between(self, low: int, high: int) -> Vector | None:
        """Turns from one point up to another, or None when nothing joins them."""
        if self.part[low] != self.part[high]:
            return None
        return tuple(a - b for a, b in zip(self.height[high], self.height[low], strict=True))


@dataclass(frozen=True, slots=True)
class TerminalTurns:
    """The turns from neutral to line and to output, None where they are not joined.

    `straight` says that contacts alone join line and output; it matters only when the line is not joined to neutral.
    """

    line: Vector | None
    output: Vector | None
    straight: bool


def potentials(circuit: Circuit, closed: Closed, *, windings: bool = True) -> Potentials:
    """The turn potential of every point with these contacts closed; contacts alone when not `windings`.

    Time is near linear in windings and contacts (union by relabelling the smaller part).
    """
    count = len(circuit.points)
    zero: Vector = (0,) * len(circuit.cores)
    part = list(range(count))
    height = [zero] * count
    members = [[point] for point in range(count)]
    loops: LoopSpace = ()
    joints = [(contact.com, contact.end, zero) for contact in (circuit.contacts[n] for n in sorted(closed))]
    if windings:
        joints += [
            (section.start, section.finish, _along(section.turns, section.core, zero)) for section in circuit.sections
        ]
    for low, high, rise in joints:
        step = tuple(a + b - c for a, b, c in zip(height[low], rise, height[high], strict=True))
        if part[low] == part[high]:
            if any(step):
                loops = extended(loops, step)
            continue
        kept, moved = part[low], part[high]
        if len(members[kept]) < len(members[moved]):
            kept, moved = moved, kept
            step = tuple(-entry for entry in step)
        for point in members[moved]:
            part[point] = kept
            height[point] = tuple(a + b for a, b in zip(height[point], step, strict=True))
        members[kept] += members[moved]
        members[moved] = []
    return Potentials(tuple(part), tuple(height), loops)


def _along(turns: int, core: int, zero: Vector) -> Vector:
    return (*zero[:core], turns, *zero[core + 1 :])


def outcome(circuit: Circuit, closed: Closed) -> Outcome:
    """What the stage does with these contacts closed."""
    joined = potentials(circuit, closed)
    line = joined.between(circuit.neutral, circuit.line)
    output = joined.between(circuit.neutral, circuit.output)
    straight = line is None and _straight(circuit, closed)
    return classify(circuit.turn_unit, joined.loops, TerminalTurns(line, output, straight))


def _straight(circuit: Circuit, closed: Closed) -> bool:
    contacts = potentials(circuit, closed, windings=False)
    return contacts.part[circuit.line] == contacts.part[circuit.output]


def classify(unit: Fraction, loops: LoopSpace, turns: TerminalTurns) -> Outcome:
    """The outcome from the loop space and the terminals' turns. The kinds are tested in the order of `Kind`."""
    line, output = turns.line, turns.output
    if any(_single_core(row) for row in loops):
        return NoGain(Kind.SHORTED, "closed contacts bridge turns of one core")
    if line is not None and holds(loops, line):
        return NoGain(Kind.SHORTED, "closed contacts tie line to neutral")
    if line is None:
        if turns.straight:
            return Gain(Kind.BYPASS, Fraction(1), None, None)
        return NoGain(Kind.UNFED, "no closed circuit from line through turns to neutral")
    if not _fixed(loops, line, output):
        return NoGain(Kind.UNDETERMINED, "the loops do not fix the volts per turn of every core in the path")
    if output is None:
        return NoGain(Kind.FLOATING, "the output is joined to nothing that is fed")
    ratio = multiple(loops, output, line)
    assert ratio is not None  # noqa: S101 - _fixed has just established it
    turns_in = _turns_in(unit, loops, line)
    return Gain(_kind(ratio), ratio, None if turns_in is None else turns_in * ratio, turns_in)


def shorts_turns(joined: Potentials) -> bool:
    """Whether closed contacts bridge turns of one core."""
    return any(_single_core(row) for row in joined.loops)


def _single_core(direction: Direction) -> bool:
    """Whether a reduced loop row forces one core to zero volts per turn.

    Reduced rows suffice: a direction along one core alone is always a row of the reduced form itself.
    """
    return sum(1 for entry in direction if entry) == 1


def _fixed(loops: LoopSpace, line: Vector, output: Vector | None) -> bool:
    """Whether line voltage and loops fix the output, or, with no output joined, every core they touch."""
    if output is not None:
        return multiple(loops, output, line) is not None
    cores = len(line)
    return all(multiple(loops, _axis(core, cores), line) is not None for core in _touched_cores(loops, line))


def _touched_cores(loops: LoopSpace, line: Vector) -> list[int]:
    """The cores that take part in the line's circuit or in a loop; the same whichever path is measured."""
    rows = extended(loops, line)
    return [core for core in range(len(line)) if any(row[core] for row in rows)]


def _axis(core: int, cores: int) -> Vector:
    return tuple(int(number == core) for number in range(cores))


def _turns_in(unit: Fraction, loops: LoopSpace, line: Vector) -> Fraction | None:
    """Line turns on the first core whose volts per turn are fixed: line volts over those volts per turn."""
    for core in _touched_cores(loops, line):
        per_turn = multiple(loops, _axis(core, len(line)), line)
        if per_turn:
            return unit / per_turn
    return None


def _kind(ratio: Fraction) -> Kind:
    if ratio <= 0:
        return Kind.REVERSED if ratio else Kind.DEAD
    if ratio == 1:
        return Kind.DIRECT
    return Kind.BOOST if ratio > 1 else Kind.BUCK


def sensed_ratio(circuit: Circuit, closed: Closed, found: Outcome) -> Fraction | None:
    """Reading over input volts at the pair of points sensed, or None when the state does not fix it."""
    if circuit.sensed is None:
        raise ValueError("this circuit senses its input or its output, not a pair of points")
    if found.kind is Kind.SHORTED:
        return None
    joined = potentials(circuit, closed)
    high, low = circuit.sensed.points
    line = joined.between(circuit.neutral, circuit.line)
    if line is not None:
        reading = joined.between(low, high)
        return None if reading is None else multiple(joined.loops, reading, line)
    levels = [_level(circuit, joined, point) for point in (high, low)]
    return None if levels[0] is None or levels[1] is None else levels[0] - levels[1]


def _level(circuit: Circuit, joined: Potentials, point: int) -> Fraction | None:
    """Volts over line volts of a point that contacts tie to neutral or to a line that feeds no turns."""
    for end, level in ((circuit.neutral, Fraction(0)), (circuit.line, Fraction(1))):
        turns = joined.between(end, point)
        if turns is not None and holds(joined.loops, turns):
            return level
    return None
