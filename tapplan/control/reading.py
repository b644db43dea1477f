"""What can be read of an input, and what inputs a reading can stand for: the one reading set of every promise.

A reading of the input V is m = (1 + eps) q V + nu: eps one error share, constant and unknown, in [-e, e]; nu the
noise, free at each reading, in [-n/2, n/2]; q what is read of an input volt, between full load and no load, and as
far as an averaging window that is no whole number of half cycles lets it wander.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.design.model import Sensing
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class Blur:
    """How far a reading can be off: a share of the true value, and half the noise's peak-to-peak volts."""

    error: Fraction
    half_noise: Fraction

    def readings(self, inputs: Span, read: Span) -> Span:
        """Every reading that some input of these can give; `read` is the least and the most read of an input volt."""
        return Span(
            (1 - self.error) * read.low * inputs.low - self.half_noise,
            (1 + self.error) * read.high * inputs.high + self.half_noise,
        )

    def inputs(self, readings: Span, read: Span) -> Span:
        """Every input that some reading of these can stand for."""
        return Span(self.lowest(readings.low, read), self.highest(readings.high, read))

    def lowest(self, reading: Fraction, read: Span) -> Fraction:
        """The lowest input that can give this reading, or more."""
        return (reading - self.half_noise) / ((1 + self.error) * read.high)

    def highest(self, reading: Fraction, read: Span) -> Fraction:
        """The highest input that can give this reading, or less."""
        return (reading + self.half_noise) / ((1 - self.error) * read.low)


def blur_of(sensing: Sensing) -> Blur:
    """How far the readings of a design can be off."""
    return Blur(sensing.error, sensing.noise_v / 2)
