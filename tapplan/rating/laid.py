"""What the winder needs of a coil: leads by turn, layer and flange, volts between layers, wire to get, and proofs.

Heights are turns above an end of what is joined by turns; two layers of one such winding stand at most the whole
stretch of their heights apart, times the volts on a turn. For layers wound to and fro that is twice the turns of a
layer times the volts on a turn, as handbooks have it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import pi
from typing import Literal

from tapplan.design.coil import Coil, CoilLayer, Placed, PointHeight, Run, Spot, joined_heights
from tapplan.design.conductor import Conductor
from tapplan.design.materials import COPPER_KG_PER_DM3
from tapplan.design.model import Winding
from tapplan.design.wound import warm_ohm
from tapplan.rating.rated import Ratings

COLD_C = 20.0
# By how much the resistance of a length of wire may differ, drawn and stretched; common practice, no source.
WIRE_SHARE = 0.03
SOURCE_V = Fraction(24)  # put across all turns of the widest winding, so that nothing stands higher

LeadEnd = Literal["start", "finish", "tap"]


@dataclass(frozen=True, slots=True)
class Lead:
    """A lead to bring out: at which end of a section, after how many turns of one run of the counter, and where.

    A tap is the finish of one section and the start of the next, `then`, in the same wire.
    """

    point: str
    section: str
    end: LeadEnd
    then: str | None
    counter: Fraction
    spot: Spot


@dataclass(frozen=True, slots=True)
class LaidLayer:
    """A layer with what is in it; `below_v` is the most to the layer below, None where no turn joins the two."""

    layer: CoilLayer
    runs: tuple[Run, ...]
    below_v: float | None

    @property
    def turns(self) -> Fraction:
        """The turns in it."""
        return sum((run.turns for run in self.runs), Fraction(0))

    @property
    def length_m(self) -> float:
        """The length of its turns."""
        return float(self.turns) * self.layer.turn_mm / 1000


@dataclass(frozen=True, slots=True)
class Ohms:
    """The least and the most resistance at 20 C, in ohm."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Proof:
    """What shows that a section is right: its volts in the ratio test, those of one turn, its cold resistance."""

    section: str
    volts: Fraction
    turn_v: Fraction
    cold: Ohms | None


@dataclass(frozen=True, slots=True)
class RatioTest:
    """Volts put across two points of the winding that has the most turns."""

    volts: Fraction
    start: str
    finish: str
    turns: Fraction


@dataclass(frozen=True, slots=True)
class WireNeed:
    """A kind of wire, its length over all strands and its bare mass; leads and scrap are not counted."""

    wire: Conductor
    sections: tuple[str, ...]
    length_m: float
    kg: float


@dataclass(frozen=True, slots=True)
class Laid:
    """What the winder of a coil needs beside it."""

    wires: tuple[WireNeed, ...]
    leads: tuple[Lead, ...]
    layers: tuple[LaidLayer, ...]
    test: RatioTest
    proofs: tuple[Proof, ...]


def laid(found: Ratings, coil: Coil) -> Laid:
    """All of it, of a design rated and its coil."""
    windings = {one.name: one for one in found.design.windings}
    own = [windings[one.section] for one in coil.placed]
    heights = joined_heights(own)
    test = ratio_test(heights)
    wires = {one.name: one.wire for one in found.sections}
    return Laid(
        tuple(_needs(coil, wires)),
        tuple(_leads(coil, windings)),
        tuple(_layers(coil, windings, heights, _most_per_turn(found))),
        test,
        tuple(_proof(one, coil, test, wires[one.section]) for one in coil.placed),
    )


def ratio_test(heights: dict[str, PointHeight]) -> RatioTest:
    """Across the two points that have the most turns between them: everything else stands lower."""
    top = max(heights, key=lambda point: heights[point].turns)
    winding = heights[top].winding
    bottom = min(
        (point for point in heights if heights[point].winding == winding), key=lambda point: heights[point].turns
    )
    return RatioTest(SOURCE_V, bottom, top, heights[top].turns)


