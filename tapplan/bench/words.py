"""Conditions and measurements in the words in which readings are given, on the command line and in the sheet.

    off [coils K1+K2]: ohms K1.com K1.no = 0.2
    low 6 V on LINE NEUTRAL [coils K1]: volts OUT NEUTRAL = 6.4
    line 203 V rising: output = 231
    line rising: switch "boost" "direct" = 207

Names with blanks, colons or equals signs stand in quotes.
"""

from __future__ import annotations

import re
from fractions import Fraction

from tapplan.bench.measures import YES_NO, Condition, Measure
from tapplan.bench.predictions import MOST, NEVER, OPEN_FROM, Prediction
from tapplan.exact import Span

PLAIN = re.compile(r"""[^\s:="'+,;]+""")


def named(name: str) -> str:
    """A name as it is written in a reading: in quotes where it must be."""
    if PLAIN.fullmatch(name) and not name.startswith("#"):
        return name
    return f"'{name}'" if '"' in name else f'"{name}"'


def condition_told(condition: Condition) -> str:
    """A condition in the words of a reading."""
    words: list[str] = [condition.power]
    if condition.volts is not None:
        words.append(f"{number(condition.volts)} V")
    if condition.fed is not None:
        words += ["on", *map(named, condition.fed)]
    if condition.course is not None:
        words.append(condition.course)
    if condition.coils:
        words += ["coils", "+".join(named(one) for one in sorted(condition.coils))]
    return " ".join(words)


def measure_told(measure: Measure) -> str:
    """What is measured, in the words of a reading."""
    return " ".join([measure.what, *map(named, measure.at)])


def told(measure: Measure) -> str:
    """Condition and measurement together."""
    return f"{condition_told(measure.condition)}: {measure_told(measure)}"


def number(value: Fraction, digits: int = 6) -> str:
    """A number without more digits than it needs."""
    return f"{float(value):.{digits}g}"


def value_told(measure: Measure, value: Fraction) -> str:
    """A reading's value in words."""
    if measure.what == "lamp":
        return "bright" if value else "dark"
    if measure.what in YES_NO:
        return "yes" if value else "no"
    if measure.what == "switch" and value >= NEVER:
        return "never"
    if measure.unit == "ohm" and value >= MOST:
        return "open"
    return f"{number(value)} {measure.unit}"


def readings_told(measure: Measure, readings: Prediction) -> str:
    """The readings that fit, in words: spans, or one of the words of a reading."""
    if measure.what in YES_NO:
        return " or ".join(value_told(measure, end) for end in sorted({span.low for span in readings}))
    return " or ".join(_span(measure, span) for span in readings) or "none"


def _span(measure: Measure, span: Span) -> str:
    if span.low == 0 and span.high >= MOST:
        return "anything"
    if measure.what == "switch" and span.low >= NEVER / 2:
        return "never"
    if measure.unit == "ohm" and span.high >= MOST:
        return "open" if span.low <= OPEN_FROM else f"above {number(span.low, 4)} ohm"
    if span.high >= MOST / 2:
        return f"above {number(span.low, 4)} {measure.unit}"
    if span.low == 0:
        return f"up to {number(span.high, 4)} {measure.unit}"
    return f"{number(span.low, 4)} to {number(span.high, 4)} {measure.unit}"
