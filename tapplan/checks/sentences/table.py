"""Sentences about what is held and read, and how neighbours overlap."""

from __future__ import annotations

from tapplan.checks.sentences.words import apart, course, relays, volts
from tapplan.checks.witnesses.table import (
    BlindAway,
    BlindBand,
    HeldBeyond,
    HeldOutside,
    NoisyRound,
    Overlap,
    Rising,
    Wandering,
)


def held_outside(one: HeldOutside) -> str:
    """A promised input at which the output leaves the window, and the course that leads there."""
    output, limit = apart(one.output_v, one.limit_v)
    return (
        f"at {volts(one.input_v)} in, read as {volts(one.reading_v)}, which the band holds, the output is "
        f"{output}, {one.side} the window's {limit} ({course(one.course_v)})"
    )


def held_beyond(one: HeldBeyond) -> str:
    """An input that is not promised at which the output leaves the window."""
    output, limit = apart(one.output_v, one.limit_v)
    return (
        f"outside the mains range, at {volts(one.input_v)} in, the band still holds; "
        f"the output is {output} against a window limit of {limit}"
    )


def rising(one: Rising) -> str:
    """A ratio that rises with the input."""
    return (
        f"the ratio rises from {one.below_ratio} to {one.ratio} as the input rises: "
        "the upper band boosts what is already high"
    )


_UNREAD = "the sensed points do not read a fixed, positive share of the input, so the controller cannot know where"


def blind_band(_: BlindBand) -> str:
    """A band in which the reading tells nothing."""
    return f"in this state {_UNREAD} it stands"


def blind_away(one: BlindAway) -> str:
    """Being away, where the reading tells nothing."""
    return f"with no band in force ({relays(one.energised)}) {_UNREAD} to come back to"


def chattering(one: Overlap) -> str:
    """An overlap that does not beat the noise."""
    if one.overlap_v < one.noise_input_v:
        then = "the relays can move back and forth at one steady input"
    else:
        then = "no margin is left, and the least more noise moves the relays back and forth at one steady input"
    return (
        f"they overlap by {volts(one.overlap_v)} of input, no more than the reading's noise of "
        f"{volts(one.noise_input_v)}: {then}"
    )


def noisy_round(one: NoisyRound) -> str:
    """Bands that the noise moves to and fro although they are no neighbours."""
    return (
        f"at a steady input of {volts(one.from_v)} to {volts(one.to_v)} the reading's noise of "
        f"{volts(one.noise_v)} moves the relays to and fro"
    )


def thin(one: Overlap) -> str:
    """An overlap less than the hysteresis asked for."""
    return f"they overlap by {volts(one.overlap_v)} of input; hysteresis_v asks for {volts(one.wanted_v)}"


def wandering(one: Wandering) -> str:
    """How far the reading of a steady line wanders."""
    low, high = (f"{100 * float(end - 1):+.2f} %" for end in (one.least_factor, one.most_factor))
    return (
        f"a window of {float(one.window_cycles):g} cycles is no whole number of half cycles: a "
        f"steady line is read anywhere from {low} to {high} of what it is, and every promise is proven with that"
    )
