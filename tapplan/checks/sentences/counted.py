"""Sentences about counts and the error of the reading; what breaks in counts is told by its own sentence, beside."""

from __future__ import annotations

from tapplan.checks.sentences.words import volts
from tapplan.checks.witnesses.counted import CountsLeft, FullConverter, ReadingBudget


def reading_budget(one: ReadingBudget) -> str:
    """The error of the reading against what is stated."""
    return (
        f"the reading can err by {float(one.worst_pct):.2f} % at worst, {float(one.likely_pct):.2f} % as a root of "
        f"squares; error_pct says {float(one.limit_pct):g} %. The largest part is {one.largest}, "
        f"{float(one.largest_pct):.2f} %"
    )


def full_converter(one: FullConverter) -> str:
    """A converter that is full too early."""
    return f"the converter is full at {volts(one.limit_v)} of a sine; readings go up to {volts(one.reading_v)}"


def counts_left(one: CountsLeft) -> str:
    """Hysteresis of too few counts."""
    return (
        f"{float(one.left_counts):.3g} counts of hysteresis are left between them, of {volts(one.step_v)} each; at "
        "least two are needed for a reading to stand still"
    )
