"""A reading as people give it, in words: understood, or refused with what is accepted."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from tapplan.bench.isolation import Reading
from tapplan.bench.measures import ALLOWED, YES_NO, Condition, Measure, What
from tapplan.bench.values import MOST, NEVER
from tapplan.control.lookup import Approach
from tapplan.control.table import ControlTable
from tapplan.design.numbers import read_number
from tapplan.design.objection import nearest
from tapplan.errors import UsageError

GRAMMAR = (
    "CONDITION: QUANTITY = VALUE, such as 'line 203 V rising: output = 231', "
    "'low 6 V on LINE NEUTRAL coils K1: volts OUT NEUTRAL = 6.4', 'off coils K1: ohms K1.com K1.no = 0.2'"
)
TOKENS = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[:=+]|[^\s:="'+]+)""")
THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")  # 1,200: twelve hundred here, one and a fifth there
UNITS = {
    "v": ("V", Fraction(1)),
    "volt": ("V", Fraction(1)),
    "volts": ("V", Fraction(1)),
    "mv": ("V", Fraction(1, 1000)),
    "kv": ("V", Fraction(1000)),
    "ohm": ("ohm", Fraction(1)),
    "ohms": ("ohm", Fraction(1)),
    "\u03c9": ("ohm", Fraction(1)),  # a small omega, as lower() makes of the sign for ohm
    "mohm": ("ohm", Fraction(1, 1000)),
    "m\u03c9": ("ohm", Fraction(1, 1000)),
    "milliohm": ("ohm", Fraction(1, 1000)),
    "kohm": ("ohm", Fraction(1000)),
    "k": ("ohm", Fraction(1000)),
    "k\u03c9": ("ohm", Fraction(1000)),
    "megohm": ("ohm", Fraction(10**6)),
}
OPEN_WORDS = ("open", "ol", "o.l", "o.l.", "infinite", "inf", "\u221e")
UNKNOWN_WORDS = ("unknown", "?", "-")
YES_WORDS, NO_WORDS = ("yes", "y", "bright", "on", "true"), ("no", "n", "dark", "off", "false")
MOST_VOLTS = Fraction(1000)


@dataclass(frozen=True, slots=True)
class Names:
    """The names that readings may use; None: any, as long as a wiring is not known yet."""

    relays: tuple[str, ...] | None
    points: tuple[str, ...] | None
    bands: tuple[str, ...]
    output: tuple[str, str]  # output and neutral

    @staticmethod
    def of(table: ControlTable) -> Names:
        """The names of a design."""
        neutral, output = (table.circuit.points[end] for end in table.circuit.terminals[1:])
        bands = tuple(row.name for row in table.rows)
        return Names(table.circuit.relays, places(table), bands, (output, neutral))


class ReadingError(UsageError):
    """A reading that means nothing, or cannot be."""

    def __init__(self, text: str, found: str, accepted: str) -> None:
        self.found = found
        self.accepted = accepted
        super().__init__(f'reading "{text}": found {found}; accepted: {accepted}')


class _Words:
    """The words of one reading, taken one by one."""

    def __init__(self, text: str, names: Names) -> None:
        self.text, self.names = text, names
        self.words = TOKENS.findall(text)
        if TOKENS.sub("", text).strip():
            raise self.error("a quote that is not closed", GRAMMAR)

    def error(self, found: str, accepted: str) -> ReadingError:
        return ReadingError(self.text, found, accepted)

    def peek(self) -> str:
        return self.words[0].lower() if self.words else ""

    def take(self) -> str:
        if not self.words:
            raise self.error("too few words", GRAMMAR)
        word: str = self.words.pop(0)
        if word[0] == '"' and len(word) > 1:
            return re.sub(r"\\(.)", r"\1", word[1:-1])
        return word[1:-1] if word[0] == "'" and len(word) > 1 else word

    def expect(self, mark: str) -> None:
        if self.peek() != mark:
            raise self.error(f'"{self.peek() or "the end"}" where "{mark}" should stand', GRAMMAR)
        self.take()

    def until(self, *marks: str) -> list[str]:
        found = []
        while self.words and self.peek() not in marks:
            found.append(self.take())
        return found


