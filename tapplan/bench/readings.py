"""A reading as people give it, in words: understood, or refused with what is accepted."""

from __future__ import annotations

from fractions import Fraction

from tapplan.bench.isolation import Reading
from tapplan.bench.measures import ALLOWED, PARTS, UNITS, YES_NO, Condition, Measure, Power, What, resistor
from tapplan.bench.phrase import Names, Phrase
from tapplan.bench.quantities import DECIMAL, marked_twice, quantity
from tapplan.bench.values import MOST, NEVER, SOMETIMES
from tapplan.control.lookup import Approach
from tapplan.design.objection import nearest

OPEN_WORDS = ("open", "ol", "0l", "o.l", "o.l.", "0.l", "0.l.", "infinite", "inf", "\u221e")
BEEP, NO_BEEP = ("beep", "beeps"), ("no beep", "no beeps", "nobeep")
SOMETIMES_WORDS = ("sometimes", "intermittent", "jumps")
UNKNOWN_WORDS = ("unknown", "?", "-")
YES_WORDS, NO_WORDS = ("yes", "y", "bright", "on", "true"), ("no", "n", "dark", "off", "false")
POWERS: dict[str, Power] = {
    "off": "off",
    "low": "low",
    "battery": "battery",
    **dict.fromkeys(("line", "l", "mains", "at"), "line"),
}
STATES: dict[Power, str] = {
    "off": "with the power off",
    "low": "on a small source",
    "line": "on the line",
    "battery": "on battery",
}
COIL_WORDS = ("coils", "coil")
MOST_VOLTS, MOST_SOURCE_OHM = Fraction(1000), Fraction(10000)


def reading_of(text: str, names: Names) -> Reading:
    """One reading in words.

    Raises:
        ReadingError: the words mean nothing, name what is not there, or combine what cannot be measured together.
    """
    words = Phrase(text, names)
    condition = _condition(words)
    words.expect(":")
    measure = _measure(words, condition)
    words.expect("=")
    return Reading(measure, _value(words, measure), text.strip())


def _condition(words: Phrase) -> Condition:
    word = words.take().lower()
    power = POWERS.get(word)
    if power == "off":
        return Condition("off", _coils(words))
    if power == "battery":
        return Condition("battery")
    if power == "low":
        return _small_source(words)
    if power == "line":
        return _line(words)
    raise words.error(f'"{word}" as the condition', "off, low, battery or line first")


def _small_source(words: Phrase) -> Condition:
    volts = _volts(words)
    ohm = _through(words, volts)
    words.expect("on")
    fed = _two_places(words)
    if fed[0] == fed[1]:
        raise words.error(f'the source on "{fed[0]}" twice', "two different points")
    return Condition("low", _coils(words), fed, volts, None, ohm)


def _through(words: Phrase, volts: Fraction) -> Fraction | None:
    """Ohms of a small source's resistor; None for the usual ones of its volts."""
    if words.peek() != "through":
        return None
    words.take()
    text = words.amount()
    ohm = quantity(text, "ohm")
    if ohm is None or not 0 < ohm <= MOST_SOURCE_OHM:
        raise words.error(f'"{text}" as the resistor', f"ohms above 0, at most {MOST_SOURCE_OHM}, such as 10 ohm")
    return None if ohm == resistor(volts) else ohm


def _line(words: Phrase) -> Condition:
    """The line: swept, at volts come to slowly, or switched on there, as it is where nothing else is said."""
    if words.peek() in ("", ":", *COIL_WORDS):
        raise words.error("line without volts", "line VOLTS rising, falling or start")
    volts = None if words.peek() in ("rising", "falling") else _volts(words)
    course = _course(words.take().lower()) if words.peek() in ("rising", "falling", "start") else None
    if words.peek() not in (":", *COIL_WORDS):
        raise words.error(f'"{words.peek() or "the end"}" after line volts', "rising, falling or start, then a colon")
    coils = _coils(words) if words.peek() in COIL_WORDS else None
    if course is None and coils is None:
        course = "start"
    return Condition("line", coils, None, volts, course)


def _course(word: str) -> Approach:
    return word  # type: ignore[return-value]  # one of the words it was compared with


def _coils(words: Phrase) -> frozenset[str]:
    if words.peek() not in COIL_WORDS:
        return frozenset()
    words.take()
    relays = words.listed()
    known = words.names.relays
    if relays in (["none"], []) and "none" not in (known or ()):
        return frozenset()
    for relay in relays:
        _known(words, relay, known, "relay")
    return frozenset(relays)


def _known(words: Phrase, name: str, known: tuple[str, ...] | None, kind: str) -> str:
    if known is not None and name not in known:
        hint = nearest(name, known)
        listed = ", ".join(known[:20])
        raise words.error(f'{kind} "{name}"', f"one of {listed}" + (f" ({hint})" if hint else ""))
    return name


def _place(words: Phrase) -> str:
    """A point: a terminal, a tap, a relay's pin such as K1.no, or `lug P` for a winding's own end."""
    lugs = ""
    while words.peek() == "lug":  # in quotes it is a name like any other
        words.take()
        lugs += "lug "
    return _known(words, lugs + words.take(), words.names.points, "point")


