"""Sentences about states, wiring and stuck parts."""

from __future__ import annotations

from tapplan.checks.sentences.words import relays, volts
from tapplan.checks.witnesses.states import (
    Duplicates,
    EitherStart,
    FedState,
    IdleStates,
    LoosePoint,
    NeverEntered,
    OnePoint,
    RestOutput,
    ShortedRest,
    StuckHigh,
    StuckShort,
    Undriven,
    UsedState,
)
from tapplan.network.turns import Kind

UNUSABLE: dict[Kind, str] = {
    Kind.SHORTED: "closed contacts bridge turns or tie the line to neutral",
    Kind.FLOATING: "the output is joined to nothing that is fed",
    Kind.UNFED: "no closed circuit runs from the line through turns to neutral",
    Kind.DEAD: "the output stands at neutral",
    Kind.REVERSED: "the output is in antiphase to the line",
    Kind.UNDETERMINED: "nothing fixes the volts per turn of every core in the path",
}


def used(one: UsedState) -> str:
    """A state in use that cannot serve."""
    said = f"with {relays(one.energised)} {one.reason}"
    return said if one.told is None else f"{said} ({one.told})"


def while_fed(one: FedState) -> str:
    """A state that cannot serve while a feed runs."""
    return f"while it runs with {relays(one.energised)} {UNUSABLE[one.kind]}"


def not_used(one: IdleStates) -> str:
    """States that only wrong coil drive leads to."""
    states = f"{one.count} relay states" if one.count > 1 else "one relay state"
    return f"{states} no band uses, such as {relays(one.energised)}: {UNUSABLE[one.kind]}"


def duplicates(one: Duplicates) -> str:
    """States of one ratio."""
    return f"{one.count} relay states give it, among them " + " and ".join(relays(few) for few in one.states[:2])


def shorted_rest(_: ShortedRest) -> str:
    """A rest that shorts turns."""
    return f"with every coil off, {UNUSABLE[Kind.SHORTED]}: a dead controller burns the stage"


def rest_output(one: RestOutput) -> str:
    """What the load gets at rest."""
    return (
        f"with every coil off, {volts(one.input_v)} in gives {volts(one.output_v)} out, {float(one.factor):.3f} of "
        "nominal, outside the window: so it is until the controller wakes, and when it dies"
    )


def never_entered(one: NeverEntered) -> str:
    """A band that nothing enters."""
    return (
        f"no course of the input ever enters it: wherever it holds, {volts(one.from_v)} to "
        f"{volts(one.to_v)}, another band is in force before it"
    )


def either_start(one: EitherStart) -> str:
    """Two bands that one switch-on leaves to chance."""
    return (
        f"switched on at {volts(one.input_v)}, both hold and both give the ratio {one.ratio}: "
        "which relays are driven is left to chance"
    )


def loose(one: LoosePoint) -> str:
    """A point one contact alone touches."""
    return f'it leads to "{one.points[0]}", which nothing else touches'


def undriven(_: Undriven) -> str:
    """A relay no band drives."""
    return "no band drives it"


def one_point(one: OnePoint) -> str:
    """A changeover that changes nothing."""
    return f'both throws go to "{one.points[0]}", so moving it changes nothing'


def stuck_short(one: StuckShort) -> str:
    """In which bands a fault shorts turns."""
    named = ", ".join(f'"{band}"' for band in one.bands)
    return f"closed contacts bridge turns or tie line to neutral in these bands: {named}"


def stuck_high(one: StuckHigh) -> str:
    """How high a fault drives the output."""
    output, limit = volts(one.output_v), volts(one.limit_v)
    return f'in band "{one.bands[0]}" the output rises to {output}, above the window\'s {limit}'
