"""A log through the package and through the plain loop outside, in the same figures."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from random import Random
from typing import Any

import numpy as np

from tapplan.control.commands import commands
from tapplan.control.decisions import decisions
from tapplan.control.moves import Mixtures, move_between
from tapplan.control.table import control_table
from tapplan.design.file import parse
from tapplan.errors import TableError
from tapplan.logs.samples import Chunk
from tapplan.replay.clock import DAY, HOUR
from tapplan.replay.engines import Backend, Engines
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.volts import GRAINS
from tests.outside import designs
from tests.outside import replay as outside

Sample = outside.Sample


@dataclass(frozen=True)
class Listed:
    """A log from a list of samples, in chunks cut at given places."""

    samples: Sequence[Sample]
    cuts: Sequence[int] = ()
    scale: Fraction = Fraction(1)
    kind: Any = np.float64
    name: str = "a list"
    made: str | None = None

    def chunks(self) -> Iterator[Chunk]:
        times = np.array([time for time, _ in self.samples], np.int64)
        readings = np.array([float(volts / self.scale) for _, volts in self.samples], self.kind)
        ends = [0, *self.cuts, len(times)]
        for begin, end in itertools.pairwise(ends):
            yield Chunk(times[begin:end], readings[begin:end])


@dataclass(frozen=True)
class Day:
    """A day of the log's clock: microseconds outside, away and in gaps that begin in it, changes, volts in grains."""

    outside: int = 0
    away: int = 0
    gap: int = 0
    changes: int = 0
    least: int = GRAINS
    most: int = -1


@dataclass(frozen=True)
class Figures:
    """What both tell; times in microseconds. `kept`: ten-minute means, those within 10 % at inlet and output."""

    samples: int
    step: int
    gaps: int
    changes: dict[tuple[str, str], int]
    moves: dict[str, int]
    us: dict[str, int]
    outside: int
    transfers: int
    longest: int
    kept: tuple[int, int, int]
    longest_gap: int
    days: dict[int, Day]
    hours: dict[int, int]
    met: dict[tuple[str, str], tuple[int, int]]


