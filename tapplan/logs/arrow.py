"""Columns of Parquet to arrays: times to whole microseconds, volts as they are stored where numpy can."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from math import ceil
from typing import Any

import numpy as np

from tapplan.arrays import Floats, Mask, Micros, Wholes
from tapplan.logs.cleaned import CODES, Codes
from tapplan.logs.conversion import converted
from tapplan.logs.samples import Readings, RowFault
from tapplan.logs.spacing import Spacing, spacing
from tapplan.logs.stamps import END_US, FIRST_US, PLACES, Clock, Counted, micros
from tapplan.logs.volts import Numerals, fault_of, floats

LARGEST_EXACT = 2**53  # whole numbers up to it are float64
MOST_PLACES = 22  # powers of ten up to it are float64 too, so that one division rounds once
TOO_FAR = 2**63  # a sum of distances that may be one of numbers that have gone round
DAY_US = 86_400_000_000


class ArrowKind(Enum):
    """What a column of Parquet holds."""

    STAMP = "timestamps"
    DAY = "dates"
    WHOLE = "whole numbers"
    FLOAT = "floating numbers"
    DECIMAL = "decimal numbers"
    TEXT = "texts"
    OTHER = "something else"


@dataclass(frozen=True, slots=True)
class TimeValues:
    """The times of some rows; where a code is not 0 there is none. `local`: of a clock whose zone is not told.

    `spacing` is theirs, where it is known.
    """

    times: Micros
    codes: Codes
    local: bool
    spacing: Spacing | None = None


@dataclass(frozen=True, slots=True)
class VoltValues:
    """The readings of some rows; where a code is not 0 there is none."""

    readings: Readings
    codes: Codes


def kind_of(held: Any) -> ArrowKind:
    """What a column holds, by its type in Arrow; texts listed once in a dictionary are texts."""
    from pyarrow import types  # only Parquet needs it, and it takes long to load

    if types.is_dictionary(held):
        return kind_of(held.value_type)
    kinds = {
        ArrowKind.STAMP: types.is_timestamp,
        ArrowKind.DAY: types.is_date,
        ArrowKind.WHOLE: types.is_integer,
        ArrowKind.FLOAT: types.is_floating,
        ArrowKind.DECIMAL: types.is_decimal,
        ArrowKind.TEXT: lambda one: types.is_string(one) or types.is_large_string(one),
    }
    return next((kind for kind, fits in kinds.items() if fits(held)), ArrowKind.OTHER)


def times_of(array: Any, clock: Clock | None) -> TimeValues:
    """The times of a column; `clock` is that of plain numbers and texts, None where their type says all."""
    array, kind = _decoded(array), kind_of(array.type)
    if clock is None or kind in (ArrowKind.STAMP, ArrowKind.DAY):
        return _whole_times(array, _typed_us(array.type), local=kind is ArrowKind.DAY or array.type.tz is None)
    if isinstance(clock, Counted) and kind is ArrowKind.WHOLE:
        return _whole_times(array, Fraction(10) ** PLACES[clock.unit], local=False)
    codes = _nulls(array, RowFault.NO_TIME)
    if isinstance(clock, Counted) and kind is ArrowKind.FLOAT:
        return TimeValues(_rounded(_stored(array), 10.0 ** PLACES[clock.unit], codes), codes, False)
    found = converted(texts_of(array), lambda cells: micros(cells, clock))
    codes[list(found.bad)] = CODES[RowFault.NO_TIME]
    return TimeValues(
        found.values.astype(np.int64, copy=False), codes, not isinstance(clock, Counted) and not clock.zoned
    )


def _whole_times(array: Any, factor: Fraction, *, local: bool) -> TimeValues:
    """Whole numbers as times; of such as rise, the first and the last tell whether all lie in the years 1 to 9999."""
    whole = _whole(array)
    found = None if array.null_count else _rising(whole)
    if not array.null_count and _within(whole if found is None else whole[[0, -1]], factor):
        known = found.times(factor.numerator) if found is not None and factor.denominator == 1 else None
        return TimeValues(_in_us(whole, factor), _no_faults(len(array)), local, known)
    codes = _nulls(array, RowFault.NO_TIME)
    return TimeValues(_scaled(whole, factor, codes), codes, local)


def _rising(whole: Any) -> Spacing | None:
    """The spacing of whole numbers that rise strictly; None where they do not, or it is not worth a look."""
    if whole.dtype != np.int64 or len(whole) < 2:
        return None
    found = spacing(whole)
    return found if found.least > 0 and found.most * len(whole) < TOO_FAR else None


def volts_of(array: Any, numerals: Numerals) -> VoltValues:
    """The volts of a column; `numerals` is how texts have them."""
    array, kind = _decoded(array), kind_of(array.type)
    if kind in (ArrowKind.FLOAT, ArrowKind.WHOLE) and not array.null_count:
        codes = _no_faults(len(array))
    else:
        codes = _nulls(array, RowFault.NO_NUMBER)
    if kind is ArrowKind.DECIMAL:
        return VoltValues(_decimals(array), codes)
    if kind is ArrowKind.TEXT:
        cells = texts_of(array)
        found = converted(cells, lambda some: floats(some, numerals))
        for place in found.bad:
            codes[place] = CODES[fault_of(cells[place])]
        return VoltValues(found.values.astype(np.float64, copy=False), codes)
    stored = _stored(array)
    return VoltValues(stored.astype(np.float32) if stored.dtype == np.float16 else stored, codes)


def texts_of(array: Any) -> list[str]:
    """The values of a column as texts; what is not there, or has a NUL in it, as an empty one."""
    texts = ["" if one is None else str(one) for one in array.to_pylist()]
    return ["" if "\0" in one else one for one in texts] if "\0" in "".join(texts) else texts


def _decoded(array: Any) -> Any:
    from pyarrow import types  # loaded already

    return array.dictionary_decode() if types.is_dictionary(array.type) else array


def _nulls(array: Any, fault: RowFault) -> Codes:
    """The fault's code where a value is missing."""
    codes = np.zeros(len(array), np.uint8)
    if array.null_count:
        codes[np.asarray(array.is_null())] = CODES[fault]
    return codes


