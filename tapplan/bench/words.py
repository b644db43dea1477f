"""Conditions and measurements in words: those in which readings are given, on the command line and in the sheet.

    off [coils K1+K2]: ohms K1.com K1.no = 0.2
    low 6 V [through 10 ohm] on LINE NEUTRAL [coils K1]: volts OUT NEUTRAL = 6.4
    line 203 V rising: output = 231
    line rising: switch "boost" "direct" = 207
    battery: drive K1 = no

Names with blanks, colons or equals signs stand in quotes, and so do names that are words of the grammar.
"""

from __future__ import annotations

import re
from fractions import Fraction

from tapplan.bench.defects import Hypothesis
from tapplan.bench.measures import YES_NO, Condition, Measure, resistor
from tapplan.bench.values import MOST, NEVER, OPEN_FROM, SOMETIMES, Prediction, joined
from tapplan.exact import Span

PLAIN = re.compile(r"""[^\s:="'+,;]+""")
GRAMMAR_WORDS = ("lug", "and")  # a name that is one of these stands in quotes


def place_named(name: str) -> str:
    """A point as it is written in a reading; the word for a winding's end stands before the quotes."""
    return f"lug {place_named(name[4:])}" if name.startswith("lug ") and len(name) > 4 else named(name)


def named(name: str) -> str:
    """A name as it is written in a reading: in quotes where it must be."""
    if PLAIN.fullmatch(name) and not name.startswith("#") and name.lower() not in GRAMMAR_WORDS:
        return name
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def condition_told(condition: Condition) -> str:
    """A condition in the words of a reading."""
    words: list[str] = [condition.power]
    if condition.volts is not None:
        words.append(f"{number(condition.volts)} V")
    if condition.ohm is not None:
        words.append(f"through {number(condition.ohm)} ohm")
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
    if value == SOMETIMES:
        return "sometimes"
    if measure.what == "lamp":
        return "bright" if value else "dark"
    if measure.what in YES_NO:
        return "yes" if value else "no"
    if measure.what == "switch" and value >= NEVER:
        return "never"
    if measure.unit == "ohm" and value >= MOST:
        return "open"
    return f"{_scaled(measure, value)} {_unit(measure)}"


def _unit(measure: Measure) -> str:
    """The unit in which readings are told: currents of a small source are small."""
    return "mA" if measure.unit == "A" else measure.unit


def _scaled(measure: Measure, value: Fraction, digits: int = 6) -> str:
    return number(value * 1000 if measure.unit == "A" else value, digits)


def readings_told(measure: Measure, readings: Prediction) -> str:
    """The readings that fit, in words: spans, or one of the words of a reading."""
    if measure.what in YES_NO:
        ends = sorted({span.low for span in readings}, key=lambda end: (end == SOMETIMES, end))
        return " or ".join(value_told(measure, end) for end in ends)
    spans = sorted(
        joined(readings), key=lambda span: span.low == SOMETIMES
    )  # what is now so, now otherwise is told last
    return " or ".join(_span(measure, span) for span in spans) or "none"


def _span(measure: Measure, span: Span) -> str:
    if span.low == span.high == SOMETIMES:
        return "sometimes"
    if span.low == 0 and span.high >= MOST:
        return "anything"
    if measure.what == "switch" and span.low >= NEVER / 2:
        return "never"
    if measure.unit == "ohm" and span.high >= MOST:
        return "open" if span.low <= OPEN_FROM else f"above {number(span.low, 4)} ohm"
    low, high, unit = _scaled(measure, span.low, 4), _scaled(measure, span.high, 4), _unit(measure)
    if span.high >= MOST / 2:
        return f"above {low} {unit}"
    if span.low == 0:
        return f"up to {high} {unit}"
    return f"{low} to {high} {unit}"


def asked(measure: Measure) -> str:
    """What to do, as a sentence."""
    return f"{_set_up(measure.condition)} {_doing(measure)}"


def _set_up(condition: Condition) -> str:
    coils = _coils(condition)
    if condition.power == "off":
        return f"Power off, {coils}:"
    if condition.power == "battery":
        return "Mains unplugged, running from the battery:"
    if condition.power == "low":
        return f"Mains off, {source_told(condition)}, {coils}:"
    if condition.volts is None:
        return f"On the line, {condition.course} slowly:"
    ways = {"rising": "reached slowly from below", "falling": "reached slowly from above"}
    way = ways.get(condition.course or "", "switched on there")
    driven = "" if condition.coils is None else f", {coils}"
    return f"Line at {number(condition.volts)} V, {way}{driven}:"


def source_told(condition: Condition, *, whole: bool = False) -> str:
    """The small source of a condition: its volts, the two points it feeds, and its resistor.

    The resistor is named where it is not the usual one; with `whole` always.
    """
    volts = condition.volts or Fraction(0)
    ohm = resistor(volts) if condition.ohm is None and whole else condition.ohm
    through = "" if ohm is None else f" through {number(ohm)} ohm"
    return f"{number(volts)} V AC isolated{through} on {' and '.join(condition.fed or ())}"


def _coils(condition: Condition) -> str:
    if not condition.coils:
        return "no coil driven"
    *others, last = sorted(condition.coils)
    driven = f"{', '.join(others)} and {last}" if others else last
    return f"{driven} driven from a bench supply"


def _doing(measure: Measure) -> str:
    at = measure.at
    match measure.what:
        case "ohms" | "volts":
            return f"{measure.what} between {at[0]} and {at[1]}."
        case "coil-ohms":
            return f"ohms of the coil of {at[0]}."
        case "part-ohms":
            return f"ohms of the {at[0]}, one end of it off the board."
        case "click":
            return f"is {at[0]} heard to click as its coil is driven?"
        case "drive":
            return f"is there voltage on the coil of {at[0]}?"
        case "chatter":
            return f"does {at[0]} chatter or hum?"
        case "lamp" if measure.condition.power == "low":
            return "is the source pulled down (its lamp bright)?"
        case "lamp":
            return "is the series lamp bright?"
        case "current":
            return "the current that the source gives."
        case "rail":
            return "direct volts of the supply of the coils."
        case "ripple":
            return "alternating volts on the supply of the coils."
        case "battery":
            return "direct volts of the battery."
        case "switch":
            return f'at what line volts do the coils change from band "{at[0]}" to "{at[1]}"?'


def hypothesis_told(hypothesis: Hypothesis) -> str:
    """A hypothesis in a few words."""
    return " and ".join(defect.told() for defect in hypothesis) or "no fault"