@dataclass(frozen=True)
class Both:
    """A design for both sides."""

    machine: Machine
    plain: outside.Machine

    def run(self, log: Listed, max_gap: int | None = None, engine: Backend | None = None) -> LogRun:
        return replayed(log, [self.machine], Running(max_gap=max_gap, engines=Engines(engine)))

    def found(self, run: LogRun) -> Figures:
        tally, names = run.tallies[0], self.machine.names
        changes = {
            (names[before], names[after]): int(tally.changes[before, after])
            for before, after in np.argwhere(tally.changes)
        }
        driven = {names[n]: set(self._driven(n)) for n in range(len(names))}
        relays = self.machine.table.circuit.relays
        moves = {
            relay: sum(count for (one, two), count in changes.items() if relay in driven[one] ^ driven[two])
            for relay in relays
        }
        spent = {name: int(tally.lasting[number].sum()) for number, name in enumerate(names)}
        days = tally.days.values()
        return Figures(
            tally.samples,
            run.step,
            tally.gaps,
            changes,
            moves,
            spent | {"gap": tally.gap_us},
            tally.outside,
            sum(count for (_, after), count in changes.items() if after == "away"),
            tally.spells.most,
            (sum(d.intervals for d in days), sum(d.kept for d in days), sum(d.kept_out for d in days)),
            tally.longest_gap,
            {number: Day(d.outside, d.away, d.gap, d.changes, d.least, d.most) for number, d in tally.days.items()},
            dict(tally.hours),
            {
                (names[a], names[b]): (int(tally.change_least[a, b]), int(tally.change_most[a, b]))
                for a, b in np.argwhere(tally.changes)
            },
        )

    def _driven(self, number: int) -> tuple[str, ...]:
        rows = self.machine.table.rows
        return rows[number].energised if number < len(rows) else self.machine.table.away.state.energised

    def wanted(self, samples: Sequence[Sample], max_gap: int | None = None) -> Figures:
        plain = self.plain.run(samples, max_gap)
        design = self.machine.table.design
        near = [
            [Fraction(9, 10) * volts, Fraction(11, 10) * volts]
            for volts in (design.mains.nominal_v, design.output.nominal_v)
        ]
        into = sum(near[0][0] ** 2 <= one.square_in <= near[0][1] ** 2 for one in plain.intervals)
        out = sum(near[1][0] ** 2 <= one.square_out <= near[1][1] ** 2 for one in plain.intervals)
        return Figures(
            plain.samples,
            plain.step_us,
            plain.gaps,
            {key: count for key, count in plain.changes.items() if count},
            dict(plain.moves),
            {name: plain.us.get(name, 0) for name in (*self.machine.names, "gap")},
            plain.outside_us,
            plain.transfers,
            plain.longest_away_us,
            (len(plain.intervals), into, out),
            max((one.us for one in plain.pieces if one.row == outside.GAP), default=0),
            self._days(plain),
            dict(Counter(one.time // HOUR for one in plain.events[1:])),
            self._met(plain),
        )

    def _grains(self, volts: Fraction) -> int:
        return min(floor(volts / self.machine.grain.volts + Fraction(1, 2)), GRAINS - 1)

    def _met(self, plain: outside.Replay) -> dict[tuple[str, str], tuple[int, int]]:
        met: dict[tuple[str, str], list[int]] = {}
        for one in plain.events[1:]:
            met.setdefault((one.before, one.after), []).append(self._grains(one.volts))
        return {key: (min(volts), max(volts)) for key, volts in met.items()}

    def _days(self, plain: outside.Replay) -> dict[int, Day]:
        """Each piece cut at midnight, and the gaps and changes of the day in which they begin."""
        days: dict[int, Day] = {}
        low, high = self.plain.stage.window
        for piece in plain.pieces:
            if piece.volts is None:
                day = days.get(piece.begin // DAY, Day())
                days[piece.begin // DAY] = replace(day, gap=day.gap + piece.us)
                continue
            away = piece.row == "away"
            out = away or not low <= self.plain.ratios[piece.row] * piece.volts <= high
            grains = self._grains(piece.volts)
            for number in range(piece.begin // DAY, (piece.end - 1) // DAY + 1):
                day = days.get(number, Day())
                us = min(piece.end, (number + 1) * DAY) - max(piece.begin, number * DAY)
                days[number] = replace(
                    day,
                    outside=day.outside + us * out,
                    away=day.away + us * away,
                    least=min(day.least, grains),
                    most=max(day.most, grains),
                )
        for event in plain.events[1:]:
            day = days.get(event.time // DAY, Day())
            days[event.time // DAY] = replace(day, changes=day.changes + 1)
        return days


def both_of(text: str) -> Both | None:
    """The design for both; None where the package refuses it, or it reads what nothing fixes."""
    try:
        table = control_table(parse(text, "drawn.toml"))
        made = decisions(table)
        mixtures = Mixtures(table.circuit)
        orders = {}
        for node in made.nodes:
            for other in made.nodes:
                move = commands(table, mixtures, move_between(table, node.standing, other.standing))
                orders[made.named(node.standing), made.named(other.standing)] = move.order
        return Both(machine(table), outside.Machine(text, orders))
    except (TableError, ValueError):
        return None


@dataclass(frozen=True)
class DrawnLog:
    """A random design with a random log, a gap stated or not, and the chance that goes on from there."""

    chance: Random
    both: Both
    samples: list[Sample]
    gap: int | None


def drawn_logs(designs: int, most_rows: int = 300) -> Iterator[DrawnLog]:
    """So many designs, four logs each."""
    for number in range(designs):
        chance = Random(number)
        both = drawn(chance)
        for _ in range(4):
            samples = outside.random_log(chance, both.plain, most_rows=most_rows)
            yield DrawnLog(chance, both, samples, outside.random_max_gap(chance, samples))


def drawn(chance: Random) -> Both:
    """A random design."""
    while True:
        text = outside.varied(chance, designs.random_design(chance).text)
        found = both_of(text)
        if found is not None:
            return found