def _needs(coil: Coil, wires: dict[str, Conductor | None]) -> list[WireNeed]:
    """Each kind of wire once, in the order in which it is first wound."""
    kinds = dict[Conductor, list[Placed]]()
    for one in coil.placed:
        wire = wires[one.section]
        if wire is not None:
            kinds.setdefault(wire, []).append(one)
    needs = []
    for wire, placed in kinds.items():
        metres = sum(one.length_mm for one in placed) / 1000
        kilograms = metres * wire.mm2 * float(COPPER_KG_PER_DM3) / 1000
        needs.append(WireNeed(wire, tuple(one.section for one in placed), metres * wire.strands, kilograms))
    return needs


def _leads(coil: Coil, windings: dict[str, Winding]) -> list[Lead]:
    """In the order in which they are met."""
    leads, counter = list[Lead](), Fraction(0)
    for number, one in enumerate(coil.placed):
        start, finish = windings[one.section].ends
        if not one.goes_on:
            counter = Fraction(0)
            leads.append(Lead(start, one.section, "start", None, counter, one.start))
        counter += windings[one.section].turns
        after = coil.placed[number + 1] if number + 1 < len(coil.placed) else None
        goes_on = after is not None and after.goes_on
        then = after.section if after is not None and goes_on else None
        leads.append(Lead(finish, one.section, "tap" if goes_on else "finish", then, counter, one.finish))
    return leads


def _most_per_turn(found: Ratings) -> float:
    """The most volts on a turn of this core: in a band, after a sudden step to the top of the range, or fed."""
    carried, iron = found.carried, found.iron
    place = 0 if iron is None else carried.circuit.cores.index(iron.name)
    top = float(found.design.mains.span.high)
    most = [0.0]
    for case, volts in zip(carried.cases.worst_per_turn[:, place], carried.cases.volts, strict=True):
        most.append(float(case) * max(top / float(volts), 1.0))
    for feed in found.feeds:
        if feed.case is not None:
            most.append(float(feed.case.cases.worst_per_turn[:, place].max()))
    return max(most)


def _layers(
    coil: Coil, windings: dict[str, Winding], heights: dict[str, PointHeight], per_turn_v: float
) -> list[LaidLayer]:
    inside: dict[int, list[_Stretch]] = {}
    runs: dict[int, list[Run]] = {}
    for one in coil.placed:
        foot, done = heights[windings[one.section].ends[0]], Fraction(0)
        for run in one.runs:
            low = foot.turns + done
            inside.setdefault(run.layer.number, []).append(_Stretch(foot.winding, low, low + run.turns))
            runs.setdefault(run.layer.number, []).append(run)
            done += run.turns
    made = list[LaidLayer]()
    for layer in coil.layers:
        volts = None
        here, below = inside[layer.number], list(_under(layer, coil, inside, runs))
        if below and {one.winding for one in (*here, *below)} == {here[0].winding}:
            ends = [end for one in (*here, *below) for end in (one.low, one.high)]
            volts = float(max(ends) - min(ends)) * per_turn_v
        made.append(LaidLayer(layer, tuple(runs[layer.number]), volts))
    return made


def _under(
    layer: CoilLayer, coil: Coil, inside: dict[int, list[_Stretch]], runs: dict[int, list[Run]]
) -> Iterator[_Stretch]:
    """What the layer lies on: the one below it, and where that is not full, those under it that it leaves bare."""
    for below in reversed(coil.layers[: layer.number - 1]):
        yield from inside[below.number]
        if sum(run.turns for run in runs[below.number]) > below.holds - 1:
            return


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The heights that turns run over, in the winding that they belong to."""

    winding: int
    low: Fraction
    high: Fraction


def _proof(one: Placed, coil: Coil, test: RatioTest, wire: Conductor | None) -> Proof:
    turn_v = test.volts / test.turns
    return Proof(one.section, one.turns * turn_v, turn_v, None if wire is None else _cold(one, coil, wire))


def _cold(one: Placed, coil: Coil, wire: Conductor) -> Ohms:
    """At 20 C, from flat layers of the thickest wire to layers that bulge, of the thinnest."""
    bulge = coil.former.bulge_pct / 100
    wider = sum(float(run.turns) * 2 * pi * float(run.layer.middle_mm * bulge) for run in one.runs)
    flat = warm_ohm(1.0, one.length_mm, wire.mm2, COLD_C)
    bulged = warm_ohm(1.0, one.length_mm + wider, wire.mm2, COLD_C)
    return Ohms(flat * (1 - WIRE_SHARE), bulged * (1 + WIRE_SHARE))
