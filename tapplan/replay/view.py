"""A log as a picture shows it: columns of equal time, in each the least and the most of what stood there.

A sample counts in every column in which it stood for any time, however short, so that no excursion is lost. Sums are
of whole microseconds, volts of whole grains: the same however the log is cut. The columns are known only once the
log's ends are, so that it is read a second time for them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Floats, Micros, Wholes
from tapplan.logs.samples import Log
from tapplan.replay.counting import Account
from tapplan.replay.machine import Machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.volts import GRAINS, grains

COLUMNS = 1000


@dataclass(frozen=True)
class Reach:
    """The least and the most by column; nan where nothing stood."""

    least: Floats
    most: Floats


@dataclass(frozen=True)
class LogView:
    """A log in columns; column c lasts from `edges[c]` to `edges[c + 1]`, in microseconds.

    By standing, being away as the last, and by column: the least and the most grains at the inlet, `GRAINS` and -1
    where the standing was not in force, and the microseconds that it was. By column: the microseconds outside the
    window, being away included, and those in gaps.
    """

    edges: Micros
    least: Wholes
    most: Wholes
    lasting: Micros
    outside: Micros
    gaps: Micros

    @property
    def columns(self) -> int:
        """How many there are; none of a log that lasts for no time."""
        return len(self.edges) - 1

    @property
    def away(self) -> Micros:
        """How long no band was in force, by column."""
        found: Micros = self.lasting[-1]
        return found

    def line(self, unit: float) -> Reach:
        """The mains, a grain being worth a unit."""
        return self._reach(np.full(len(self.least), unit))

    def output(self, ratios: Sequence[Fraction], unit: float) -> Reach:
        """The output without load by the ratios of the standings, where one is in force that has one above 0."""
        return self._reach(np.array([float(one) * unit for one in ratios]))

    def _reach(self, units: Floats) -> Reach:
        """Over the standings that were in force and whose grains are worth more than nothing."""
        worth = units[:, None]
        stood = (self.lasting > 0) & (worth > 0)
        low = np.where(stood, self.least * worth, np.inf).min(axis=0)
        high = np.where(stood, self.most * worth, -np.inf).max(axis=0)
        none = ~stood.any(axis=0)
        low[none] = high[none] = np.nan
        return Reach(low, high)

    def coarser(self, together: int) -> LogView:
        """So many columns as one; the last may have fewer."""
        heads = np.arange(0, self.columns, together)
        return LogView(
            np.append(self.edges[:-1][heads], self.edges[-1:]),
            np.minimum.reduceat(self.least, heads, axis=1) if len(heads) else self.least,
            np.maximum.reduceat(self.most, heads, axis=1) if len(heads) else self.most,
            np.add.reduceat(self.lasting, heads, axis=1) if len(heads) else self.lasting,
            np.add.reduceat(self.outside, heads) if len(heads) else self.outside,
            np.add.reduceat(self.gaps, heads) if len(heads) else self.gaps,
        )


@dataclass(frozen=True)
class Shares:
    """Times cut at the edges of columns: which of them each is a share of, its column, from and to."""

    of: Wholes
    columns: Wholes
    begins: Micros
    ends: Micros

    @property
    def lengths(self) -> Micros:
        """How long each is."""
        return self.ends - self.begins


def cut(begins: Micros, ends: Micros, edges: Micros) -> Shares:
    """Times, none of them empty, cut at edges; what lies beyond the first or the last edge is left out."""
    first = np.maximum(np.searchsorted(edges, begins, side="right") - 1, 0)
    last = np.minimum(np.searchsorted(edges, ends, side="left") - 1, len(edges) - 2)
    counts = np.maximum(last - first + 1, 0)
    of = np.repeat(np.arange(len(begins)), counts)
    columns = np.arange(len(of)) + np.repeat(first - (np.cumsum(counts) - counts), counts)
    return Shares(of, columns, np.maximum(begins[of], edges[columns]), np.minimum(ends[of], edges[columns + 1]))


class Viewing:
    """A view on its way: shown each stretch of a log as it is counted."""

    def __init__(self, standings: int, edges: Micros) -> None:
        shape = (standings, max(len(edges) - 1, 0))
        self._edges = edges
        self._least, self._most = np.full(shape, GRAINS, np.int64), np.full(shape, -1, np.int64)
        self._lasting = np.zeros(shape, np.int64)
        self._outside, self._gaps = np.zeros(shape[1], np.int64), np.zeros(shape[1], np.int64)

    def take(self, account: Account) -> None:
        """What else happened."""
        parts, times, breaks = account.parts, account.stretch.times, account.stretch.breaks
        shares = cut(parts.begins, parts.ends, self._edges)
        if len(shares.of):
            here = parts.standings[shares.of], shares.columns
            outside = parts.outside[shares.of]
            np.add.at(self._lasting, here, shares.lengths)
            np.add.at(self._outside, shares.columns[outside], shares.lengths[outside])
            self._volts(account, shares)
        gone = cut(times[breaks], times[breaks + 1], self._edges)
        np.add.at(self._gaps, gone.columns, gone.lengths)

    def _volts(self, account: Account, shares: Shares) -> None:
        """The least and the most of the samples that stand in each share."""
        times, standings = account.stretch.times, account.parts.standings[shares.of]
        found = grains(account.stretch.readings, account.factor)
        firsts = np.searchsorted(times, shares.begins, side="right") - 1
        beyond = np.searchsorted(times, shares.ends, side="left")
        ends = np.stack([firsts, beyond], axis=1).ravel()
        whole = np.append(found, found[-1:])  # so that an end beyond the last sample is one
        np.minimum.at(self._least, (standings, shares.columns), np.minimum.reduceat(whole, ends)[::2])
        np.maximum.at(self._most, (standings, shares.columns), np.maximum.reduceat(whole, ends)[::2])

    def view(self) -> LogView:
        """What has been shown so far."""
        return LogView(self._edges, self._least, self._most, self._lasting, self._outside, self._gaps)


def edges_of(run: LogRun, columns: int) -> Micros:
    """Where columns of equal time begin, to a microsecond, and where the last ends; none shorter than that."""
    lasting = run.last + run.step - run.first
    count = min(columns, lasting)
    found = [run.first + lasting * at // count for at in range(count + 1)] if count else [run.first]
    return np.array(found, np.int64)


@dataclass
class _Again:
    """How far the second pass is; it ends where the first did."""

    run: LogRun
    tell: Callable[[int], None]
    samples: int = 0

    def passed(self, samples: int) -> None:
        self.samples = samples
        self.tell(samples)

    def stop(self) -> bool:
        return self.run.partial and self.samples >= self.run.tallies[0].samples


def viewed(
    log: Log,
    machine: Machine,
    run: LogRun,
    columns: int = COLUMNS,
    tell: Callable[[int], None] = lambda samples: None,
) -> LogView:
    """The view of a log that has been run through a machine, which was the first or the only one.

    Raises:
        LogError: the log cannot be read any more.
    """
    viewing, again = Viewing(len(machine.made.nodes), edges_of(run, columns)), _Again(run, tell)
    replayed(log, [machine], Running(run.max_gap, again.stop, again.passed, viewing.take))
    return viewing.view()
