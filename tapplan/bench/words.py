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

from tapplan.bench.defects import Hypothesis
from tapplan.bench.measures import YES_NO, Condition, Measure
from tapplan.bench.values import MOST, NEVER, OPEN_FROM, Prediction
from tapplan.exact import Span

PLAIN = re.compile(r"""[^\s:="'+,;]+""")


def place_named(name: str) -> str:
    """A point as it is written in a reading; the word for a winding's end stands before the quotes."""
    return f"lug {place_named(name[4:])}" if name.startswith("lug ") and len(name) > 4 else named(name)


def named(name: str) -> str:
    """A name as it is written in a reading: in quotes where it must be."""
    if PLAIN.fullmatch(name) and not name.startswith("#") and name != "lug":
        return name
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def condition_told(condition: Condition) -> str:
    """A condition in the words of a reading."""
    words: list[str] = [condition.power]
    if condition.volts is not None:
        words.append(f"{number(condition.volts)} V")
    if condition.fed is not None:
        words += ["on", *map(place_named, condition.fed)]
    if condition.course is not None:
        words.append(condition.course)
    if condition.coils:
        words += ["coils", "+".join(named(one) for one in sorted(condition.coils))]
    return " ".join(words)


def measure_told(measure: Measure) -> str:
    """What is measured, in the words of a reading."""
    points = measure.what in ("volts", "ohms")
    return " ".join([measure.what, *map(place_named if points else named, measure.at)])


def told(measure: Measure) -> str:
    """Condition and measurement together."""
    return f"{condition_told(measure.condition)}: {measure_told(measure)}"


def number(value: Fraction, digits: int = 6) -> str:
    """A number without more digits than it needs."""
    return f"{float(value):.0f}" if value >= 10**digits // 10 else f"{float(value):.{digits}g}"


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


def asked(measure: Measure) -> str:
    """What to do, as a sentence."""
    return f"{_set_up(measure.condition)} {_doing(measure)}"


def _set_up(condition: Condition) -> str:
    coils = _coils(condition)
    if condition.power == "off":
        return f"Power off, {coils}:"
    if condition.power == "low" and condition.fed is not None:
        fed = " and ".join(condition.fed)
        return f"Mains off, {number(condition.volts or Fraction(0))} V AC isolated on {fed}, {coils}:"
    if condition.volts is None:
        return f"On the line, {condition.course} slowly:"
    ways = {"rising": "come up to slowly from below", "falling": "come down to slowly from above"}
    way = ways.get(condition.course or "", "switched on at")
    driven = "" if condition.coils is None else f", {coils}"
    return f"On the line, {way} {number(condition.volts)} V{driven}:"


def _coils(condition: Condition) -> str:
    if not condition.coils:
        return "no coil driven"
    driven = " and ".join(sorted(condition.coils))
    return f"{driven} driven from a bench supply"


def _doing(measure: Measure) -> str:
    match measure.what:
        case "ohms":
            return f"ohms between {measure.at[0]} and {measure.at[1]}."
        case "volts":
            return f"volts between {measure.at[0]} and {measure.at[1]}."
        case "coil-ohms":
            return f"ohms of the coil of {measure.at[0]}."
        case "click":
            return f"is {measure.at[0]} heard to click as its coil is driven?"
        case "drive":
            return f"is there voltage on the coil of {measure.at[0]}?"
        case "lamp" if measure.condition.power == "low":
            return "is the source pulled down (its lamp bright)?"
        case "lamp":
            return "is the series lamp bright?"
        case _:
            here, there = measure.at
            return f'at what line volts do the coils change from band "{here}" to "{there}"?'


def hypothesis_told(hypothesis: Hypothesis) -> str:
    """A hypothesis in a few words."""
    return " and ".join(defect.told() for defect in hypothesis) or "no fault"
