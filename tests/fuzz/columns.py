"""Parquet files of odd columns: sound as Parquet, odd as logs."""

from __future__ import annotations

from decimal import Decimal
from random import Random
from typing import Any

import pyarrow as pa

from tests.fuzz.corpus import packed
from tests.fuzz.odd import CANARY, TEXTS

SECOND = 1_000_000
STAMPS = ("s", "ms", "us", "ns")
ZONES = (None, "UTC", "Europe/Paris", "+05:30")


def odd_table(chance: Random) -> bytes:
    """A table of a few columns, most of them times and volts."""
    rows = chance.choice((0, 1, 2, 7, 60))
    columns = [
        _times(chance, rows),
        _volts(chance, rows),
        *(_other(chance, rows) for _ in range(chance.randrange(3))),
    ]
    names = ["time", "volts", "x", "y"][: len(columns)]
    for place in range(len(names)):
        if chance.random() < 0.1:
            names[place] = chance.choice(
                [one for one in (*TEXTS, "time", "volts") if "\ud800" not in one and "\udcff" not in one]
            )
    table = pa.Table.from_arrays(columns, names=names)
    if chance.random() < 0.1:
        table = table.replace_schema_metadata({"made": chance.choice(("quiet", f"\n{CANARY}", "\x1b[31m"))})
    return packed(table)


def _nulled(chance: Random, values: list[Any]) -> list[Any]:
    share = chance.choice((0, 0, 0, 0.1, 1))
    return [None if chance.random() < share else one for one in values]


def _times(chance: Random, rows: int) -> Any:
    step = chance.choice((1, 10, 0, -10, 86_400 * 400))
    begin = chance.choice((1_700_000_000, 1_700_000_000, 0, -62_135_596_800, 253_402_300_000, 2**40))
    seconds = [begin + step * one for one in range(rows)]
    kind = chance.randrange(7)
    try:
        if kind < 3:
            unit = chance.choice(STAMPS)
            factor = 10 ** (3 * STAMPS.index(unit))
            return pa.array(
                _nulled(chance, [one * factor for one in seconds]), pa.timestamp(unit, chance.choice(ZONES))
            )
        if kind == 3:
            return pa.array(
                _nulled(chance, [one // 86_400 for one in seconds]), chance.choice((pa.date32(), pa.int64()))
            )
        if kind == 4:
            return pa.array(_nulled(chance, [float(one) for one in seconds]), pa.float64())
        if kind == 5:
            return pa.array(_nulled(chance, [str(one) for one in seconds]), pa.string())
    except (OverflowError, pa.ArrowException):
        pass
    return pa.array(_nulled(chance, seconds), pa.int64())


def _volts(chance: Random, rows: int) -> Any:
    values: list[Any] = [180 + one % 90 for one in range(rows)]
    if rows and chance.random() < 0.3:
        odd = (1e308, float("nan"), float("inf"), -1.0, 0.0, 5e-324, -float("inf"), 1e12)
        return pa.array(_nulled(chance, [float(one) for one in values[:-1]] + [chance.choice(odd)]), pa.float64())
    kind = chance.randrange(9)
    if kind == 0:
        return pa.array(_nulled(chance, values), chance.choice((pa.int16(), pa.uint64(), pa.int32())))
    if kind == 1:
        return pa.array(_nulled(chance, [float(one) for one in values]), pa.float32())
    if kind == 2:
        import numpy as np

        return pa.array([np.float16(one) for one in values], pa.float16())
    if kind == 3:
        held = chance.choice((pa.decimal128(38, 2), pa.decimal128(12, 3), pa.decimal256(60, 4)))
        return pa.array(_nulled(chance, [Decimal(one) for one in values]), held)
    if kind == 4:
        return pa.array(_nulled(chance, [f"{one},5" for one in values]), pa.string())
    if kind == 5:
        odd = [one for one in TEXTS if "\ud800" not in one and "\udcff" not in one]
        return pa.array([chance.choice(odd) if chance.random() < 0.2 else str(one) for one in values], pa.string())
    if kind == 6:
        return pa.array([str(one) for one in values]).dictionary_encode()
    return pa.array(_nulled(chance, [float(one) for one in values]), pa.float64())


def _other(chance: Random, rows: int) -> Any:
    held = chance.choice((pa.bool_(), pa.binary(), pa.null(), pa.list_(pa.int8()), pa.time64("us"), pa.duration("s")))
    return pa.nulls(rows, held) if rows else pa.array([], held)
