"""Rules over wires, the former and what a request says of its core twice."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import floor

from tapplan.design.model import Copper, Core, Design, Winding
from tapplan.design.objection import Objection, nearest, quoted

FINE = Fraction(1, 10**5)  # mm; diameters of gauges are no short decimals


def wires(design: Design) -> Iterator[Objection]:
    """One kind of wire a winding, in a size whose covering is known where layers are wound of it."""
    for index, winding in enumerate(design.windings):
        path = ("winding", index)
        if winding.strip_mm is not None and winding.wire_mm is not None:
            yield Objection((*path, "strip_mm"), "strip_mm beside wire_mm", "one of them")
        elif winding.strip_mm is None and winding.wire_mm is None:
            if winding.strands is not None:
                yield Objection((*path, "strands"), "strands without wire", "strands beside wire_mm or strip_mm")
            if winding.covering_mm is not None:
                found = "covering_mm without wire"
                yield Objection((*path, "covering_mm"), found, "covering_mm beside wire_mm or strip_mm")
        elif design.former is not None and winding.covering_mm is None:
            yield from _covering(winding, index, design.copper)


def _covering(winding: Winding, index: int, copper: Copper) -> Iterator[Objection]:
    """A wire on a former whose covering no table has."""
    from tapplan.design.enamel import STRIP_ENAMEL_MM, enamelled, thickest_enamelled  # only where layers are wound

    if winding.strip_mm is not None:
        if copper.enamel_grade not in STRIP_ENAMEL_MM:
            accepted = "enamel_grade 1 or 2, or covering_mm beside it: what its covering adds to thickness and width"
            yield Objection(("winding", index, "strip_mm"), "a strip with enamel of grade 3", accepted)
    elif winding.wire_mm is not None and not enamelled()[0].conductor_mm <= winding.wire_mm <= thickest_enamelled():
        least, most = float(enamelled()[0].conductor_mm), float(thickest_enamelled())
        accepted = f"an enamelled wire of {least:g} to {most:g} mm, or covering_mm beside it"
        yield Objection(("winding", index, "wire_mm"), f"{float(winding.wire_mm):g} mm", accepted)


def sizes(design: Design) -> Iterator[Objection]:
    """A thinnest wire below the thickest, and a size of the series between them."""
    copper = design.copper
    if copper.thinnest_mm is None and copper.thickest_mm is None:
        return
    from tapplan.design.materials import AWG, METRIC_MM, awg_mm  # only where sizes are limited

    made = [awg_mm(gauge) for gauge in AWG] if copper.series == "awg" else [float(mm) for mm in METRIC_MM]
    least, most = copper.thinnest_mm or 0, copper.thickest_mm or Fraction(max(made))
    if not any(least <= Fraction(mm) + FINE and Fraction(mm) - FINE <= most for mm in made):
        key = "thickest_mm" if copper.thickest_mm is not None else "thinnest_mm"
        upward = "up" if copper.thickest_mm is None else f"to {float(most):g} mm"
        accepted = f"limits with a {copper.series} size between them, {min(made):.4g} to {max(made):.4g} mm"
        yield Objection(("copper", key), f"no wire from {float(least):g} mm {upward}", accepted)


def former(design: Design) -> Iterator[Objection]:
    """A former on a limb and in a window that are known, with room for wire; its windings each once."""
    former, core = design.former, design.core
    if former is None:
        return
    if core is None:
        yield Objection(("former",), "[former] without [core]", "[core] beside it, whose window it fits")
        return
    chosen = design.fit is not None and bool(design.fit.cores)
    yield from () if chosen else _goes_in(design, core)
    yield from _order(design, core)


def _goes_in(design: Design, core: Core) -> Iterator[Objection]:
    from tapplan.design.coil import traverse_mm  # only where there is a former
    from tapplan.design.limb import limb_of

    limb, former = limb_of(core), design.former
    if former is None:
        return
    if limb is None:
        accepted = "lamination with stack_mm, or leg_mm, stack_mm and window_mm, in [core]"
        yield Objection(("former",), "a former in a window whose sides are not known", accepted)
        return
    along = traverse_mm(limb, former)
    if along <= 0:
        found = f"flanges and margins of {float(limb.window.high_mm - along):g} mm in all"
        accepted = f"less than the window's height, {float(limb.window.high_mm):g} mm"
        yield Objection(("former", "margin_mm"), found, accepted)
    if former.base >= limb.window.wide_mm:
        found, accepted = (
            f"{float(former.base):g} mm",
            f"less than the window's width, {float(limb.window.wide_mm):g} mm",
        )
        yield Objection(("former", "flange_mm" if former.base_mm is None else "base_mm"), found, accepted)


def _order(design: Design, core: Core) -> Iterator[Objection]:
    order = () if design.former is None else design.former.order
    if not order:
        return
    own = [one.name for one in design.windings if one.core == core.name]
    if not design.windings:
        yield Objection(("former", "order"), "order in a request", "no order: the windings are not made yet")
        return
    for number, name in enumerate(order):
        if name not in own:
            accepted = f"a winding of this core: {quoted(own)}"
            yield Objection(("former", "order", number), f'"{name}"', accepted, nearest(name, own))
    missing = [name for name in own if name not in order]
    if missing or len(set(order)) != len(order):
        found = f"{quoted(missing)} left out" if missing else "a winding twice"
        yield Objection(("former", "order"), found, "each winding of this core once")


def volts_per_turn(design: Design) -> Iterator[Objection]:
    """A limit on a turn's volts that the core of a request, at its flux limit, can bear."""
    fit, core = design.fit, design.core
    if fit is None or fit.volts_per_turn_max is None or core is None or core.flux_limit_t is None or fit.cores:
        return
    from tapplan.design.limb import EMF, gross_mm2  # only where a core is asked for

    area = gross_mm2(core)
    if area is None:
        return
    hertz = float(design.mains.frequency_hz[0])
    bears = EMF * hertz * float(core.flux_limit_t) * float(area * core.stack_factor) * 1e-6
    if float(fit.volts_per_turn_max) > bears * (1 + 1e-9):
        tesla = float(core.flux_limit_t) * float(fit.volts_per_turn_max) / bears
        found = f"{float(fit.volts_per_turn_max):g} V a turn, {tesla:.3g} T in the core stated"
        accepted = (
            f"at most {floor(bears * 10**4) / 10**4:g} V, where it reaches flux_limit_t; or no volts_per_turn_max"
        )
        yield Objection(("fit", "volts_per_turn_max"), found, accepted)
