"""A finding: what the author of a design should know, with a witness that a person can compute again."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class Severity(StrEnum):
    """How bad a finding is; a fault makes `check` exit with 1."""

    FAULT = "fault"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """The case that shows a finding, in the terms of the design; what does not apply is None.

    Volts are exact. `input_v` is the true input, `reading_v` the reading referred to the input, `from_v` and
    `to_v` the inputs concerned, `course_v` true inputs one after the other, the first at switch-on,
    `emf_v` the open voltage of the source, `least_v` the least threshold that mends it, `factor` an output as a
    multiple of nominal (for `flight-inrush`, peak flux as a multiple of normal), `lasts_ms` a duration and `limit_ms`
    what is allowed of it.
    """

    bands: tuple[str, ...] | None = None
    energised: tuple[str, ...] | None = None
    ratio: Fraction | None = None
    input_v: Fraction | None = None
    reading_v: Fraction | None = None
    course_v: tuple[Fraction, ...] | None = None
    emf_v: Fraction | None = None
    output_v: Fraction | None = None
    limit_v: Fraction | None = None
    from_v: Fraction | None = None
    to_v: Fraction | None = None
    overlap_v: Fraction | None = None
    noise_v: Fraction | None = None
    wanted_v: Fraction | None = None
    least_v: Fraction | None = None
    current_a: Fraction | None = None
    limit_a: Fraction | None = None
    flux_t: Fraction | None = None
    limit_t: Fraction | None = None
    rise_k: Fraction | None = None
    worst_pct: Fraction | None = None
    likely_pct: Fraction | None = None
    limit_pct: Fraction | None = None
    factor: Fraction | None = None
    lasts_ms: Fraction | None = None
    limit_ms: Fraction | None = None
    states: tuple[tuple[str, ...], ...] | None = None
    count: int | None = None
    points: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: a code from the list of rules, a severity, a place, a sentence and its witness.

    `advice` is a change in numbers that was tried on the design and mends it; empty where none is known.
    """

    code: str
    severity: Severity
    where: str
    message: str
    witness: Witness
    advice: str = ""

    @property
    def told(self) -> str:
        """The sentence, with the advice where there is any."""
        return f"{self.message}; {self.advice}" if self.advice else self.message


def volts(value: Fraction) -> str:
    """Volts in a sentence: at most three decimals, no trailing zeros."""
    return f"{float(value):.3f}".rstrip("0").rstrip(".") + " V"


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