def _two_places(words: Phrase) -> tuple[str, str]:
    first = _place(words)
    if words.peek() == "and":
        words.take()
    return first, _place(words)


def _measure(words: Phrase, condition: Condition) -> Measure:
    word = words.take().lower()
    what = _what(words, "volts" if word == "output" else word)
    measure = Measure(condition, what, words.names.output if word == "output" else _at(words, what))
    _check(words, measure)
    return measure


def _what(words: Phrase, word: str) -> What:
    known: tuple[What, ...] = (*YES_NO, *UNITS)
    found = next((one for one in known if one == word), None)
    if found is None:
        raise words.error(f'"{word}" as what was measured', f"output, {', '.join((*UNITS, *YES_NO))}")
    return found


def _at(words: Phrase, what: What) -> tuple[str, ...]:
    """The points, relay, part or bands of a quantity."""
    match what:
        case "volts" | "ohms":
            ends = _two_places(words)
            if ends[0] == ends[1]:
                raise words.error(f'both probes on "{ends[0]}"', "two different points")
            return ends
        case "click" | "drive" | "chatter" | "coil-ohms":
            return (_known(words, words.take(), words.names.relays, "relay"),)
        case "part-ohms":
            return (_known(words, words.take(), PARTS, "part"),)
        case "switch":
            bands = words.names.bands
            return _known(words, words.take(), bands, "band"), _known(words, words.take(), bands, "band")
        case "lamp" | "current" | "rail" | "ripple" | "battery":
            return ()


def _check(words: Phrase, measure: Measure) -> None:
    """Refuses what cannot be measured in such a condition."""
    power, what = measure.condition.power, measure.what
    if what not in ALLOWED[power]:
        raise words.error(f"{what} {STATES[power]}", f"{', '.join(ALLOWED[power])} there")
    sweep = power == "line" and measure.condition.volts is None
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


def _neighbours(words: Phrase, measure: Measure) -> None:
    names = list(words.names.bands)
    here, there = (names.index(name) for name in measure.at)
    step = 1 if measure.condition.course == "rising" else -1
    if there - here != step:
        raise words.error(
            f'a switch from "{measure.at[0]}" to "{measure.at[1]}" on a line that is {measure.condition.course}',
            "two neighbouring bands, the one left first: rising from the lower input, falling from the higher",
        )


def _volts(words: Phrase) -> Fraction:
    text = words.amount()
    value = quantity(text, "V")
    if value is None and quantity(text, "ohm") is not None:
        raise words.error(f"{text} as volts", "volts, such as 203 or 203 V")
    if value is None or not 0 < value <= MOST_VOLTS:
        accepted = f"volts above 0, at most {MOST_VOLTS}"
        raise words.error(f'"{text}" as volts', f"{accepted}; {DECIMAL}" if marked_twice(text) else accepted)
    return value


def _value(words: Phrase, measure: Measure) -> Fraction | None:
    """The value; None where it was not to be had."""
    text = " ".join(words.rest())
    small = " ".join(text.lower().split())
    if small in UNKNOWN_WORDS:
        return None
    if not text:
        raise words.error("no value", "a value after =, or unknown")
    if small in SOMETIMES_WORDS:
        return SOMETIMES
    if measure.what in YES_NO:
        return _yes_or_no(words, measure, text)
    if measure.unit == "ohm" and small in OPEN_WORDS:
        return MOST
    if small in (*BEEP, *NO_BEEP):
        return _buzzer(words, measure, small)
    if measure.what == "switch" and small == "never":
        return NEVER
    value = quantity(text, measure.unit)
    if value is None:
        raise words.error(f'"{text}" for {measure.what}', _accepted(measure, text))
    return min(value, MOST)


def _yes_or_no(words: Phrase, measure: Measure, text: str) -> Fraction:
    if text.lower() in YES_WORDS:
        return Fraction(1)
    if text.lower() in NO_WORDS:
        return Fraction(0)
    accepted = "bright or dark" if measure.what == "lamp" else "yes or no"
    raise words.error(f'"{text}" for {measure.what}', f"{accepted}, sometimes, or unknown")


def _buzzer(words: Phrase, measure: Measure, small: str) -> Fraction:
    """What a continuity buzzer says of two points; a coil is silent whether it is whole or open."""
    if measure.what not in ("ohms", "part-ohms"):
        raise words.error(f'"{small}" for {measure.what}', f"a number in {measure.unit}; a buzzer does not tell it")
    return Fraction(0) if small in BEEP else MOST


def _accepted(measure: Measure, text: str) -> str:
    """What a number should have been like."""
    others = {"ohm": "open, sometimes or unknown", "V": "sometimes or unknown", "A": "sometimes or unknown"}
    other = "never, sometimes or unknown" if measure.what == "switch" else others[measure.unit]
    told = f"a number in {measure.unit}, or {other}"
    return f"{told}; {DECIMAL}" if marked_twice(text) else told
