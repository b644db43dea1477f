"""What the tests of logs share: a file written, and everything that a log gives when it is read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from tapplan.logs.form import LogForm
from tapplan.logs.samples import BadRows, RowFault
from tapplan.logs.sources import FileLog, Portions, logs_in


@dataclass(frozen=True)
class Read:
    """All samples of a log as lists, and its bad rows."""

    times: list[int]
    volts: list[float]
    bad: BadRows
    chunks: int

    @property
    def faults(self) -> dict[int, RowFault]:
        return {one.row: one.fault for one in self.bad.told}


def us(stamp: str) -> int:
    """Microseconds of an ISO stamp; without a zone it is taken as UTC. By datetime, so apart from the reader."""
    at = datetime.fromisoformat(stamp)
    at = at if at.tzinfo else at.replace(tzinfo=UTC)
    return (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def read(log: FileLog, portions: Portions | None = None) -> Read:
    if portions is not None:
        log.portions = portions
    chunks = list(log.chunks())
    bad = BadRows()
    for place, chunk in enumerate(chunks):
        assert len(chunk.times) or (chunk.bad.count and place == len(chunks) - 1)
        assert chunk.times.dtype == np.int64
        bad = bad.joined(chunk.bad)
    times = [int(one) for chunk in chunks for one in chunk.times]
    assert all(one < other for one, other in pairwise(times))
    volts = [one.item() for chunk in chunks for one in chunk.readings]
    return Read(times, volts, bad, len(chunks))


def written(folder: Path, content: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return path


def log_of(folder: Path, content: str | bytes, name: str = "log.csv", **form: Any) -> FileLog:
    (log,) = logs_in([str(written(folder, content, name))], LogForm(**form))
    return log


def read_text(folder: Path, content: str | bytes, name: str = "log.csv", **form: Any) -> Read:
    return read(log_of(folder, content, name, **form))