def reading_of(text: str, names: Names) -> Reading:
    """One reading in words.

    Raises:
        ReadingError: the words mean nothing, name what is not there, or combine what cannot be measured together.
    """
    words = _Words(text, names)
    condition = _condition(words)
    words.expect(":")
    measure = _measure(words, condition)
    words.expect("=")
    return Reading(measure, _value(words, measure), text.strip())


def _condition(words: _Words) -> Condition:
    power = words.take().lower()
    if power == "off":
        return Condition("off", _coils(words))
    if power == "low":
        volts = _volts(words)
        words.expect("on")
        fed = (_place(words), _place(words))
        if fed[0] == fed[1]:
            raise words.error(f'the source on "{fed[0]}" twice', "two different points")
        return Condition("low", _coils(words), fed, volts)
    if power == "line":
        at_volts = None if words.peek() in ("rising", "falling") else _volts(words)
        course = words.take().lower() if words.peek() in ("rising", "falling", "start") else None
        if course is None and words.peek() != "coils":
            raise words.error("line volts without how they were reached", "rising, falling or start after the volts")
        coils = _coils(words) if words.peek() == "coils" else None
        return Condition("line", coils, None, at_volts, _course(course))
    raise words.error(f'"{power}" as the condition', "off, low or line first")


def _course(word: str | None) -> Approach | None:
    return word  # type: ignore[return-value]  # one of the words it was compared with


def _coils(words: _Words) -> frozenset[str]:
    if words.peek() != "coils":
        return frozenset()
    words.take()
    relays = [word for word in words.until(":") if word != "+"]
    known = words.names.relays
    if relays in (["none"], []) and "none" not in (known or ()):
        return frozenset()
    for relay in relays:
        _known(words, relay, known, "relay")
    return frozenset(relays)


def _known(words: _Words, name: str, known: tuple[str, ...] | None, kind: str) -> str:
    if known is not None and name not in known:
        hint = nearest(name, known)
        listed = ", ".join(known[:20])
        raise words.error(f'{kind} "{name}"', f"one of {listed}" + (f" ({hint})" if hint else ""))
    return name


def _place(words: _Words) -> str:
    """A point: a terminal, a tap, a relay's pin such as K1.no, or `lug P` for a winding's own end."""
    lugs = ""
    while words.peek() == "lug":  # in quotes it is a name like any other
        words.take()
        lugs += "lug "
    return _known(words, lugs + words.take(), words.names.points, "point")


def places(table: ControlTable) -> tuple[str, ...]:
    """All points at which a probe can stand."""
    circuit = table.circuit
    wound = {end for section in circuit.sections for end in (section.start, section.finish)}
    pins = [contact.label for contact in circuit.contacts]
    commons = [f"{label.rpartition('.')[0]}.com" for label in pins]
    lugs = [f"lug {circuit.points[point]}" for point in sorted(wound)]
    return tuple(dict.fromkeys([*circuit.points, *pins, *commons, *lugs]))


def _measure(words: _Words, condition: Condition) -> Measure:
    what = words.take().lower()
    if what == "output":
        measure = Measure(condition, "volts", words.names.output)
    elif what in ("volts", "ohms"):
        ends = (_place(words), _place(words))
        if ends[0] == ends[1]:
            raise words.error(f'both probes on "{ends[0]}"', "two different points")
        measure = Measure(condition, "volts" if what == "volts" else "ohms", ends)
    elif what in ("click", "drive", "coil-ohms"):
        measure = Measure(condition, _what(what), (_known(words, words.take(), words.names.relays, "relay"),))
    elif what == "lamp":
        measure = Measure(condition, "lamp")
    elif what == "switch":
        bands = words.names.bands
        ends = (_known(words, words.take(), bands, "band"), _known(words, words.take(), bands, "band"))
        measure = Measure(condition, "switch", ends)
    else:
        raise words.error(
            f'"{what}" as what was measured', "output, volts, ohms, coil-ohms, click, drive, lamp, switch"
        )
    _check(words, measure)
    return measure


def _what(word: str) -> What:
    return word  # type: ignore[return-value]  # one of the words it was compared with


