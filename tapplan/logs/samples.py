"""What a log is once it is read: good samples in order of time, and the rows that are none."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Micros
from tapplan.logs.spacing import Spacing

Readings = NDArray[np.floating[Any]] | NDArray[np.integer[Any]]
MOST_TOLD = 20  # bad rows told one by one; all are counted


class RowFault(Enum):
    """Why a row of a log is no sample."""

    NO_TIME = "no time"
    NO_NUMBER = "no number"
    NOT_FINITE = "not a finite number"
    NEGATIVE = "below 0 V"
    TOO_HIGH = "above 1e9 V"
    OTHER_UNIT = "another unit"
    SAME_TIME = "the time of the row before"
    BACKWARDS = "before the row before"


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that is left out: its file, its number there (the first line or row is 1), what was found."""

    file: str
    row: int
    fault: RowFault
    found: str


@dataclass(frozen=True, slots=True)
class BadRows:
    """How many rows are left out, by why; the first of them one by one."""

    counts: Mapping[RowFault, int] = field(default_factory=dict)
    told: tuple[BadRow, ...] = ()

    @property
    def count(self) -> int:
        """All of them."""
        return sum(self.counts.values())

    def joined(self, other: BadRows) -> BadRows:
        """These and, after them, others."""
        if not other.counts:
            return self
        counts = {fault: self.counts.get(fault, 0) + other.counts.get(fault, 0) for fault in RowFault}
        told = (*self.told, *other.told)[:MOST_TOLD]
        return BadRows({fault: count for fault, count in counts.items() if count}, told)


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some samples of a log, one after the other.

    `times`: whole microseconds since 1970-01-01 UTC, or, in a log without a zone, since that day on its own clock;
    they rise strictly, over the chunks of a log too. `readings` are as the file stores them, finite, none below 0;
    times the log's scale they are volts. `bad` are the rows left out among or after these, before the next chunk's.
    `spacing` is that of these times, where reading them has shown it.
    """

    times: Micros
    readings: Readings
    bad: BadRows = BadRows()
    spacing: Spacing | None = None


class Log(Protocol):
    """One voltage over time, in one file or several; read anew each time its chunks are asked for."""

    @property
    def name(self) -> str:
        """What the log is called, mostly its path."""
        ...

    @property
    def scale(self) -> Fraction:
        """Volts of a stored reading of 1, exact."""
        ...

    @property
    def made(self) -> str | None:
        """How the log was made up, in words, where it says so of itself."""
        ...

    def chunks(self) -> Iterator[Chunk]:
        """The samples, in order, in bounded memory; no chunk is empty, but for one that holds only bad rows.

        Raises:
            LogError: a file cannot be read to its end, or has no such column.
        """
        ...
