"""The coil as it is wound: sections in order on the former, layer by layer, turn by turn, and how far it builds up.

A layer takes as many whole turns as go between the margins. A section that goes on from the finish of the one wound
before it, in the same wire, goes on in the same layer; any other begins a new layer, at the start flange. Layers run
to and fro. Leads are taken to leave outside the window.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, pi
from typing import Literal

from tapplan.design.conductor import Turn, turn_of
from tapplan.design.limb import LimbSides, limb_of
from tapplan.design.model import Core, Design, Former, Winding

Flange = Literal["start", "far"]
OTHER: dict[Flange, Flange] = {"start": "far", "far": "start"}


@dataclass(frozen=True, slots=True)
class CoilLayer:
    """One layer: the flange where it begins, and the turns it can hold.

    `before_mm` is the insulation laid before it, `middle_mm` how far its middle is from the former, `turn_mm` how
    long a turn of it is.
    """

    number: int
    begins: Flange
    holds: int
    tall_mm: Fraction
    before_mm: Fraction
    middle_mm: Fraction
    turn_mm: float


@dataclass(frozen=True, slots=True)
class Run:
    """Turns of one section in one layer, `before` turns from where the layer begins."""

    section: str
    layer: CoilLayer
    before: Fraction
    turns: Fraction


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on the coil: the layer, the turns that are on it up to there, and the flange it is nearer to."""

    layer: int
    turns: Fraction
    side: Flange


@dataclass(frozen=True, slots=True)
class Placed:
    """A section on the coil, with its runs in order; `goes_on`: in the layer of the one before it."""

    section: str
    turn: Turn
    goes_on: bool
    runs: tuple[Run, ...]

    @property
    def turns(self) -> Fraction:
        """All its turns."""
        return sum((run.turns for run in self.runs), Fraction(0))

    @property
    def length_mm(self) -> float:
        """The length of all its turns, leads not counted."""
        return sum(float(run.turns) * run.layer.turn_mm for run in self.runs)

    @property
    def start(self) -> Spot:
        """Where it begins."""
        return _spot(self.runs[0].layer, self.runs[0].before)

    @property
    def finish(self) -> Spot:
        """Where it ends."""
        last = self.runs[-1]
        return _spot(last.layer, last.before + last.turns)


def _spot(layer: CoilLayer, turns: Fraction) -> Spot:
    return Spot(layer.number, turns, layer.begins if 2 * turns <= layer.holds else OTHER[layer.begins])


@dataclass(frozen=True, slots=True)
class Coil:
    """The whole coil, the first layer next to the former; `former` and `limb` are what it lies on and in."""

    limb: LimbSides
    former: Former
    layers: tuple[CoilLayer, ...]
    placed: tuple[Placed, ...]

    @property
    def wound_mm(self) -> Fraction:
        """What layers and insulation add up to, outward from the former."""
        last = self.layers[-1]
        return last.middle_mm + last.tall_mm / 2 + self.former.interlayer_mm

    @property
    def flat_mm(self) -> Fraction:
        """How far it would stand out from the limb if its layers lay flat."""
        return self.former.base + self.wound_mm

    @property
    def build_mm(self) -> Fraction:
        """How far it stands out, its bulge counted: it must go into the width of the window."""
        return bulged_mm(self.former, self.wound_mm)

    @property
    def traverse_mm(self) -> Fraction:
        """What a layer has along the limb."""
        return traverse_mm(self.limb, self.former)

    def of(self, section: str) -> Placed | None:
        """Where a section lies; None where it is not on this coil."""
        return next((one for one in self.placed if one.section == section), None)


@dataclass(frozen=True, slots=True)
class TooWide:
    """A section of which not one turn goes between the margins, and what there is along the limb."""

    section: str
    wide_mm: Fraction
    traverse_mm: Fraction


@dataclass(frozen=True, slots=True)
class TooDeep:
    """Turns that take far more layers than any window has room for; how far they would stand out, flat and not."""

    layers: int
    flat_mm: Fraction
    build_mm: Fraction
    width_mm: Fraction


NotLaid = TooWide | TooDeep
MOST_LAYERS = 1000  # more are not laid one by one: no window has them


def bulged_mm(former: Former, wound_mm: Fraction) -> Fraction:
    """How far layers that add up to so much stand out from the limb, base and bulge counted."""
    return former.base + wound_mm * (1 + former.bulge_pct / 100)


def traverse_mm(limb: LimbSides, former: Former) -> Fraction:
    """What a layer has along the limb: the window's height less flanges and margins."""
    return limb.window.high_mm - 2 * (former.flange_mm + former.margin_mm)


def turn_mm(limb: LimbSides, former: Former, middle_mm: Fraction) -> float:
    """The length of a turn: round the former's sides, with corners as quarter circles of the layer's distance."""
    straight = 2 * (limb.leg_mm + limb.stack_mm) + 8 * former.base
    return float(straight) + 2 * pi * float(middle_mm)


def coil_of(design: Design) -> Coil | NotLaid | None:
    """The coil of the described core; None where former, window, or the wire of some section is not known."""
    core, former = design.core, design.former
    limb = None if core is None else limb_of(core)
    if core is None or former is None or limb is None:
        return None
    wound = _in_order(design, core, former)
    turns = [turn_of(one, design.copper) for one in wound]
    if not wound or None in turns:
        return None
    return _wound(limb, former, wound, [one for one in turns if one is not None])


