"""Numbers with their units, as people write them on paper and read them off a meter."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from tapplan.design.numbers import read_number

DECIMAL = "a comma or a point is the decimal sign, thousands take no mark"
ONE, MILLI, MICRO, KILO, MEGA = (Fraction(10) ** power for power in (0, -3, -6, 3, 6))
OMEGA = "\u03c9"  # a small omega, as lower() makes of both signs for ohm
UNITS: dict[str, dict[str, Fraction]] = {
    "V": {"v": ONE, "volt": ONE, "volts": ONE, "mv": MILLI, "kv": KILO},
    "A": {
        **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), ONE),
        **dict.fromkeys(("ma", "milliamp", "milliamps"), MILLI),
        **dict.fromkeys(("ua", "\u00b5a", "\u03bca"), MICRO),  # either letter that looks like a mu
    },
    "ohm": {
        **dict.fromkeys(("ohm", "ohms", "r", OMEGA), ONE),
        **dict.fromkeys(("mohm", "mohms", f"m{OMEGA}", "milliohm", "milliohms"), MILLI),
        **dict.fromkeys(("k", "kohm", "kohms", f"k{OMEGA}"), KILO),
    },
}
MEGOHMS = ("m", "mohm", "mohms", f"m{OMEGA}", "meg", "megohm", "megohms")
KINDS = ("ac", "dc", "rms", "~")  # of volts and amperes: the quantity says which, so the word adds nothing
MOST_LETTERS = 80  # longer than any number with its unit
NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"
PLAIN = re.compile(rf"({NUMBER})\s*([^\s0-9]*)")
INNER = re.compile(rf"([0-9]+)([kKMRrVv{OMEGA}\u03a9\u2126])([0-9]+)\s*(?:[oO][hH][mM][sS]?|[{OMEGA}\u03a9\u2126])?")
KIND = re.compile(r"(?<=[a-z])(?:\s*(?:ac|dc|rms|~))+$", re.IGNORECASE)
MARKS = re.compile(r"[0-9][0-9.]*,[0-9]*[.,]|,[0-9]*\.")  # 1,234.5 and 1,234,567 and 1.234,5


def quantity(text: str, unit: str) -> Fraction | None:
    """A number in V, A or ohm, with or without its unit; a comma is a decimal sign, always.

    A prefix may stand for the decimal sign, as in 4k7, 0R2 or 3V3. None where it is no number, or of another unit.
    """
    given = text.strip()
    if len(given) > MOST_LETTERS:
        return None
    if unit != "ohm":
        given = KIND.sub("", given)
    inner = INNER.fullmatch(given)
    if inner is not None:
        whole, prefix, part = inner.group(1, 2, 3)
        factor = _factor(prefix, unit)
        digits = f"{whole}.{part}"
    else:
        plain = PLAIN.fullmatch(given)
        if plain is None:
            return None
        digits, suffix = plain.groups()
        factor = ONE if not suffix else _factor(suffix, unit)
    try:
        value = read_number(Decimal(digits.replace(",", ".")))
    except InvalidOperation:  # an exponent beyond what a Decimal holds
        return None
    return None if value is None or factor is None else value * factor


def _factor(suffix: str, unit: str) -> Fraction | None:
    """What a prefix and unit multiply by; None where they are not of this unit."""
    word = suffix.lower()
    if suffix[:1] == "M" or word[:3] == "meg":  # a capital is mega, and of volts or amperes nobody means that
        return MEGA if unit == "ohm" and word in MEGOHMS else None
    return UNITS[unit].get(word)


def marked_twice(text: str) -> bool:
    """Whether a number has a comma beside another mark, as one with a mark for thousands has."""
    return MARKS.search(text) is not None


def goes_on(word: str) -> bool:
    """Whether a word can follow a number as its unit."""
    if len(word) > MOST_LETTERS:
        return False
    small = word.lower()
    return small in KINDS or small in MEGOHMS or any(small in own for own in UNITS.values()) or _with_kind(small)


def _with_kind(small: str) -> bool:
    """A unit and a kind in one word, such as VAC."""
    bare = KIND.sub("", small)
    return bare != small and any(bare in UNITS[unit] for unit in ("V", "A"))
