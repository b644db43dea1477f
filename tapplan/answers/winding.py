"""What a winder is handed: former, sections in order, leads, layers, wire, and what proves each section.

Leads are named by their points; their colours are the user's. No insulation distance and no test voltage is ours:
they are as the file states them, or left to the standard that applies.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, measured, more, names, number, said, word
from tapplan.control.table import ControlTable
from tapplan.design.coil import Coil, Placed, TooDeep, TooWide
from tapplan.design.conductor import Conductor
from tapplan.design.fingerprint import fingerprint
from tapplan.design.limb import limb_of
from tapplan.design.model import Core, Design
from tapplan.errors import UsageError
from tapplan.network.circuit import Circuit
from tapplan.rating.laid import LaidLayer, Lead, Proof, WireNeed, laid
from tapplan.rating.rated import Ratings, ratings

# Common practice, no source; codes and the standard that applies come first.
BEFORE = (
    "Only for people qualified for such work. This is a plan, not a type test: insulation distances, materials, lead "
    "sleeves and their proof are those of the standard that applies to the finished equipment.",
    "Margins, interlayers and insulation between windings are as the design file states them. They were not checked "
    "against any standard.",
    "Wind every section in one and the same direction, seen from the start flange, from its start to its finish. A "
    "section turned round takes volts away where it should add them.",
    "The first layer begins at the start flange; layers run to and fro. A section that goes on does so in the same "
    "layer and wire; any other begins a new layer at the start flange.",
    "Bring each lead out outside the window, sleeve it, and mark it with its point's name at once. Write its colour "
    "in the blank.",
    "Set the counter to 0 where a section begins a new layer, and let it run on through taps.",
)
AFTER = (
    "Before power: each section's cold resistance, then the ratio test. Feed only the two points named, from an "
    "isolating transformer through a fuse; every other point then stands lower. Fed across few turns instead, the "
    "far end can stand at mains voltage. Treat every lead as live.",
    "Polarity: the volts of two sections add where the finish of one is joined to the start of the other. Where they "
    "take away then, one of them was wound the other way round.",
    "Insulation resistance and flash test between windings, and from each winding to the core: by the standard that "
    "applies, with its voltages and times, by a qualified person. This sheet gives none.",
    "Impregnate and dry as the maker of the varnish says; then resistance, ratio and insulation once more.",
    "First power through a series lamp or a variable supply behind an isolating transformer: no-load current, noise "
    "and warmth, before any relay is joined.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundRow:
    """A section as it is wound, in which layers; `covered_mm` and `along_mm`: one turn with its covering."""

    section: Annotated[str, word("section")]
    turns: Annotated[Fraction, number("turns")]
    wire: Annotated[str, word("wire")]
    covered_mm: Annotated[Fraction, number("covered", "mm")]
    along_mm: Annotated[Fraction, number()]
    holds: Annotated[int, number("turns a layer")]
    first_layer: Annotated[int, number()]
    last_layer: Annotated[int, number()]
    layers: Annotated[str, said("layers")]
    goes_on: Annotated[str, word("begins")]
    mean_turn_mm: Annotated[float, measured("mean turn", "mm", digits=0)]
    length_m: Annotated[float, measured("length", "m", digits=1)]


def wound_rows(found: Ratings) -> tuple[WoundRow, ...]:
    """Every section of the coil; none where its layers are not known."""
    coil = found.coil
    if not isinstance(coil, Coil):
        return ()
    wires = {one.name: one.wire for one in found.sections}
    return tuple(_wound(one, wires.get(one.section)) for one in coil.placed)


def _wound(one: Placed, wire: Conductor | None) -> WoundRow:
    first, last = one.runs[0].layer, one.runs[-1].layer
    return WoundRow(
        section=one.section,
        turns=one.turns,
        wire="-" if wire is None else wire.told,
        covered_mm=one.turn.tall_mm,
        along_mm=one.turn.wide_mm,
        holds=first.holds,
        first_layer=first.number,
        last_layer=last.number,
        layers=f"{first.number}" if first is last else f"{first.number} - {last.number}",
        goes_on=("same layer" if one.start.turns else "next layer") if one.goes_on else "new layer",
        mean_turn_mm=one.length_mm / float(one.turns),
        length_m=one.length_mm / 1000,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildRow:
    """How far the coil stands out from the limb, flat and with its bulge, in the window's width."""

    layers: Annotated[int, number()]
    traverse_mm: Annotated[Fraction, number()]
    flat_mm: Annotated[Fraction, number()]
    build_mm: Annotated[Fraction, number()]
    width_mm: Annotated[Fraction, number()]
    bulge_pct: Annotated[Fraction, number()]

    @property
    def told(self) -> str:
        """In a sentence."""
        bulge = words.number(self.bulge_pct)
        return (
            f"{self.layers} layers build up to {float(self.flat_mm):.1f} mm flat, {float(self.build_mm):.1f} mm with "
            f"{bulge} % of bulge; the window is {words.number(self.width_mm, 1)} mm wide. A layer has "
            f"{words.number(self.traverse_mm, 1)} mm along the limb."
            + (" It does not go in." if self.build_mm > self.width_mm else "")
        )


