"""The controller's decision, written as the format's text reads: no compiled cuts, nothing sorted but the bands.

It works on plain rows, so a design file and a table of numbers both feed it, and on exact fractions and on floats
alike: `Table.in_floats` gives the quick one for simulations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from tests.outside.stage import AWAY, Network, Stage

HUNTING = "hunting"
TINY = Fraction(1, 10**9)
"""Volts beside a mark, less than any two marks of a sensible table lie apart."""

Number = Any
"""A Fraction, or a float for speed."""


@dataclass(frozen=True, slots=True)
class Row:
    """A band: ratio and reading per volt at the inlet, both without load, and its hold in the units sensed."""

    name: str
    ratio: Number
    sensed: Number
    hold: tuple[Number, Number]


@dataclass(frozen=True)
class Table:
    """All that a decision depends on; `leave` and `back` (return_v) are None without a backup.

    Rows may come in any order: they stand in order of rising input, the middle of the hold in input volts.
    """

    rows: tuple[Row, ...]
    at_input: bool
    nominal: Number
    away_sensed: Number
    leave: tuple[Number, Number] | None = None
    back: tuple[Number, Number] | None = None
    places: dict[str, int] = field(init=False)
    holds: tuple[tuple[Number, Number], ...] = field(init=False)

    def __post_init__(self) -> None:
        rows = tuple(sorted(self.rows, key=lambda row: (row.hold[0] + row.hold[1]) / row.sensed))
        object.__setattr__(self, "rows", rows)
        object.__setattr__(self, "places", {row.name: place for place, row in enumerate(rows)})
        object.__setattr__(self, "holds", tuple(_effective(rows, self.leave)))

    def in_floats(self) -> Table:
        """The same table in floating point, quick enough to be asked at each step of a simulation."""
        return replace(
            self,
            rows=tuple(Row(one.name, float(one.ratio), float(one.sensed), _floats(one.hold)) for one in self.rows),
            nominal=float(self.nominal),
            away_sensed=float(self.away_sensed),
            leave=_floats(self.leave) if self.leave else None,
            back=_floats(self.back) if self.back else None,
        )


def _floats(pair: tuple[Number, Number]) -> tuple[float, float]:
    return float(pair[0]), float(pair[1])


def _effective(rows: Sequence[Row], leave: tuple[Number, Number] | None) -> list[tuple[Number, Number]]:
    """The holds that decide: with a backup the outer ends are those at which the load leaves."""
    ends = [list(row.hold) for row in rows]
    if leave is not None:
        ends[0][0], ends[-1][1] = leave
    return [(low, high) for low, high in ends]


def table_of(stage: Stage, network: Network | None = None) -> Table:
    """The control table of a design file; a band or an away that fixes no positive reading is a ValueError."""
    network = network or Network(stage)
    if not stage.bands:
        raise ValueError("the bands are left out")
    rows = []
    for band in stage.bands:
        outcome = network.settled(band.name)
        if outcome.ratio is None:
            raise ValueError(f"{band.name} is {outcome.kind}")
        rows.append(Row(band.name, outcome.ratio, _positive(outcome.sensed, band.name), band.hold))
    return Table(
        rows=tuple(rows),
        at_input=stage.sensing.at == "input",
        nominal=stage.nominal,
        away_sensed=_positive(network.settled(AWAY).sensed, AWAY),
        leave=stage.backup.leave if stage.backup else None,
        back=stage.backup.back if stage.backup else None,
    )


def _positive(sensed: Fraction | None, name: str) -> Fraction:
    if sensed is None or sensed <= 0:
        raise ValueError(f"the reading is blind in {name}")
    return sensed


def decide(table: Table, row: str, reading: Number) -> str:
    """The row that follows this one at this reading, the same one when it is kept, or "away"."""
    if row == AWAY:
        return _from_away(table, reading)
    place = table.places[row]
    low, high = table.holds[place]
    if low <= reading <= high:
        return row
    way = 1 if reading > high else -1
    return _to_nearest(table, place, way, reading) if table.at_input else _one_on(table, place, way)


def _to_nearest(table: Table, place: int, way: int, reading: Number) -> str:
    """Read at the input: the nearest band on that side whose hold contains the reading."""
    place += way
    while 0 <= place < len(table.rows):
        low, high = table.holds[place]
        if low <= reading <= high:
            return table.rows[place].name
        place += way
    return AWAY


def _one_on(table: Table, place: int, way: int) -> str:
    """Read elsewhere: one band in that direction, whatever it holds; beyond the last one, away."""
    place += way
    return table.rows[place].name if 0 <= place < len(table.rows) else AWAY


def _from_away(table: Table, reading: Number) -> str:
    """Inside return_v: of the bands that would hold, the one whose output is nearest the nominal."""
    if table.back is not None and not table.back[0] <= reading <= table.back[1]:
        return AWAY
    volts = reading / table.away_sensed
    best, least = AWAY, None
    for row, (low, high) in zip(table.rows, table.holds, strict=True):
        if low <= volts * row.sensed <= high:
            rank = (abs(row.ratio * volts - table.nominal), row.ratio)
            if least is None or rank < least:  # strictly less: between equals the first in the table stays
                best, least = row.name, rank
    return best


def slow_course(table: Table, volts: Fraction, way: str, step: Fraction = Fraction(1)) -> frozenset[str]:
    """Every row in which a slow course can end at these input volts; HUNTING stands for a loop without end.

    "rising": from 0 V, "falling": from far above, "start": switched on here; each begins away. The course goes in
    small exact steps, by every end of a hold and a tiny way beside it, and lets the controller decide at each step
    until it rests. Where it never rests on the way, the course goes on from every row of that loop.
    """
    here, looping = {AWAY}, set[str]()
    for at in _steps(table, volts, way, step):
        here, looping = _rest(table, here | looping, at)
    return frozenset(here | {HUNTING} if looping else here)


def _steps(table: Table, volts: Fraction, way: str, step: Fraction) -> list[Fraction]:
    """The input volts that a course passes, in its order."""
    if way == "start":
        return [volts]
    marks = _marks(table)
    top = 2 * max([volts, *marks])
    passed = {mark + side for mark in marks for side in (-TINY, 0, TINY)} | {volts, top, Fraction(0)}
    passed |= {number * step for number in range(int(top / step) + 1)}
    if way == "rising":
        return sorted(at for at in passed if 0 <= at <= volts)
    if way == "falling":
        return sorted((at for at in passed if at >= volts), reverse=True)
    raise ValueError(way)


def _marks(table: Table) -> set[Fraction]:
    """Every input at which some decision changes: ends of holds and of return_v, and ties between two bands."""
    marks = {end / row.sensed for row, hold in zip(table.rows, table.holds, strict=True) for end in hold}
    marks |= {end / table.away_sensed for end in table.back or ()}
    return marks | {2 * table.nominal / (one.ratio + other.ratio) for one in table.rows for other in table.rows}


def _rest(table: Table, here: set[str], volts: Fraction) -> tuple[set[str], set[str]]:
    """From any of these rows at a steady input: the rows in which the controller rests, and those of loops."""
    resting, looping = set[str](), set[str]()
    for row in here:
        met = [row]
        while (following := decide(table, met[-1], volts * sensed_in(table, met[-1]))) not in met:
            met.append(following)
        loop = met[met.index(following) :]
        (resting if len(loop) == 1 else looping).update(loop)
    return resting, looping


def sensed_in(table: Table, row: str) -> Number:
    """The reading per volt at the inlet, without load."""
    return table.away_sensed if row == AWAY else table.rows[table.places[row]].sensed