def _check(words: _Words, measure: Measure) -> None:
    """Refuses what cannot be measured in such a condition."""
    power, what = measure.condition.power, measure.what
    if what not in ALLOWED[power]:
        state = {"off": "with the power off", "low": "on a small source", "line": "on the line"}[power]
        raise words.error(f"{what} {state}", f"{', '.join(ALLOWED[power])} there")
    sweep = measure.condition.power == "line" and measure.condition.volts is None
    if sweep != (what == "switch"):
        accepted = (
            "line rising: switch BAND BAND = VOLTS" if what == "switch" else "line VOLTS rising, falling or start"
        )
        raise words.error("a switch point at fixed volts" if what == "switch" else "line without volts", accepted)
    if what == "switch":
        _neighbours(words, measure)
    if what == "click" and not set(measure.at) & (measure.condition.coils or frozenset()):
        relay = measure.at[0]
        raise words.error(
            f"a click of {relay}, whose coil is not driven", f"off coils {relay}: click {relay} = VALUE"
        )
    if what == "drive" and measure.condition.coils is not None:
        raise words.error("the drive of a coil that a bench supply drives", "coils left to the controller")


def _neighbours(words: _Words, measure: Measure) -> None:
    names = list(words.names.bands)
    here, there = (names.index(name) for name in measure.at)
    step = 1 if measure.condition.course == "rising" else -1
    if there - here != step:
        raise words.error(
            f'a switch from "{measure.at[0]}" to "{measure.at[1]}" on a line that is {measure.condition.course}',
            "two neighbouring bands, the one left first: rising from the lower input, falling from the higher",
        )


def _volts(words: _Words) -> Fraction:
    text = words.take()
    if words.peek() in ("v", "mv", "kv", "volt", "volts"):
        text += " " + words.take()
    elif words.peek() in UNITS:
        raise words.error(f"{text} {words.peek()} as volts", "volts, such as 203 or 203 V")
    value = quantity(text, "V")
    if value is None or not 0 < value <= MOST_VOLTS:
        raise words.error(f'"{text}" as volts', f"volts above 0, at most {MOST_VOLTS}")
    return value


def _value(words: _Words, measure: Measure) -> Fraction | None:
    given = words.until()
    text = " ".join(given)
    if text.lower() in UNKNOWN_WORDS:
        return None
    if not text:
        raise words.error("no value", "a value after =, or unknown")
    if measure.what in YES_NO:
        if text.lower() in YES_WORDS:
            return Fraction(1)
        if text.lower() in NO_WORDS:
            return Fraction(0)
        accepted = "bright or dark" if measure.what == "lamp" else "yes or no"
        raise words.error(f'"{text}" for {measure.what}', f"{accepted}, or unknown")
    if measure.unit == "ohm" and text.lower() in OPEN_WORDS:
        return MOST
    if measure.what == "switch" and text.lower() == "never":
        return NEVER
    if THOUSANDS.match(text):
        raise words.error(f'"{text}", which can be read two ways', "1200 or 1.200, without a comma for thousands")
    value = quantity(text, measure.unit)
    if value is None:
        other = "open" if measure.unit == "ohm" else "never" if measure.what == "switch" else "unknown"
        raise words.error(f'"{text}" for {measure.what}', f"a number in {measure.unit}, or {other}")
    return min(value, MOST)


def quantity(text: str, unit: str) -> Fraction | None:
    """A number with or without its unit; a single comma is a decimal comma.

    None where it is no number, or of another unit.
    """
    match = re.fullmatch(r"([0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?)\s*([^\s0-9]*)", text.strip())
    if match is None:
        return None
    digits, suffix = match.groups()
    if "," in digits:
        if digits.count(",") > 1 or "." in digits:
            return None
        digits = digits.replace(",", ".")
    plain = suffix.lower().replace("\u2126", "\u03c9")
    if suffix[:1] == "M":  # a capital is mega, and of volts nobody means that
        plain = "megohm" if plain in ("m", "mohm", "mohms", "m\u03c9", "megohm") else ""
    key = plain or suffix
    found = (unit, Fraction(1)) if not suffix else UNITS.get(key)
    if found is None or found[0] != unit:
        return None
    try:
        value = read_number(Decimal(digits))
    except InvalidOperation:
        return None
    return None if value is None else value * found[1]