def build_row(found: Ratings) -> BuildRow | None:
    """The coil against its window; None where its layers are not known."""
    coil = found.coil
    if not isinstance(coil, Coil):
        return None
    return BuildRow(
        layers=len(coil.layers),
        traverse_mm=coil.traverse_mm,
        flat_mm=coil.flat_mm,
        build_mm=coil.build_mm,
        width_mm=coil.limb.window.wide_mm,
        bulge_pct=coil.former.bulge_pct,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WireRow:
    """A kind of wire to get: length over all strands, and mass of bare copper; leads and scrap not counted."""

    wire: Annotated[str, word("wire")]
    sections: Annotated[tuple[str, ...], names("for")]
    strands: Annotated[int, number("strands")]
    length_m: Annotated[float, measured("length", "m", digits=1)]
    copper_kg: Annotated[float, measured("bare copper", "kg", digits=3)]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadRow:
    """A lead to bring out, in the order in which it is met; the colour is to be written in."""

    point: Annotated[str, word("lead")]
    what: Annotated[str, word("of")]
    counter: Annotated[Fraction, number("counter")]
    layer: Annotated[int, number("layer")]
    turn: Annotated[Fraction, number("turn in it")]
    flange: Annotated[str, word("flange")]
    goes_to: Annotated[tuple[str, ...], names("goes to")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRow:
    """A layer, from which flange, over how much insulation, and what stands between it and the layer below."""

    layer: Annotated[int, number("layer")]
    flange: Annotated[str, word("from flange")]
    over_mm: Annotated[Fraction, number("insulation under it", "mm")]
    sections: Annotated[tuple[str, ...], names("section")]
    section_turns: Annotated[tuple[Fraction, ...], names("turns")]
    holds: Annotated[int, number("of")]
    length_m: Annotated[float, measured("length", "m", digits=1)]
    below_v: Annotated[float | None, measured("to the layer below", "V", digits=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofRow:
    """What a section must show: its volts in the ratio test, what a turn makes of them, its cold resistance."""

    section: Annotated[str, word("section")]
    turns: Annotated[Fraction, number("turns")]
    test_v: Annotated[Fraction, number("ratio test", "V")]
    turn_v: Annotated[Fraction, number("one turn", "V", digits=4)]
    cold_ohm: Annotated[tuple[float, float] | None, ends("at 20 C", "ohm", digits=4, places=6)]


@dataclass(frozen=True, slots=True, kw_only=True)
class WindingSheet(Answer):
    """The whole sheet."""

    heading = "Winding sheet"
    caution = words.CAUTION

    title: str
    fingerprint: Annotated[str, word()]
    core_told: Annotated[str, word("core")]
    former_told: Annotated[str, word("former")]
    sections: Annotated[tuple[WoundRow, ...], more()]
    leads: Annotated[tuple[LeadRow, ...], more()]
    layers: Annotated[tuple[LayerRow, ...], more()]
    wires: Annotated[tuple[WireRow, ...], more()]
    proofs: Annotated[tuple[ProofRow, ...], more()]
    build: Annotated[BuildRow, more()]
    ratio_told: Annotated[str, word("ratio test")]
    elsewhere: Annotated[tuple[str, ...], names("not on this core")]
    before: Annotated[tuple[str, ...], names()]
    after: Annotated[tuple[str, ...], names()]
    coil: Coil


def winding_sheet(table: ControlTable) -> WindingSheet:
    """The sheet of a design whose layers are known.

    Raises:
        UsageError: they are not, and what is missing.
    """
    found = ratings(table)
    coil, build = found.coil, build_row(found)
    if not isinstance(coil, Coil) or build is None or found.design.core is None or not found.sections:
        raise UsageError(_missing(found))
    made = laid(found, coil)
    core = found.design.core
    return WindingSheet(
        title=found.design.title,
        fingerprint=fingerprint(table.stated),
        core_told=_core_told(core, coil),
        former_told=_former_told(coil),
        sections=wound_rows(found),
        leads=tuple(_lead(one, found.design, table.circuit) for one in made.leads),
        layers=tuple(_layer(one) for one in made.layers),
        wires=tuple(_wire(one) for one in made.wires),
        proofs=tuple(_proof(one) for one in made.proofs),
        build=build,
        ratio_told=(
            f"{words.number(made.test.volts)} V AC from {made.test.start} to {made.test.finish}, "
            f"{words.number(made.test.turns)} turns: {float(made.test.volts / made.test.turns):.4f} V a turn."
        ),
        elsewhere=tuple(one.name for one in found.design.windings if coil.of(one.name) is None),
        before=BEFORE,
        after=AFTER,
        coil=coil,
    )


def _missing(found: Ratings) -> str:
    """Why there are no layers to show."""
    design, core = found.design, found.design.core
    if isinstance(found.coil, TooWide):
        wide, along = float(found.coil.wide_mm), float(found.coil.traverse_mm)
        return (
            f'found winding "{found.coil.section}" with {wide:g} mm a turn; accepted: at most {along:g} mm, what the '
            "former leaves along the limb"
        )
    if design.former is None or core is None or limb_of(core) is None:
        return (
            "found no coil whose layers are known; accepted: [former], and [core] with lamination and stack_mm, or "
            "leg_mm, stack_mm and window_mm"
        )
    if isinstance(found.coil, TooDeep):
        return f"found {found.coil.layers} layers; accepted: a coil that goes into its window, see check"
    if isinstance(found.coil, Coil):
        return "found no band that holds anything of the mains range; accepted: a design whose bands do, see check"
    return f"found no wire for {', '.join(_wireless(design, core))}; accepted: wire_mm or strip_mm for each"


def _wireless(design: Design, core: Core) -> Iterator[str]:
    for one in design.windings:
        if one.core == core.name and one.wire_mm is None and one.strip_mm is None:
            yield one.name


def _core_told(core: Core, coil: Coil) -> str:
    limb = coil.limb
    named = core.lamination or f"limb of {words.number(limb.leg_mm, 1)} mm"
    steel = f", {core.grade}" if core.grade is not None else ""
    window = f"{words.number(limb.window.wide_mm, 1)} x {words.number(limb.window.high_mm, 1)} mm"
    return f"{named}, stacked {words.number(limb.stack_mm, 1)} mm{steel}; window {window}."


def _former_told(coil: Coil) -> str:
    former = coil.former
    return (
        f"{words.number(former.base)} mm under the first layer, flanges {words.number(former.flange_mm)} mm, margins "
        f"{words.number(former.margin_mm)} mm, {words.number(former.interlayer_mm)} mm over each layer, "
        f"{words.number(former.between_mm)} mm more between windings that no turn joins."
    )


def _lead(one: Lead, design: Design, circuit: Circuit) -> LeadRow:
    what = (
        f"finish of {one.section}, tap: goes on as {one.then}" if one.end == "tap" else f"{one.end} of {one.section}"
    )
    return LeadRow(
        point=one.point,
        what=what,
        counter=one.counter,
        layer=one.spot.layer,
        turn=one.spot.turns,
        flange=one.spot.side,
        goes_to=tuple(_goes_to(one.point, design, circuit)),
    )


def _goes_to(point: str, design: Design, circuit: Circuit) -> Iterator[str]:
    """What a lead is joined to, beside windings."""
    number = circuit.points.index(point)
    for role, place in (("line", circuit.line), ("neutral", circuit.neutral), ("output", circuit.output)):
        if place == number:
            yield f"the {role} terminal"
    for contact in circuit.contacts:
        if contact.end == number:
            yield contact.label
    commons = {contact.label.rpartition(".")[0] for contact in circuit.contacts if contact.com == number}
    yield from (f"{relay}.com" for relay in sorted(commons))
    served = {winding.name for winding in design.windings if point in winding.ends}
    yield from (f'feed "{feed.name}"' for feed in design.feeds if feed.winding in served)
    if design.battery is not None and design.battery.winding in served:
        yield "the charger"
    if design.coil_supply is not None and design.coil_supply.winding in served:
        yield "the coil supply"
    if not isinstance(design.sensing.at, str) and point in design.sensing.at:
        yield "the controller"


def _layer(one: LaidLayer) -> LayerRow:
    return LayerRow(
        layer=one.layer.number,
        flange=one.layer.begins,
        over_mm=one.layer.before_mm,
        sections=tuple(run.section for run in one.runs),
        section_turns=tuple(run.turns for run in one.runs),
        holds=one.layer.holds,
        length_m=one.length_m,
        below_v=one.below_v,
    )


def _wire(one: WireNeed) -> WireRow:
    return WireRow(
        wire=one.wire.name, sections=one.sections, strands=one.wire.strands, length_m=one.length_m, copper_kg=one.kg
    )


def _proof(one: Proof) -> ProofRow:
    cold = None if one.cold is None else (one.cold.least, one.cold.most)
    return ProofRow(
        section=one.section, turns=one.volts / one.turn_v, test_v=one.volts, turn_v=one.turn_v, cold_ohm=cold
    )
