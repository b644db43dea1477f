"""The small words of a sentence: volts, a course, relays, bands, a stretch of inputs, what was taken for granted."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tapplan.checks.witnesses.moving import AssumedTime
from tapplan.network.circuit import Position

COMMON_PRACTICE = " (common practice, no source)"
_POSITIONS = {
    Position.REST: "at rest",
    Position.DRIVEN: "driven",
    Position.FLIGHT: "in flight",
    Position.BRIDGED: "bridged",
}


def volts(value: Fraction) -> str:
    """Volts in a sentence: at most three decimals, no trailing zeros."""
    return f"{float(value):.3f}".rstrip("0").rstrip(".") + " V"


def short_volts(value: Fraction) -> str:
    """Volts in a sentence, to a hundredth."""
    return volts(Fraction(round(value * 100), 100))


def apart(value: Fraction, other: Fraction) -> tuple[str, str]:
    """Two different voltages in a sentence, with as many decimals as it takes to tell them apart."""
    decimals = next((n for n in range(3, 31) if f"{float(value):.{n}f}" != f"{float(other):.{n}f}"), 3)
    shown = (f"{float(one):.{decimals}f}".rstrip("0").rstrip(".") + " V" for one in (value, other))
    first, second = shown
    return first, second


def course(steps: tuple[Fraction, ...] | None) -> str:
    """A course of the input in a sentence."""
    if steps is None:
        return "no course of readings without noise leads there inside the range"
    first, *then = steps
    return ", then ".join([f"shortest course: on at {volts(first)}", *(volts(one) for one in then)])


def relays(energised: tuple[str, ...]) -> str:
    """A relay state in a sentence."""
    return f"{' + '.join(energised)} energised" if energised else "all relays at rest"


def stretch(low: Fraction, high: Fraction) -> str:
    """A stretch of inputs."""
    return f"inputs {volts(low)} to {volts(high)}"


def mixture(movers: Sequence[str], positions: Sequence[Position]) -> str:
    """Where the relays of a move stand."""
    pairs = zip(movers, positions, strict=True)
    return ", ".join(f"{relay} {_POSITIONS[where]}" for relay, where in pairs)


def times_note(assumed: Sequence[AssumedTime]) -> str:
    """Whether the times of relays stand in the file, and which defaults stand in for those that do not."""
    if not assumed:
        return "times as the file gives them"
    listed = ", ".join(f"{one.key} {float(one.most_ms):g}" for one in assumed)
    return f"by default, common practice, no source: at most {listed} ms"
