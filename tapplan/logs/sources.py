"""Paths of a call to logs: files, folders of them, and whatever fsspec opens by a URL.

A file is a log. In a folder each file is one, and each folder within it one whose files are joined in natural order.
Nothing is opened before a log is read, but for the folders.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from tapplan.design.objection import quoted
from tapplan.errors import escaped
from tapplan.logs.cleaned import Block, Cleaning
from tapplan.logs.form import LogForm
from tapplan.logs.parquet import ParquetPart, parquet_part
from tapplan.logs.places import Stand, beneath, is_folder, matching, opened, stand_of
from tapplan.logs.samples import BadRows, Chunk
from tapplan.logs.stamps import Clock
from tapplan.logs.texts import TextPart, text_part
from tapplan.logs.told import refusal

SUFFIXES = (".csv", ".txt", ".tsv", ".gz", ".parquet", ".pq")
PARQUET_SUFFIXES = (".parquet", ".pq")
PARQUET = b"PAR1"


@dataclass(frozen=True, slots=True)
class Portions:
    """How much is taken at a time: characters of text, samples of a chunk; it changes memory and time, no sample."""

    characters: int = 1 << 18
    samples: int = 1 << 20


@dataclass(slots=True)
class FileLog:
    """A log in files, one after the other in time; it holds none of them open, so that it can be sent to a worker.

    `parts` are the paths of the files. `read_bytes` says how much of their `stands` is read, while `chunks` goes on.
    `groups` are the row groups of its only file, a Parquet file, that are read; None: all. `clock` is what its times
    mean, where that has been settled by a file before these.
    """

    name: str
    parts: tuple[str, ...]
    form: LogForm
    portions: Portions = Portions()
    groups: range | None = None
    clock: Clock | None = None
    read_bytes: int = field(default=0, compare=False)

    @property
    def scale(self) -> Fraction:
        """Volts of a stored reading of 1."""
        return self.form.volts

    @property
    def made(self) -> str | None:
        """How the log was made up, in words, where one of its files says so of itself.

        Raises:
            LogError: a file cannot be opened, or has no such columns.
        """
        return next((made for part in self.parts if (made := part_of(part, self.form).made) is not None), None)

    @property
    def stands(self) -> tuple[Stand, ...]:
        """The files as they lie there, with sizes and marks.

        Raises:
            LogError: one of them is not there.
        """
        return tuple(stand_of(part) for part in self.parts)

    def check(self) -> None:
        """Looks at the beginning of every file, so that one without the columns is found before hours of reading.

        Raises:
            LogError: a file cannot be opened, or has no such columns.
        """
        for part in self.parts:
            part_of(part, self.form)

    def chunks(self) -> Iterator[Chunk]:
        """The samples in order, about `portions.samples` at a time; the last chunk may hold only bad rows.

        Raises:
            LogError: a file cannot be read to its end or has no such column; no row of the log is a sample; or more
                than half of its rows lie before one whose clock was wrong, which is known only at the end.
        """
        return _gathered(self._cleaned(), self.portions.samples)

    def shares(self, most: int) -> tuple[FileLog, ...]:
        """At most so many logs that are this one in order; none where it is not to be cut.

        Files are cut from files, one Parquet file at its row groups. What a time means must not hang on those before
        it: so nothing is cut in a zone, whose clock is put back, or where times are counted from the first row.
        """
        if most < 2 or self.form.zone is not None or self.form.step_us is not None:
            return ()
        part = part_of(self.parts[0], self.form)
        if len(self.parts) > 1:
            cuts, clock = _cuts(len(self.parts), most), part.clock()
            return tuple(replace(self, parts=self.parts[cut.start : cut.stop], clock=clock) for cut in cuts)
        if isinstance(part, TextPart) or part.groups < 2:
            return ()
        return tuple(replace(self, groups=cut) for cut in _cuts(part.groups, most))

    def _cleaned(self) -> Iterator[Chunk]:
        cleaning = Cleaning(self.scale, self.form.place(), self.form.step_us)
        for block in self._blocks():
            yield cleaning.chunk(block)
        cleaning.check_end(self.name)

    def _blocks(self) -> Iterator[Block]:
        clock = self.clock
        self.read_bytes = before = 0
        for path in self.parts:
            part = part_of(path, self.form)
            clock = clock or part.clock()
            size = self.portions.characters if isinstance(part, TextPart) else self.portions.samples
            blocks = part.blocks(clock, size) if isinstance(part, TextPart) else part.blocks(clock, size, self.groups)
            for block in blocks:
                self.read_bytes = before + block.upto
                yield block
            before += stand_of(path).bytes
        self.read_bytes = before


def _cuts(count: int, most: int) -> list[range]:
    """So many things in order, in at most so many lots of about one size."""
    lots = min(count, most)
    ends = [count * lot // lots for lot in range(lots + 1)]
    return [range(begin, end) for begin, end in pairwise(ends)]


@dataclass(frozen=True, slots=True)
class _Group:
    """Files that make one log, and its name."""

    name: str
    parts: tuple[str, ...]


def logs_in(paths: Sequence[str], form: LogForm, joined: bool = False) -> tuple[FileLog, ...]:
    """The logs at some paths; with `joined` these are the parts of one log, in this order.

    A log has the name of its path as given, with escapes for what a terminal or a page would obey; one found in a
    folder that of the folder, "/", and its own.

    Raises:
        LogError: nothing is there, a folder has no log in it, or a file is named twice.
    """
    found = [path for given in paths for path in matching(given)]
    if not found:
        raise refusal("logs", "no path is given", "files or folders of logs")
    groups = [group for path in found for group in _groups(path)]
    every = [part for group in groups for part in group.parts]
    twice = [part for part, count in Counter(every).items() if count > 1]
    if twice:
        raise refusal(twice[0], "it is named more than once", "each file once")
    if joined:
        more = f" + {len(found) - 1} more" if len(found) > 1 else ""
        groups = [_Group(f"{found[0]}{more}", tuple(every))]
    return tuple(FileLog(escaped(group.name), group.parts, form) for group in groups)


def part_of(path: str, form: LogForm) -> TextPart | ParquetPart:
    """A file of a log, its columns known.

    Raises:
        LogError: it cannot be opened, or which columns are meant cannot be told.
    """
    stand_of(path)
    with opened(path) as file:
        is_parquet = file.read(len(PARQUET)) == PARQUET
    if is_parquet:
        return parquet_part(path, form)
    if path.casefold().endswith(PARQUET_SUFFIXES):
        raise refusal(path, "it does not begin as a Parquet file does", "Parquet under this name")
    return text_part(path, form)


def _groups(path: str) -> list[_Group]:
    """The files of each log at a path."""
    if not is_folder(path):
        return [_Group(path, (path,))]
    there = beneath(path)
    parts: dict[str, list[str]] = {}
    top = path.rstrip("/")
    for inner in there:
        if inner.casefold().endswith(SUFFIXES) and not any(name.startswith(".") for name in inner.split("/")):
            parts.setdefault(f"{top}/{inner.split('/')[0]}", []).append(f"{top}/{inner}")
    if not parts:
        seen = ("only " + quoted(map(escaped, there), 5)) if there else "nothing"
        raise refusal(path, f"it has {seen} in it", "files that end in " + ", ".join(SUFFIXES))
    return [_Group(name, tuple(files)) for name, files in parts.items()]


def _gathered(chunks: Iterator[Chunk], samples: int) -> Iterator[Chunk]:
    """The same samples in chunks of about so many, all numbers of one chunk of one type."""
    waiting: list[Chunk] = []
    for chunk in chunks:
        if waiting and len(chunk.readings) and chunk.readings.dtype != waiting[0].readings.dtype:
            yield _merged(waiting)
            waiting = []
        waiting.append(chunk)
        if 4 * sum(len(one.times) for one in waiting) >= 3 * samples:
            yield _merged(waiting)
            waiting = []
    if waiting:
        yield _merged(waiting)


def _merged(chunks: list[Chunk]) -> Chunk:
    """Some chunks as one; a single one without a copy."""
    if len(chunks) == 1:
        return chunks[0]
    bad = BadRows()
    for chunk in chunks:
        bad = bad.joined(chunk.bad)
    times = np.concatenate([chunk.times for chunk in chunks])
    return Chunk(times, np.concatenate([chunk.readings for chunk in chunks]), bad)