def _in_order(design: Design, core: Core, former: Former) -> list[Winding]:
    own = [one for one in design.windings if one.core == core.name]
    return sorted(own, key=lambda one: former.order.index(one.name)) if former.order else own


def _wound(limb: LimbSides, former: Former, windings: list[Winding], turns: list[Turn]) -> Coil | NotLaid:
    """Section after section onto the former."""
    room = traverse_mm(limb, former)
    deep = _too_deep(limb, former, windings, turns)
    if deep is not None:
        return deep
    heights = joined_heights(windings)
    layers, placed = list[CoilLayer](), list[Placed]()
    for number, (winding, turn) in enumerate(zip(windings, turns, strict=True)):
        if turn.wide_mm > room:
            return TooWide(winding.name, turn.wide_mm, room)
        before = windings[number - 1] if number else None
        goes_on = before is not None and before.ends[1] == winding.ends[0] and alike(before, winding)
        joined = before is None or heights[before.ends[0]].winding == heights[winding.ends[0]].winding
        extra = Fraction(0) if joined else former.between_mm
        runs = tuple(_runs(_Winder(limb, former, layers, turn), winding, placed[-1] if goes_on else None, extra))
        placed.append(Placed(winding.name, turn, goes_on, runs))
    return Coil(limb, former, tuple(layers), tuple(placed))


def _too_deep(limb: LimbSides, former: Former, windings: list[Winding], turns: list[Turn]) -> TooDeep | None:
    """Where there are too many layers to lay: how far they would stand out, without laying them."""
    room = traverse_mm(limb, former)
    fitting = [(winding, turn) for winding, turn in zip(windings, turns, strict=True) if turn.wide_mm <= room]
    layers = [ceil(winding.turns / (room // turn.wide_mm)) for winding, turn in fitting]
    if sum(layers) <= MOST_LAYERS:
        return None
    each = (count * (turn.tall_mm + former.interlayer_mm) for count, (_, turn) in zip(layers, fitting, strict=True))
    wound = sum(each, Fraction(0))
    return TooDeep(sum(layers), former.base + wound, bulged_mm(former, wound), limb.window.wide_mm)


def alike(one: Winding, other: Winding) -> bool:
    """Whether two sections are wound of the same wire."""
    kinds = [(each.wire_mm, each.strands or 1, each.strip_mm, each.covering_mm) for each in (one, other)]
    return kinds[0] == kinds[1]


@dataclass(frozen=True, slots=True)
class _Winder:
    """The layers so far, to which more are added, and the room of a turn."""

    limb: LimbSides
    former: Former
    layers: list[CoilLayer]
    turn: Turn

    def new_layer(self, begins: Flange, extra: Fraction) -> CoilLayer:
        """The next layer, over insulation: that over the layer below, and `extra`."""
        tall, below = self.turn.tall_mm, self.layers[-1] if self.layers else None
        before = extra if below is None else self.former.interlayer_mm + extra
        inner = before if below is None else below.middle_mm + below.tall_mm / 2 + before
        middle = inner + tall / 2
        holds = int(traverse_mm(self.limb, self.former) // self.turn.wide_mm)
        length = turn_mm(self.limb, self.former, middle)
        made = CoilLayer(len(self.layers) + 1, begins, holds, tall, before, middle, length)
        self.layers.append(made)
        return made


def _runs(winder: _Winder, winding: Winding, after: Placed | None, extra: Fraction) -> Iterator[Run]:
    """The turns of one section, layer by layer; `after`: the section in whose last layer it goes on."""
    left = winding.turns
    if after is None:
        layer, used = winder.new_layer("start", extra), Fraction(0)
    else:
        last = after.runs[-1]
        layer, used = last.layer, last.before + last.turns
    while left:
        if used >= layer.holds:
            layer, used = winder.new_layer(OTHER[layer.begins], Fraction(0)), Fraction(0)
        turns = min(left, layer.holds - used)
        yield Run(winding.name, layer, used, turns)
        used, left = used + turns, left - turns


@dataclass(frozen=True, slots=True)
class PointHeight:
    """Where a point stands: turns above the lowest point of the winding it belongs to, which `winding` numbers."""

    winding: int
    turns: Fraction


def joined_heights(windings: Sequence[Winding]) -> dict[str, PointHeight]:
    """Every point of these sections; those that turns join belong to one winding."""
    found = dict[str, PointHeight]()
    number = 0
    for first in windings:
        if first.ends[0] in found:
            continue
        reached, waiting = {first.ends[0]: Fraction(0)}, [first.ends[0]]
        while waiting:
            point = waiting.pop()
            for one in windings:
                for end, other, rise in ((*one.ends, one.turns), (*one.ends[::-1], -one.turns)):
                    if end == point and other not in reached:
                        reached[other] = reached[point] + rise
                        waiting.append(other)
        lowest = min(reached.values())
        found |= {point: PointHeight(number, turns - lowest) for point, turns in reached.items()}
        number += 1
    return found
