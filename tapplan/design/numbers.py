"""Numbers of a design file, read exactly and refused by name when they are not what the key takes.

TOML floats arrive as Decimal, so 0.1 stays one tenth. Sizes are limited before any arithmetic is done,
because an exact 1e999999999 would fill the memory.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

LARGEST = 10**9
MOST_DECIMALS = 30
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


def _validator(
    read: Callable[[object], Fraction | None], sensible: Callable[[Fraction], bool], accepted: str
) -> PlainValidator:
    def validate(value: object) -> Fraction:
        exact = read(value)
        if exact is None or not sensible(exact):
            raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})
        return exact

    return PlainValidator(validate)


def _number(sensible: Callable[[Fraction], bool], accepted: str, **schema: object) -> tuple[Any, Any]:
    return _validator(read_number, sensible, accepted), WithJsonSchema({"type": "number", **schema})


_ABOVE_ZERO = _number(lambda x: x > 0, "a number above 0, at most 1e9", exclusiveMinimum=0, maximum=LARGEST)
_FROM_ZERO = _number(lambda x: x >= 0, "a number from 0 to 1e9", minimum=0, maximum=LARGEST)
_PERCENT = _number(lambda x: 0 <= x < 100, "a percentage from 0 to below 100", minimum=0, exclusiveMaximum=100)
_FACTOR = _number(lambda x: 0 < x <= 1, "a number above 0, at most 1", exclusiveMinimum=0, maximum=1)

Positive = Annotated[Fraction, _ABOVE_ZERO[0], _ABOVE_ZERO[1]]
NotNegative = Annotated[Fraction, _FROM_ZERO[0], _FROM_ZERO[1]]
Percent = Annotated[Fraction, _PERCENT[0], _PERCENT[1]]
UnitFraction = Annotated[Fraction, _FACTOR[0], _FACTOR[1]]


def _whole(low: int, high: int) -> tuple[Any, Any]:
    accepted = f"a whole number from {low} to {high}"
    number = _validator(read_number, lambda x: x.denominator == 1 and low <= x <= high, accepted)
    return number, WithJsonSchema({"type": "integer", "minimum": low, "maximum": high})


_BITS = _whole(4, 24)
_SAMPLES = _whole(1, 1_000_000)
_FEW = _whole(1, 12)
Bits = Annotated[Fraction, _BITS[0], _BITS[1]]
SampleCount = Annotated[Fraction, _SAMPLES[0], _SAMPLES[1]]
Few = Annotated[Fraction, _FEW[0], _FEW[1]]
Turns = Annotated[
    Fraction,
    _validator(
        read_fraction,
        lambda x: x > 0,
        'turns above 0: a whole number, a decimal, or a fraction such as "25/2"',
    ),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": LARGEST},
                {"type": "string", "pattern": "^[0-9]{1,10}/[0-9]{1,10}$"},
            ]
        }
    ),
]


def _read_range(value: object) -> tuple[Fraction, Fraction]:
    ends = [read_number(end) for end in value] if isinstance(value, list | tuple) else []
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and 0 <= ends[0] < ends[1]:
        return ends[0], ends[1]
    accepted = "[low, high], two numbers from 0 to 1e9, the lower first"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


_RANGE_SCHEMA: dict[str, Any] = {
    "type": "array",
    "items": {"type": "number", "minimum": 0, "maximum": LARGEST},
    "minItems": 2,
    "maxItems": 2,
}
Range = Annotated[tuple[Fraction, Fraction], PlainValidator(_read_range), WithJsonSchema(_RANGE_SCHEMA)]


def _read_resistors(value: object) -> tuple[Fraction, Fraction]:
    ohms = [read_number(one) for one in value] if isinstance(value, list | tuple) else []
    if len(ohms) == 2 and ohms[0] is not None and ohms[1] is not None and min(ohms[0], ohms[1]) > 0:
        return ohms[0], ohms[1]
    accepted = "[upper, lower], two resistances above 0 ohm"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


Resistors = Annotated[tuple[Fraction, Fraction], PlainValidator(_read_resistors), WithJsonSchema(_RANGE_SCHEMA)]


def _read_temperatures(value: object) -> tuple[Fraction, Fraction]:
    ends = [read_number(end) for end in value] if isinstance(value, list | tuple) else []
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and -273 <= ends[0] <= ends[1] <= 1000:
        return ends[0], ends[1]
    accepted = "[low, high] in degrees Celsius, the lower first"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


Temperatures = Annotated[
    tuple[Fraction, Fraction],
    PlainValidator(_read_temperatures),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]
_CELSIUS = _number(lambda x: -273 <= x <= 1000, "a temperature from -273 to 1000", minimum=-273, maximum=1000)
Celsius = Annotated[Fraction, _CELSIUS[0], _CELSIUS[1]]
_COPPER = _number(lambda x: -50 <= x <= 300, "a temperature of copper from -50 to 300", minimum=-50, maximum=300)
CopperCelsius = Annotated[Fraction, _COPPER[0], _COPPER[1]]


def _read_turns_span(value: object) -> tuple[Fraction, Fraction]:
    ends = [read_number(end) for end in value] if isinstance(value, list | tuple) else [read_number(value)] * 2
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None:
        low, high = ends[0], ends[1]
        if low.denominator == high.denominator == 1 and 2 <= low <= high <= MOST_TOTAL_TURNS:
            return low, high
    accepted = f"a whole number of turns from 2 to {MOST_TOTAL_TURNS}, or [low, high] of them"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


_TURNS_SPAN_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "integer", "minimum": 2, "maximum": MOST_TOTAL_TURNS},
        {"type": "array", "items": {"type": "integer", "minimum": 2}, "minItems": 2, "maxItems": 2},
    ]
}
TurnsSpan = Annotated[tuple[Fraction, Fraction], PlainValidator(_read_turns_span), WithJsonSchema(_TURNS_SPAN_SCHEMA)]


def _read_frequency(value: object) -> tuple[Fraction, Fraction]:
    single = read_number(value)
    if single is not None and single > 0:
        return single, single
    ends = [read_number(end) for end in value] if isinstance(value, list | tuple) else []
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and 0 < ends[0] <= ends[1]:
        return ends[0], ends[1]
    accepted = "a frequency above 0, or [low, high] with the lower first"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


Frequency = Annotated[
    tuple[Fraction, Fraction],
    PlainValidator(_read_frequency),
    WithJsonSchema({"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _RANGE_SCHEMA]}),
]


def _read_times(value: object) -> tuple[Fraction, Fraction]:
    single = read_number(value)
    if single is not None and single >= 0:
        return Fraction(0), single
    ends = [read_number(end) for end in value] if isinstance(value, list | tuple) else []
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and 0 <= ends[0] <= ends[1]:
        return ends[0], ends[1]
    accepted = "a number from 0 to 1e9, the most it can take, or [least, most] with the least first"
    raise PydanticCustomError("number", "{accepted}", {"accepted": accepted})


Times = Annotated[
    tuple[Fraction, Fraction],
    PlainValidator(_read_times),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": 0, "maximum": LARGEST}, _RANGE_SCHEMA]}),
]


def _read_pair(value: object) -> object:
    if isinstance(value, list | tuple) and len(value) == 2:
        return value
    raise PydanticCustomError("pair", 'two point names, such as ["NEUTRAL", "T1"]')


PAIR = BeforeValidator(_read_pair)


def _read_sensed(value: object) -> object:
    if isinstance(value, str) and value in ("input", "output"):
        return value
    if isinstance(value, list | tuple) and len(value) == 2 and all(isinstance(point, str) for point in value):
        return tuple(value)
    raise PydanticCustomError("sensed", '"input", "output", or two point names such as ["P", "N"]')


SENSED = PlainValidator(_read_sensed)
