"""A made trace in a file: CSV, plain or packed with gzip, or Parquet; written as it is drawn, whole or not at all.

Whatever the form, the file says that it is made: CSV begins with a comment `# made: ...`, Parquet has the key `made`
among its metadata. CSV has the columns `time` (ISO 8601, UTC) and `volts`, with the decimals that the readings have;
Parquet has `time` (microseconds, UTC) and `volts` (float32, so 230.4 V is the float32 nearest to it). Its times are
stored as differences and its volts by a dictionary: that takes about a byte a row, and is read three times as fast as
plain columns. pyarrow is loaded only where Parquet is written.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Micros, Wholes
from tapplan.errors import UsageError, escaped
from tapplan.logs.made import MadeRows, blocks
from tapplan.logs.recipe import SPOILT, Recipe, Spoilt, TraceClock, told
from tapplan.logs.scenarios import DAY_US, SECOND_US
from tapplan.wholefile import whole_file

FORMS = ("csv", "csv.gz", "parquet")
GROUP = 1 << 20  # rows of a row group in Parquet
PACKED = 4  # of 9: how hard gzip tries
ENDLESS = 2**63 - 1  # beyond every time and count
# What stands in place of a number, in CSV; Parquet has a null for a word and for an empty cell.
WORDS = {Spoilt.WORD: b"fault", Spoilt.EMPTY: b"", Spoilt.NAN: b"nan"}

Letters = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class TraceTally:
    """What was written: good samples and spoilt rows, the first and the last sample, least, most and sum of counts.

    Counts times 10^-digits are volts. With nothing in it, least and first are beyond every number, most and last
    below every number, so that tallies add up in any order.
    """

    digits: int
    samples: int = 0
    bad: int = 0
    first_us: int = ENDLESS
    last_us: int = -ENDLESS
    least: int = ENDLESS
    most: int = -ENDLESS
    total: int = 0

    def joined(self, other: TraceTally) -> TraceTally:
        """These samples and others."""
        return TraceTally(
            self.digits,
            self.samples + other.samples,
            self.bad + other.bad,
            min(self.first_us, other.first_us),
            max(self.last_us, other.last_us),
            min(self.least, other.least),
            max(self.most, other.most),
            self.total + other.total,
        )

    @property
    def least_v(self) -> Fraction:
        """The least volts."""
        return Fraction(self.least, 10**self.digits)

    @property
    def most_v(self) -> Fraction:
        """The most volts."""
        return Fraction(self.most, 10**self.digits)

    @property
    def mean_v(self) -> Fraction:
        """The mean of all samples, exact; there must be one."""
        return Fraction(self.total, self.samples * 10**self.digits)


def tally_of(rows: MadeRows) -> TraceTally:
    """What some rows add."""
    good = rows.where(rows.good)
    if not len(good):
        return TraceTally(rows.digits, bad=len(rows))
    return TraceTally(
        rows.digits,
        len(good),
        len(rows) - len(good),
        int(good.times[0]),
        int(good.times[-1]),
        int(good.counts.min()),
        int(good.counts.max()),
        int(good.counts.sum()),
    )


def _untold(_: int) -> None:
    """Nobody wants to know how many rows are written."""


@dataclass(frozen=True, slots=True)
class Writing:
    """How a trace is written: one of `FORMS`, whether a file that is there is replaced, whom to tell rows written."""

    form: str
    force: bool = False
    tell: Callable[[int], None] = _untold


def form_of(path: str) -> str:
    """The form that a name ends in.

    Raises:
        UsageError: it ends in none of them.
    """
    for form in FORMS:
        if path.lower().endswith(f".{form}"):
            return form
    raise UsageError(f"found {escaped(path)}; accepted: a name ending in .{', .'.join(FORMS)}")


def write_trace(path: str, recipe: Recipe, how: Writing) -> TraceTally:
    """Writes a trace into a file, whole or not at all, and says what is in it.

    Raises:
        OutputError: there is such a file already, or it cannot be written. Nothing is left half-written.
        UsageError: Parquet is asked for and pyarrow is not installed, or there is no such form.
    """
    if how.form not in FORMS:
        raise UsageError(f'found form "{how.form}"; accepted: {", ".join(FORMS)}')
    writer = parquet_writer() if how.form == "parquet" else write_csv
    with whole_file(path, force=how.force) as stream:
        if how.form != "csv.gz":
            return writer(stream, recipe, how.tell)
        with gzip.GzipFile("", "wb", PACKED, stream, mtime=0) as packed:  # the same bytes for the same trace
            return write_csv(packed, recipe, how.tell)


# --- CSV ---


def write_csv(stream: Any, recipe: Recipe, tell: Callable[[int], None] = _untold) -> TraceTally:
    """Writes a trace into a stream of bytes as CSV, in bounded memory."""
    stream.write(f"# made: {told(recipe)}\ntime,volts\n".encode())
    decimals, tally = second_decimals(recipe.clock), TraceTally(recipe.digits)
    for rows in blocks(recipe):
        stream.write(csv_lines(rows, decimals))
        tally = tally.joined(tally_of(rows))
        tell(len(rows))
    return tally


def second_decimals(clock: TraceClock) -> int:
    """The decimals of a second that times are written with: 0, 3 or 6."""
    for decimals in (0, 3):
        if clock.start_us % 10 ** (6 - decimals) == clock.step_us % 10 ** (6 - decimals) == 0:
            return decimals
    return 6


def csv_lines(rows: MadeRows, decimals: int) -> bytes:
    """Rows as lines of time and volts: letters set side by side in an array, leading zeros dropped."""
    stamps = _stamps(rows.times, decimals)
    whole, rest = np.divmod(rows.counts, 10**rows.digits)
    places = len(str(int(whole.max())))
    parts = [stamps, _letters(b"Z,", len(rows)), _digits(whole, places)]
    if rows.digits:
        parts += [_letters(b".", len(rows)), _digits(rest, rows.digits)]
    lines = np.concatenate([*parts, _letters(b"\n", len(rows))], axis=1)
    text = _without_zeros(lines, whole, stamps.shape[1] + 2, places)
    return _with_words(text, rows) if rows.spoilt.any() else text


def _without_zeros(lines: Letters, whole: Wholes, column: int, places: int) -> bytes:
    """The lines without the zeros that lead the whole volts, which stand from a column on."""
    if int(whole.min()) >= 10 ** (places - 1):
        return lines.tobytes()
    kept = np.ones(lines.shape, np.bool_)
    for place in range(places - 1):
        kept[:, column + place] = whole >= 10 ** (places - 1 - place)
    return lines[kept].tobytes()


def _with_words(written: bytes, rows: MadeRows) -> bytes:
    lines = written.split(b"\n")
    for how, word in WORDS.items():
        for place in np.flatnonzero(rows.spoilt == 1 + SPOILT.index(how)).tolist():
            lines[place] = lines[place].partition(b",")[0] + b"," + word
    return b"\n".join(lines)


def _stamps(times: Micros, decimals: int) -> Letters:
    """Times as ISO 8601 has them, without the zone; they need not rise."""
    days, within = np.divmod(times, DAY_US)
    first = int(days.min())
    seconds, rest = np.divmod(within, SECOND_US)
    parts = [_dates(first, int(days.max()))[days - first], _clock_faces()[seconds]]
    if decimals:
        parts += [_letters(b".", len(times)), _digits(rest // 10 ** (6 - decimals), decimals)]
    return np.concatenate(parts, axis=1)


def _dates(first: int, last: int) -> Letters:
    days = np.arange(first, last + 1).astype("datetime64[D]")
    return np.datetime_as_string(days).astype("S10").view(np.uint8).reshape(-1, 10)


@cache
def _clock_faces() -> Letters:
    """Every second of a day, as `T03:07:09`."""
    told_as = [b"T%02d:%02d:%02d" % (s // 3600, s // 60 % 60, s % 60) for s in range(86400)]
    return np.frombuffer(b"".join(told_as), np.uint8).reshape(-1, 9)


def _letters(these: bytes, many: int) -> Letters:
    return np.tile(np.frombuffer(these, np.uint8), (many, 1))


def _digits(numbers: Wholes, places: int) -> Letters:
    """Whole numbers from 0 as so many decimal digits each."""
    made, left = np.empty((len(numbers), places), np.uint8), numbers
    for place in range(places - 1, -1, -1):
        left, digit = np.divmod(left, 10)
        made[:, place] = digit + ord("0")
    return made


# --- Parquet ---


def parquet_writer() -> Callable[[Any, Recipe, Callable[[int], None]], TraceTally]:
    """What writes a trace into a stream as Parquet, in bounded memory.

    Raises:
        UsageError: pyarrow is not installed.
    """
    try:
        import pyarrow.parquet  # noqa: F401 - heavy, and only Parquet needs it
    except ImportError:
        accepted = "pip install 'tapplan[logs]' for Parquet, or a name ending in .csv or .csv.gz"
        raise UsageError(f"found no pyarrow; accepted: {accepted}") from None
    return _write_parquet


def _write_parquet(stream: Any, recipe: Recipe, tell: Callable[[int], None]) -> TraceTally:
    import pyarrow as pa
    from pyarrow.parquet import ParquetWriter

    columns = [("time", pa.timestamp("us", tz="UTC")), ("volts", pa.float32())]
    schema = pa.schema(columns, metadata={"made": told(recipe)})
    tally = TraceTally(recipe.digits)
    encoding = {"time": "DELTA_BINARY_PACKED"}
    with ParquetWriter(
        stream, schema, compression="snappy", use_dictionary=["volts"], column_encoding=encoding
    ) as to:
        for rows in blocks(recipe, GROUP):
            to.write_table(pa.Table.from_arrays(_columns(rows, schema), schema=schema), row_group_size=GROUP)
            tally = tally.joined(tally_of(rows))
            tell(len(rows))
    return tally


def _columns(rows: MadeRows, schema: Any) -> list[Any]:
    """Times and volts as pyarrow has them."""
    import pyarrow as pa

    volts = rows.volts.astype(np.float32)
    how = {spoilt: rows.spoilt == 1 + SPOILT.index(spoilt) for spoilt in WORDS}
    volts[how[Spoilt.NAN]] = np.nan
    none = how[Spoilt.WORD] | how[Spoilt.EMPTY]
    return [pa.array(rows.times).cast(schema.field("time").type), pa.array(volts, mask=none)]
