"""A log's run as plain lists and numbers, to be kept in a file, and back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import astuple
from typing import Any

import numpy as np

from tapplan.logs.samples import BadRow, BadRows, RowFault
from tapplan.replay.machine import Machine
from tapplan.replay.replayed import LogRun
from tapplan.replay.tally import DayTally, Spells, Tally

PlainRun = Mapping[str, Any]
COUNTS = ("samples", "gaps", "gap_us", "longest_gap", "outside", "lowest")
ARRAYS = ("changes", "change_least", "change_most", "lasting", "by_hour")


def as_plain(run: LogRun) -> PlainRun:
    """What `from_plain` reads."""
    return {
        "name": run.name,
        "made": run.made,
        "times": [run.first, run.last, run.step, run.max_gap],
        "bad": {fault.name: count for fault, count in run.bad.counts.items()},
        "bad_rows": [[one.file, one.row, one.fault.name, one.found] for one in run.bad.told],
        "tallies": [_tally(one) for one in run.tallies],
    }


def from_plain(plain: PlainRun, machines: Sequence[Machine]) -> LogRun:
    """A run that was kept, of the same designs.

    Raises:
        KeyError, TypeError, ValueError, IndexError: it is none.
    """
    rows = (BadRow(file, row, RowFault[fault], found) for file, row, fault, found in plain["bad_rows"])
    bad = BadRows({RowFault[fault]: count for fault, count in plain["bad"].items()}, tuple(rows))
    tallies = tuple(_from(one, made) for one, made in zip(plain["tallies"], machines, strict=True))
    first, last, step, max_gap = (int(one) for one in plain["times"])
    return LogRun(plain["name"], plain["made"], first, last, step, max_gap, bad, tallies)


def _tally(one: Tally) -> PlainRun:
    return {
        **{name: getattr(one, name) for name in COUNTS},
        **{name: getattr(one, name).tolist() for name in ARRAYS},
        "hours": sorted(one.hours.items()),
        "days": [[number, *astuple(day)] for number, day in sorted(one.days.items())],
        "spells": list(astuple(one.spells)),
    }


def _from(plain: PlainRun, machine: Machine) -> Tally:
    one = machine.tally()
    for name in COUNTS:
        setattr(one, name, int(plain[name]))
    for name in ARRAYS:
        known = getattr(one, name)
        found = np.array(plain[name], np.int64).reshape(known.shape if name != "lasting" else (one.standings, -1))
        setattr(one, name, found)
    one.hours = Counter({int(hour): int(count) for hour, count in plain["hours"]})
    one.days = {int(number): DayTally(*counts) for number, *counts in plain["days"]}
    one.spells = Spells(*plain["spells"])
    return one
