"""Sentences about what is carried beyond a limit."""

from __future__ import annotations

from tapplan.checks.sentences.words import COMMON_PRACTICE, relays, volts
from tapplan.checks.witnesses.carried import (
    Backfed,
    BuildUp,
    ChargerReach,
    CoilVolts,
    Collapsed,
    ContactCurrent,
    ContactGap,
    ContactMaking,
    FedOutput,
    FuseCurrent,
    FuseInrush,
    FuseSight,
    Hotness,
    LoadPermitted,
    SteadyFlux,
    SuddenFlux,
    TurnTooWide,
    WindowFill,
    WireCurrent,
)


def backfed(one: Backfed) -> str:
    """A live inlet while a feed runs, and the state that would take it off."""
    if one.from_v is None or one.to_v is None:
        pin = "the inlet's line pin is joined to a live winding, and nothing fixes its volts against neutral"
    else:
        pin = f"the inlet's line pin stands at {volts(one.from_v)} to {volts(one.to_v)} against neutral"
    mend = (
        f"with {relays(one.safe)} the inlet would be dead"
        if one.safe is not None
        else "no relay state takes the inlet off, so another contact must"
    )
    return f"while it runs with {relays(one.energised)}, {pin}; {mend}"


def collapsed(one: Collapsed) -> str:
    """A load that is more than the impedances let through."""
    return (
        f"at {float(one.input_v):.1f} V in, no output carries {float(one.load_va):g} VA as a constant "
        f"{one.load_model}: the resistance and leakage of windings and contacts let less through"
    )


def fed_output(one: FedOutput) -> str:
    """What a feed gives the load, against the window."""
    side = "below" if one.output_v < one.limit_v else "above"
    return (
        f"over its range it puts {float(one.least_v):.1f} to {float(one.most_v):.1f} V on the output, with the load "
        f"and without it: {side} the window's {volts(one.limit_v)}"
    )


def charger_reach(one: ChargerReach) -> str:
    """What a charger gets, against what it must make."""
    gets = f"the charger gets {float(one.output_v):.1f} to {float(one.most_v):.1f} V"
    if one.most_v < one.limit_v:
        return f"{gets} over the whole range and only steps down: it never makes {one.charge}, {volts(one.limit_v)}"
    parts = [
        f'in "{name}"' + ("" if enough is None else f" below {float(enough):.1f} V in")
        for name, enough in zip(one.bands, one.enough_v, strict=True)
    ]
    return (
        f"{gets} and only steps down: it does not make {one.charge}, {volts(one.limit_v)}, everywhere; "
        f"too little {', '.join(parts)}"
    )


def load_permitted(one: LoadPermitted) -> str:
    """The load stated against the largest that is permitted."""
    return (
        f"at {float(one.input_v):.1f} V in, {one.limited_by} permits {float(one.permitted_va):.0f} VA; "
        f"load_va is {float(one.load_va):g}" + ("" if one.stated else COMMON_PRACTICE)
    )


def steady_flux(one: SteadyFlux) -> str:
    """Flux in normal service."""
    return (
        f"at {float(one.input_v):.1f} V in the core works at {float(one.flux_t):.3f} T, "
        f"above the {float(one.limit_t):g} T stated"
    )


def sudden_flux(one: SuddenFlux) -> str:
    """Flux after a jump of the line."""
    return (
        f"when the line jumps to {volts(one.input_v)} the core works at {float(one.flux_t):.3f} T until the relays "
        f"have moved, above the {float(one.limit_t):g} T stated"
    )


def wire_current(one: WireCurrent) -> str:
    """A wire, its current and its density."""
    return (
        f"it carries {float(one.current_a):.3f} A in {one.wire if one.wire is not None else 'its wire'}, "
        f"{float(one.density_a_mm2):.2f} A/mm2, above {float(one.limit_a_mm2):g} A/mm2"
        + ("" if one.stated else COMMON_PRACTICE)
    )


def contact_current(one: ContactCurrent) -> str:
    """A contact and its current."""
    return f"it carries {float(one.current_a):.2f} A, above the {float(one.limit_a):g} A of its rating"


def contact_gap(one: ContactGap) -> str:
    """A contact and the volts across it."""
    return f"its open gap holds off {float(one.output_v):.1f} V ({one.standing}), rated for {float(one.limit_v):g} V"


def contact_making(one: ContactMaking) -> str:
    """A contact that closes onto an inrush."""
    return (
        f"it closes onto {float(one.current_a):.1f} A of the load's inrush, above the {float(one.limit_a):g} A it "
        "can make"
    )


def window_fill(one: WindowFill) -> str:
    """Copper against the window."""
    return (
        f"bare copper of {float(one.copper_mm2):.0f} mm2 takes {float(one.worst_pct):.0f}% of the window, "
        f"more than {float(one.limit_pct):.0f}%" + ("" if one.stated else COMMON_PRACTICE)
    )


def build_up(one: BuildUp) -> str:
    """A coil against the width of the window."""
    flat, build, width = (f"{float(mm):.1f}" for mm in (one.flat_mm, one.build_mm, one.width_mm))
    bulged = f"{build} mm with their bulge" if one.flat_mm > one.width_mm else f"but {build} mm with their bulge"
    return f"{one.layers} layers build up to {flat} mm, {bulged}; the window is {width} mm wide"


def turn_too_wide(one: TurnTooWide) -> str:
    """A turn that does not go between the margins."""
    return (
        f"a turn takes {float(one.turn_mm):.1f} mm along the limb; between flanges and margins there are "
        f"{float(one.width_mm):.1f} mm"
    )


def hot(one: Hotness) -> str:
    """A temperature above its limit."""
    return (
        f"estimated at {float(one.reached_c):.0f} C in {float(one.ambient_c):g} C of air, above "
        f"{float(one.limit_c):g} C; an estimate from losses and thermal resistance, not a type test"
    )


def cut_out(one: Hotness) -> str:
    """A temperature that opens the cut-out."""
    return (
        f"estimated at {float(one.reached_c):.0f} C; the cut-out of {float(one.limit_c):g} C opens in normal service"
    )


def coil_volts(one: CoilVolts) -> str:
    """A coil supply that cannot pull in."""
    needs = f"{float(one.limit_v):.2f} V to pull in" if one.limit_v is not None else "an unstated voltage"
    power = f", {float(one.power_w):.2f} W of coils" if one.power_w is not None else ""
    return (
        f"at its lowest input the coil supply gives {float(one.output_v):.2f} V; {relays(one.energised)} needs "
        f"{needs}{power}"
    )


def fuse_current(one: FuseCurrent) -> str:
    """A fuse in normal service."""
    return f"the inlet carries {float(one.current_a):.2f} A, above the fuse's {float(one.limit_a):g} A"


def fuse_inrush(one: FuseInrush) -> str:
    """A fuse under the inrush."""
    return (
        f"half a cycle of the load's inrush lets {float(one.lets_a2s):.3g} A2s through the fuse; "
        f"it melts at {float(one.melts_a2s):g}"
    )


def fuse_sight(one: FuseSight) -> str:
    """A fuse that hardly sees shorted turns."""
    fuse = "the fuse" if one.limit_a is None else f"the fuse of {float(one.limit_a):g} A"
    if one.melts_s is None:
        blows = "sees less than twice its rating and blows late or never"
    else:
        blows = f"melts after {float(one.melts_s):.2g} s at the earliest"
    return (
        f"at {float(one.input_v):.1f} V in, the shorted turns carry {float(one.section_a):.0f} A while the inlet "
        f"carries {float(one.current_a):.1f} A: {fuse} {blows}, and the section burns"
    )
