"""A stretch followed, added to a tally."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Mask, Squares, Wholes
from tapplan.replay.clock import DAY, HOUR
from tapplan.replay.course import Pieces, Stretch
from tapplan.replay.profile import Profile
from tapplan.replay.segments import INTERVAL, Segments
from tapplan.replay.tally import DayTally, Interval, Spells, Tally
from tapplan.replay.volts import grains
from tapplan.replay.zone import Zone


@dataclass(frozen=True)
class Account:
    """A stretch with all that was found of it; `factor` makes grains of its readings."""

    stretch: Stretch
    pieces: Pieces
    parts: Segments
    profile: Profile
    factor: float
    zone: Zone


def count(tally: Tally, account: Account) -> None:
    """Adds a stretch to what came before it; `lasting` the profile has added itself."""
    if len(account.parts.begins):
        _segments(tally, account)
        _intervals(tally, account)
    tally.spells.add(_spells(account, tally.standings - 1))
    _gaps(tally, account)
    _changes(tally, account)


def _segments(tally: Tally, account: Account) -> None:
    parts, lengths = account.parts, account.parts.lengths
    away = parts.standings == tally.standings - 1
    tally.outside += int(lengths[parts.outside].sum())
    heads = _heads(parts.days)
    outside, gone = np.add.reduceat(lengths * parts.outside, heads), np.add.reduceat(lengths * away, heads)
    least = np.minimum.reduceat(account.profile.least, heads)
    most = np.maximum.reduceat(account.profile.most, heads)
    for place, number in enumerate(parts.days[heads].tolist()):
        found = DayTally(
            outside=int(outside[place]), away=int(gone[place]), least=int(least[place]), most=int(most[place])
        )
        tally.day(number).add(found)


def _new(numbers: Wholes) -> Mask:
    """Which of some numbers are others than the one before."""
    new = np.ones(len(numbers), np.bool_)
    np.not_equal(numbers[1:], numbers[:-1], out=new[1:])
    return new


def _heads(numbers: Wholes) -> Wholes:
    """Where numbers begin to be others."""
    return np.flatnonzero(_new(numbers))


def _intervals(tally: Tally, account: Account) -> None:
    """The first and the last interval may go on in another stretch; those between are judged at once."""
    parts = account.parts
    new = _new(parts.intervals)
    heads = np.flatnonzero(new)
    numbers, days = parts.intervals[heads], parts.days[heads]
    covered = np.add.reduceat(parts.lengths, heads)
    squares = np.zeros((len(numbers), tally.standings), np.uint64)
    places = (np.cumsum(new) - 1) * tally.standings + parts.standings
    np.add.at(squares.reshape(-1), places, account.profile.squares)
    ends = {0, len(numbers) - 1}
    tally.meet(
        {
            int(numbers[one]): Interval(int(days[one]), int(covered[one]), [int(each) for each in squares[one]])
            for one in sorted(ends)
        }
    )
    whole = covered[1:-1] == INTERVAL
    _judge(tally, days[1:-1][whole], squares[1:-1][whole])


def _judge(tally: Tally, days: Wholes, squares: Squares) -> None:
    """The same as the tally does with one interval, for many."""
    window = tally.window
    totals = squares.sum(axis=1, dtype=np.uint64)
    kept = (totals >= np.uint64(window.least)) & (totals <= np.uint64(window.most))
    out = np.zeros(len(totals))
    for standing, factor in enumerate(window.amplified):  # in this order, as for one
        out += factor * squares[:, standing].astype(np.float64)
    kept_out = (out >= window.out_least) & (out <= window.out_most)
    if len(days):
        heads = _heads(days)
        sums = [np.add.reduceat(one.astype(np.int64), heads) for one in (kept, kept_out)]
        counts = np.diff(np.append(heads, len(days)))
        for place, number in enumerate(days[heads].tolist()):
            found = DayTally(intervals=int(counts[place]), kept=int(sums[0][place]), kept_out=int(sums[1][place]))
            tally.day(number).add(found)


def _spells(account: Account, away: int) -> Spells:
    """The times away of a stretch; a row between two of them parts them, also one for no time, or in a gap only."""
    parts, standings = account.parts, account.pieces.standings
    rows = np.cumsum(standings != away)
    if not len(parts.begins):
        return Spells(whole=False, seen=bool(rows[-1]))
    gone, before = parts.standings == away, rows[parts.pieces]
    new = np.ones(len(gone), np.bool_)
    new[1:] = (gone[1:] != gone[:-1]) | (gone[1:] & (before[1:] != before[:-1]))
    runs = np.add.reduceat(parts.lengths, np.flatnonzero(new)) * gone[new]
    return Spells(
        longest=int(runs.max()),
        head=int(runs[0]) if before[0] == 0 else 0,
        tail=int(runs[-1]) if before[-1] == rows[-1] else 0,
        whole=int(rows[-1]) == 0,
        seen=True,
    )


def _gaps(tally: Tally, account: Account) -> None:
    times, breaks = account.stretch.times, account.stretch.breaks
    if not len(breaks):
        return
    lengths = times[breaks + 1] - times[breaks]
    tally.gaps += len(lengths)
    tally.gap_us += int(lengths.sum())
    tally.longest_gap = max(tally.longest_gap, int(lengths.max()))
    for number, length in zip(account.zone.local(times[breaks]) // DAY, lengths, strict=True):
        tally.day(int(number)).gap += int(length)


def _changes(tally: Tally, account: Account) -> None:
    pieces = account.pieces
    places = np.flatnonzero(pieces.standings[1:] != pieces.standings[:-1]) + 1
    if not len(places):
        return
    kinds, times = pieces.standings[places - 1] * tally.standings + pieces.standings[places], pieces.times[places]
    volts = grains(account.stretch.readings[account.stretch.begun(times)], account.factor)
    np.add.at(tally.changes.reshape(-1), kinds, 1)
    np.minimum.at(tally.change_least.reshape(-1), kinds, volts)
    np.maximum.at(tally.change_most.reshape(-1), kinds, volts)
    _changes_by_hour(tally, account.zone.local(times) // HOUR)


def _changes_by_hour(tally: Tally, hours: Wholes) -> None:
    """Changes by the local hour of each; where a clock is put back, hours come again."""
    heads = _heads(hours)
    numbers, counts = hours[heads], np.diff(np.append(heads, len(hours)))
    np.add.at(tally.by_hour, numbers % 24, counts)
    for number, many in zip(numbers.tolist(), counts.tolist(), strict=True):
        tally.hours[number] += many
    days = _heads(numbers // 24)
    for number, many in zip((numbers[days] // 24).tolist(), np.add.reduceat(counts, days).tolist(), strict=True):
        tally.day(number).changes += many