_NO_FAULTS: list[Codes] = []  # one for all columns that have none: making it new takes as long as reading one


def _no_faults(count: int) -> Codes:
    """A nought for each value, not to be written to."""
    if not _NO_FAULTS or len(_NO_FAULTS[0]) < count:
        made = np.zeros(count, np.uint8)
        made.flags.writeable = False
        _NO_FAULTS[:] = [made]
    return _NO_FAULTS[0][:count]


def _stored(array: Any) -> Any:
    """The numbers as they are stored, with 0 for what is missing."""
    return (array.fill_null(0) if array.null_count else array).to_numpy(zero_copy_only=True)


def _whole(array: Any) -> Any:
    """Whole numbers, timestamps and dates as the whole numbers that are stored."""
    from pyarrow import types  # loaded already

    if types.is_integer(array.type):
        return _stored(array)
    return _stored(array.view("int32" if types.is_date32(array.type) else "int64"))


def _typed_us(held: Any) -> Fraction:
    """Microseconds of a 1 in a column of timestamps or dates."""
    from pyarrow import types  # loaded already

    if types.is_date32(held):
        return Fraction(DAY_US)
    return Fraction(1000) if types.is_date64(held) else Fraction(10) ** PLACES[held.unit]


def _scaled(stored: Wholes, factor: Fraction, codes: Codes) -> Micros:
    """Whole numbers times a factor, cut to whole microseconds; marks what lies outside the years 1 to 9999."""
    low, end = ceil(FIRST_US / factor), ceil(END_US / factor)
    if not _within(stored, factor):
        outside = (stored < low) | (stored >= end)
        codes[outside] = CODES[RowFault.NO_TIME]
        stored = np.where(outside, 0, stored)
    return _in_us(stored, factor)


def _within(stored: Wholes, factor: Fraction) -> bool:
    """Whether all lie in the years 1 to 9999."""
    low, end = ceil(FIRST_US / factor), ceil(END_US / factor)
    return not len(stored) or bool(low <= stored.min().item() and stored.max().item() < end)


def _in_us(stored: Wholes, factor: Fraction) -> Micros:
    times: Micros = stored.astype(np.int64, copy=False)
    if factor.denominator > 1:
        return times // factor.denominator
    return times if factor == 1 else times * factor.numerator


def _rounded(stored: Floats, factor: float, codes: Codes) -> Micros:
    """Floating numbers times a factor, to the nearest microsecond: 0.1 is not stored as it is meant."""
    scaled = np.rint(stored.astype(np.float64) * factor)
    inside: Mask = (scaled >= FIRST_US) & (scaled < END_US)
    codes[~inside] = CODES[RowFault.NO_TIME]
    return np.where(inside, scaled, 0).astype(np.int64)


def _decimals(array: Any) -> Floats:
    """Decimal numbers to the nearest float64: by one division of exact ones, or one by one where that cannot be."""
    from pyarrow import types  # loaded already

    places = array.type.scale
    if not types.is_decimal128(array.type) or not 0 <= places <= MOST_PLACES:
        return np.array([float(one or 0) for one in array.to_pylist()], np.float64)
    array = array.fill_null(0) if array.null_count else array
    halves = np.frombuffer(array.buffers()[1], "<i8").reshape(-1, 2)[array.offset : array.offset + len(array)]
    low, high = halves[:, 0], halves[:, 1]
    readings = low / float(10**places)
    for place in np.flatnonzero((high != low >> 63) | (low > LARGEST_EXACT) | (low < -LARGEST_EXACT)):
        readings[place] = float(array[int(place)].as_py())
    return readings
