"""Numbers of a design file, read exactly and refused by name when they are not what the key takes.

TOML floats arrive as Decimal, so 0.1 stays one tenth. Sizes are limited before any arithmetic is done,
because an exact 1e999999999 would fill the memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any

from tapplan.design.marks import Taken

LARGEST = 10**9
MOST_DECIMALS = 30
MOST_SAMPLES = 10_000_000  # random draws that a call may ask for
MOST_SEED = 10**18 - 1  # and their seed
MOST_TOTAL_TURNS = 5000


def read_number(value: object) -> Fraction | None:
    """The exact value of an int or a Decimal; None when it is neither, not finite, or too large or long."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        return None
    if isinstance(value, Decimal):
        if not value.is_finite():
            return None
        exponent = value.as_tuple().exponent
        if value.adjusted() > 9 or not isinstance(exponent, int) or -exponent > MOST_DECIMALS:
            return None
    exact = Fraction(value)
    return exact if abs(exact) <= LARGEST else None


def read_fraction(value: object) -> Fraction | None:
    """As `read_number`, and also a text such as "25/2"."""
    if not isinstance(value, str):
        return read_number(value)
    above, slash, below = value.partition("/")
    if not slash or not all(part.isascii() and part.isdigit() and len(part) <= 10 for part in (above, below)):
        return None
    if int(below) == 0 or int(above) > LARGEST or int(below) > LARGEST:
        return None
    return Fraction(int(above), int(below))


def _pair_of(value: object) -> tuple[Fraction, Fraction] | None:
    """Both numbers of a list of two."""
    if not isinstance(value, list) or len(value) != 2:
        return None
    first, second = read_number(value[0]), read_number(value[1])
    return None if first is None or second is None else (first, second)


def _number(sensible: Callable[[Fraction], bool], accepted: str, **schema: object) -> Taken:
    def read(value: object) -> Fraction | None:
        exact = read_number(value)
        return exact if exact is not None and sensible(exact) else None

    return Taken(read, accepted, {"type": "number", **schema}, 1)


def _whole(low: int, high: int) -> Taken:
    def read(value: object) -> Fraction | None:
        exact = read_number(value)
        return exact if exact is not None and exact.denominator == 1 and low <= exact <= high else None

    schema = {"type": "integer", "minimum": low, "maximum": high}
    return Taken(read, f"a whole number from {low} to {high}", schema, low)


def _pair(sensible: Callable[[Fraction, Fraction], bool], accepted: str, schema: Mapping[str, Any]) -> Taken:
    def read(value: object) -> tuple[Fraction, Fraction] | None:
        pair = _pair_of(value)
        return pair if pair is not None and sensible(*pair) else None

    return Taken(read, accepted, schema, [1, 2])


def _read_turns(value: object) -> Fraction | None:
    turns = read_fraction(value)
    return turns if turns is not None and turns > 0 else None


def _read_turns_span(value: object) -> tuple[Fraction, Fraction] | None:
    single = read_number(value)
    span = _pair_of(value) if single is None else (single, single)
    if span is None or any(end.denominator != 1 for end in span):
        return None
    return span if 2 <= span[0] <= span[1] <= MOST_TOTAL_TURNS else None


def _read_frequency(value: object) -> tuple[Fraction, Fraction] | None:
    single = read_number(value)
    span = _pair_of(value) if single is None else (single, single)
    return span if span is not None and 0 < span[0] <= span[1] else None


def _read_times(value: object) -> tuple[Fraction, Fraction] | None:
    single = read_number(value)
    span = _pair_of(value) if single is None else (Fraction(0), single)
    return span if span is not None and 0 <= span[0] <= span[1] else None


_TWO = {
    "type": "array",
    "items": {"type": "number", "minimum": 0, "maximum": LARGEST},
    "minItems": 2,
    "maxItems": 2,
}
_TWO_OF_ANY_SIGN = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
_TURNS = {
    "anyOf": [
        {"type": "number", "exclusiveMinimum": 0, "maximum": LARGEST},
        {"type": "string", "pattern": "^[0-9]{1,10}/[0-9]{1,10}$"},
    ]
}
_TURNS_SPAN = {
    "anyOf": [
        {"type": "integer", "minimum": 2, "maximum": MOST_TOTAL_TURNS},
        {"type": "array", "items": {"type": "integer", "minimum": 2}, "minItems": 2, "maxItems": 2},
    ]
}

Positive = Annotated[
    Fraction,
    _number(lambda x: x > 0, "a number above 0, at most 1e9", exclusiveMinimum=0, maximum=LARGEST),
]
NotNegative = Annotated[Fraction, _number(lambda x: x >= 0, "a number from 0 to 1e9", minimum=0, maximum=LARGEST)]
Percent = Annotated[
    Fraction,
    _number(lambda x: 0 <= x < 100, "a percentage from 0 to below 100", minimum=0, exclusiveMaximum=100),
]
UnitFraction = Annotated[
    Fraction, _number(lambda x: 0 < x <= 1, "a number above 0, at most 1", exclusiveMinimum=0, maximum=1)
]
Celsius = Annotated[
    Fraction, _number(lambda x: -273 <= x <= 1000, "a temperature from -273 to 1000", minimum=-273, maximum=1000)
]
CopperCelsius = Annotated[
    Fraction,
    _number(lambda x: -50 <= x <= 300, "a temperature of copper from -50 to 300", minimum=-50, maximum=300),
]
Bits = Annotated[Fraction, _whole(4, 24)]
SampleCount = Annotated[Fraction, _whole(1, 1_000_000)]
Few = Annotated[Fraction, _whole(1, 12)]
Turns = Annotated[
    Fraction,
    Taken(_read_turns, 'turns above 0: a whole number, a decimal, or a fraction such as "25/2"', _TURNS, 1),
]
Range = Annotated[
    tuple[Fraction, Fraction],
    _pair(lambda a, b: 0 <= a < b, "[low, high], two numbers from 0 to 1e9, the lower first", _TWO),
]
Resistors = Annotated[
    tuple[Fraction, Fraction],
    _pair(lambda a, b: min(a, b) > 0, "[upper, lower], two resistances above 0 ohm", _TWO),
]
Sides = Annotated[
    tuple[Fraction, Fraction],
    _pair(lambda a, b: min(a, b) > 0, "two lengths above 0 mm", _TWO),
]
Temperatures = Annotated[
    tuple[Fraction, Fraction],
    _pair(lambda a, b: -273 <= a <= b <= 1000, "[low, high] in degrees Celsius, the lower first", _TWO_OF_ANY_SIGN),
]
TurnsSpan = Annotated[
    tuple[Fraction, Fraction],
    Taken(
        _read_turns_span,
        f"a whole number of turns from 2 to {MOST_TOTAL_TURNS}, or [low, high] of them",
        _TURNS_SPAN,
        2,
    ),
]
Frequency = Annotated[
    tuple[Fraction, Fraction],
    Taken(
        _read_frequency,
        "a frequency above 0, or [low, high] with the lower first",
        {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _TWO]},
        1,
    ),
]
Times = Annotated[
    tuple[Fraction, Fraction],
    Taken(
        _read_times,
        "a number from 0 to 1e9, the most it can take, or [least, most] with the least first",
        {"anyOf": [{"type": "number", "minimum": 0, "maximum": LARGEST}, _TWO]},
        1,
    ),
]
