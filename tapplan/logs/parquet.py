"""A log as Parquet: or a part of one, read in batches of rows while the batch before is worked on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapplan.errors import LogError, escaped
from tapplan.logs.ahead import ahead
from tapplan.logs.arrow import ArrowKind, TimeValues, VoltValues, kind_of, texts_of, times_of, volts_of
from tapplan.logs.choice import LogColumn, Look, chosen, epoch_named
from tapplan.logs.cleaned import OF_TIME, Block
from tapplan.logs.form import LogForm
from tapplan.logs.places import INSTALL, is_url, opened, stand_of, unreadable
from tapplan.logs.samples import RowFault
from tapplan.logs.stamps import Clock, clock_of
from tapplan.logs.told import refusal
from tapplan.logs.volts import Numerals

SEEN = 1000  # first times that a clock is settled by
BUFFER = 1 << 20  # bytes of a column read at a time from a store, so that a large group of rows is not held whole
LOOKS = {
    ArrowKind.STAMP: Look.STAMP,
    ArrowKind.DAY: Look.STAMP,
    ArrowKind.WHOLE: Look.NUMBER,
    ArrowKind.FLOAT: Look.NUMBER,
}
AS_TIMES = (ArrowKind.STAMP, ArrowKind.DAY, ArrowKind.WHOLE, ArrowKind.FLOAT, ArrowKind.DECIMAL, ArrowKind.TEXT)
AS_VOLTS = (ArrowKind.WHOLE, ArrowKind.FLOAT, ArrowKind.DECIMAL, ArrowKind.TEXT)


@dataclass(frozen=True, slots=True)
class ParquetPart:
    """A Parquet file of so many row groups, its columns known; `times` is None where samples are a step apart."""

    file: str
    form: LogForm
    times: str | None
    volts: str
    made: str | None
    groups: int

    def clock(self) -> Clock | None:
        """The clock of times that are texts or plain numbers, by the first of them; None where their type says it.

        Raises:
            LogError: they show none.
        """
        if self.times is None:
            return None
        with _file(self.file) as file:
            if kind_of(file.schema_arrow.field(self.times).type) in (ArrowKind.STAMP, ArrowKind.DAY):
                return None
            batch = next(file.iter_batches(batch_size=SEEN, columns=[self.times]), None)
            cells = [] if batch is None else [cell for cell in texts_of(batch.column(0)) if cell]
        return clock_of(cells, self.form, epoch_named(self.times), self.file)

    def blocks(self, clock: Clock | None, size: int, groups: range | None = None) -> Iterator[Block]:
        """Its rows, or those of some row groups, `size` of them at a time.

        Raises:
            LogError: it cannot be read to its end.
        """
        columns = [self.volts] if self.times is None else [self.times, self.volts]
        size_on_disk = stand_of(self.file).bytes
        with _file(self.file) as file:
            count = max(file.metadata.num_rows, 1)
            wanted = range(self.groups) if groups is None else groups
            first = 1 + sum(file.metadata.row_group(before).num_rows for before in range(wanted.start))
            # One thread reads: with more, those that work on what is read have to wait for a core.
            batches = file.iter_batches(batch_size=size, row_groups=[*wanted], columns=columns, use_threads=False)
            for batch in ahead(batches):
                upto = size_on_disk * (first - 1 + batch.num_rows) // count
                yield self._block(batch, clock, first, upto)
                first += batch.num_rows

    def _block(self, batch: Any, clock: Clock | None, first: int, upto: int) -> Block:
        numerals = Numerals(self.form.decimal or ".", self.form.unit or "V")
        volts = volts_of(batch.column(self.volts), numerals)
        if self.times is None:
            nothing = np.zeros(batch.num_rows, np.int64)
            times = TimeValues(nothing, np.zeros(batch.num_rows, np.uint8), local=False)
        else:
            times = times_of(batch.column(self.times), clock)
        codes = np.where(times.codes, times.codes, volts.codes) if times.codes.any() else volts.codes
        cells = _Values(batch, self.times, self.volts, times, volts)
        rows = range(first, first + batch.num_rows)
        known = times.spacing
        return Block(self.file, rows, times.times, volts.readings, codes, cells.told, times.local, upto, known)


def parquet_part(file: str, form: LogForm) -> ParquetPart:
    """A Parquet file, its columns looked at.

    Raises:
        LogError: it is none, is damaged, has no rows, or which of its columns are meant cannot be told.
    """
    with _file(file) as parquet:
        schema, rows = parquet.schema_arrow, parquet.metadata.num_rows
        made = (parquet.metadata.metadata or {}).get(b"made")
        groups = parquet.metadata.num_row_groups
    if not rows or not schema.names:
        raise refusal(file, f"it has {rows} rows of {len(schema.names)} columns", "rows with times and volts")
    kinds = [kind_of(held) for held in schema.types]
    columns = [LogColumn(name, LOOKS.get(kind, Look.OTHER)) for name, kind in zip(schema.names, kinds, strict=True)]
    which = chosen(columns, form, file)
    if len(which.times) > 1:
        raise refusal(file, "times in several columns of Parquet", "one column of times")
    volts = _checked(file, schema, which.volts, AS_VOLTS)
    times = _checked(file, schema, which.times[0], AS_TIMES) if which.times else None
    return ParquetPart(file, form, times, volts, made and escaped(made.decode("utf-8", "replace")), groups)


def _checked(file: str, schema: Any, place: int, accepted: tuple[ArrowKind, ...]) -> str:
    """The name of a column that holds what is wanted, and is the only one of this name."""
    name, held = schema.names[place], schema.types[place]
    if kind_of(held) not in accepted:
        said = ", ".join(kind.value for kind in accepted)
        raise refusal(file, f'column "{escaped(name)}" holds {held}', said)
    if schema.names.count(name) > 1:
        raise refusal(file, f'two columns are called "{escaped(name)}"', "one of this name")
    return str(name)


@contextmanager
def _file(path: str) -> Iterator[Any]:
    """A Parquet file; whatever is wrong with it becomes one clear error."""
    try:
        import pyarrow  # only Parquet needs it, and it takes long to load
        from pyarrow import parquet
    except ImportError:
        raise LogError(f"{escaped(path)}: a log in Parquet needs pyarrow: {INSTALL}") from None
    try:
        if is_url(path):
            with opened(path) as raw:
                yield parquet.ParquetFile(raw, buffer_size=BUFFER, page_checksum_verification=True)
        else:
            with parquet.ParquetFile(path, memory_map=True, page_checksum_verification=True) as file:
                yield file
    except (pyarrow.ArrowException, OSError, UnicodeDecodeError, MemoryError) as error:
        raise unreadable(path, error) from error


@dataclass(frozen=True, slots=True)
class _Values:
    """The values of some rows, for messages."""

    batch: Any
    time_name: str | None
    volt_name: str
    times: TimeValues
    volts: VoltValues

    def told(self, place: int, fault: RowFault) -> str:
        """What a row has as time or as volts."""
        is_time = fault in OF_TIME
        name = self.time_name if is_time else self.volt_name
        if name is None:
            return ""
        column = self.batch.column(name)
        if not column[place].is_valid:
            return "null"
        if is_time and kind_of(column.type) in (ArrowKind.STAMP, ArrowKind.DAY):
            if self.times.codes[place]:
                return f"{column[place].value} {column.type}"
            return f"{np.datetime64(int(self.times.times[place]), 'us')}{'' if self.times.local else 'Z'}"
        return str(column[place].as_py())
