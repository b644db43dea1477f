"""A short name for one revision of a design, printed on sheets and reports so that they cannot be mixed up."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from fractions import Fraction
from hashlib import sha256

from tapplan.design.model import Design

LENGTH = 12


def fingerprint(design: Design) -> str:
    """Hexadecimal digits that any change of the design changes, other than of its title and comments.

    A key at its default counts as left out, so that a key new in the format leaves the names of older files as they
    were.
    """
    text = "\n".join(_lines("design", design))
    return sha256(text.encode()).hexdigest()[:LENGTH]


def _lines(key: str, value: object) -> list[str]:
    """Every value with its place, numbers as exact fractions: equal designs give equal lines."""
    if is_dataclass(value):
        stated = [one for one in fields(value) if one.name != "title" and getattr(value, one.name) != one.default]
        return [line for one in stated for line in _lines(f"{key}.{one.name}", getattr(value, one.name))]
    if isinstance(value, tuple):
        return [
            f"{key}#{len(value)}",
            *(line for n, each in enumerate(value) for line in _lines(f"{key}[{n}]", each)),
        ]
    if isinstance(value, Fraction):
        return [f"{key}={value.numerator}/{value.denominator}"]
    return [f"{key}={value!r}"]
