"""The control table: the bands of a file, or bands derived from the states, as rows in order of rising input."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tapplan.control.away import Away, away_of
from tapplan.control.drop import loaded
from tapplan.control.placing import StatedBand, completed
from tapplan.control.reading import Blur, blur_of
from tapplan.control.serving import Served, read_of, reading_ratio, served
from tapplan.control.thresholds import Demand, noise_between, room
from tapplan.design.model import Backup, Band, Design
from tapplan.design.numbers import Range
from tapplan.errors import TableError
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import State, in_file_order


@dataclass(frozen=True, slots=True)
class Row:
    """One band: its state, and the readings that keep it.

    `hold` is as the file has it, in the units sensed; `kept` differs from it only in the outermost bands of a
    table with a backup, where it ends at `leave_v`. `sensed` is reading over input volts without load, `read` the
    least and the most of it under load and ripple; both None when the state does not fix them. `full` is the
    full-load ratio, None when there is no ratio. `input_hold` follows: the error-free input volts that keep the band
    without load, None when the reading is not fixed.
    """

    name: str
    state: State
    hold: Span
    kept: Span
    sensed: Fraction | None
    read: Span | None
    full: Fraction | None
    input_hold: Span | None = field(init=False)

    def __post_init__(self) -> None:
        hold = None if self.sensed is None else self.kept.scaled(1 / self.sensed)
        object.__setattr__(self, "input_hold", hold)

    @property
    def energised(self) -> tuple[str, ...]:
        """The relays driven, in the order of the file."""
        return self.state.energised

    @property
    def ratio(self) -> Fraction | None:
        """Output over input without load."""
        return self.state.ratio

    def real_hold(self, blur: Blur) -> Span | None:
        """The true input volts that can keep the band, whatever error, noise, load and ripple do."""
        return None if self.read is None else blur.inputs(self.kept, self.read)

    def output_over(self, inputs: Span) -> Span | None:
        """The output volts over these inputs, from full load to no load; None without a ratio."""
        if self.ratio is None or self.full is None:
            return None
        ends = [ratio * volts for ratio in (self.ratio, self.full) for volts in (inputs.low, inputs.high)]
        return Span(min(ends), max(ends))


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two neighbours, how far they overlap at the least, and the noise that acts there, both in input volts.

    The overlap is negative where readings between the two are held by neither.
    """

    below: Row
    above: Row
    overlap: Fraction
    noise: Fraction

    @property
    def margin(self) -> Fraction:
        """What the overlap leaves beside the noise; nought is none."""
        return self.overlap - self.noise


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Two neighbours with less room between them than is wanted, both in input volts.

    Room that is just what is wanted is short too where the overlap would be no more than the noise.
    """

    below: Row
    above: Row
    room: Fraction
    wanted: Fraction


@dataclass(frozen=True, slots=True)
class ControlTable:
    """The rows in order of rising input, being away, and how the rows came about.

    `derived` says that the tool chose the bands; `placed` that it placed at least one threshold. `demanded` is
    False when the states cannot serve the range with the hysteresis, noise and error given, so that the rows
    are the best that could be done. `serving` covers what all usable states serve, where that was worked out.
    `wires_chosen` names the windings whose wire the file leaves open; `design` has a wire for them.
    """

    design: Design
    circuit: Circuit
    rows: tuple[Row, ...]
    away: Away
    derived: bool = False
    placed: bool = False
    demanded: bool = True
    serving: tuple[Served, ...] | None = None
    wires_chosen: tuple[str, ...] = ()

    @property
    def stated(self) -> Design:
        """The design as its file states it, without the wires chosen."""
        bare = [
            replace(one, wire_mm=None, strands=None) if one.name in self.wires_chosen else one
            for one in self.design.windings
        ]
        return replace(self.design, windings=tuple(bare))

    @property
    def blur(self) -> Blur:
        """How far a reading can be off."""
        return blur_of(self.design.sensing)

    @property
    def rooms(self) -> tuple[Fraction | None, ...]:
        """For each pair of neighbours how far what they serve overlaps, in input volts, noise and hysteresis in it.

        None when a state is unusable.
        """
        serving = [served(self.design, self.circuit, row.state) for row in self.rows]
        return tuple(
            None if below is None or above is None else room(below, above)
            for below, above in itertools.pairwise(serving)
        )

    def shortfalls(self) -> Iterator[Shortfall]:
        """The neighbours whose room is less than hysteresis and noise ask for."""
        for below, above in itertools.pairwise(self.rows):
            low, high = (served(self.design, self.circuit, row.state) for row in (below, above))
            if low is None or high is None:
                continue
            if Demand(self.design.sensing.hysteresis_v).room(low, high) is None:
                noise = noise_between(low, high)
                wanted = max(self.design.sensing.hysteresis_v + noise, 2 * noise)
                yield Shortfall(below, above, room(low, high), wanted)

    def meetings(self) -> Iterator[Meeting]:
        """The neighbours that both have a reading, by rising input."""
        half = self.blur.half_noise
        for below, above in itertools.pairwise(self.rows):
            if below.read is not None and above.read is not None:
                ends = below.kept.high / below.read.high, above.kept.low / above.read.low
                noise = half * (1 / below.read.high + 1 / above.read.low)
                yield Meeting(below, above, ends[0] - ends[1], noise)

    def entries(self, place: int) -> tuple[Fraction | None, Fraction | None]:
        """The inputs at which a row is entered, rising and falling; None without a neighbour on that side."""
        hold = self.rows[place].input_hold
        below = self.rows[place - 1].input_hold if place else None
        above = self.rows[place + 1].input_hold if place + 1 < len(self.rows) else None
        rising = max(below.high, hold.low) if below and hold else None
        falling = min(above.low, hold.high) if above and hold else None
        return rising, falling

    def output_nominal(self, row: Row) -> Span | None:
        """The output over the row's hold within the mains range, no error, no load drop."""
        inside = row.input_hold.meet(self.design.mains.span) if row.input_hold else None
        if inside is None or row.ratio is None:
            return None
        low, high = sorted((row.ratio * inside.low, row.ratio * inside.high))
        return Span(low, high)

    def output_worst(self, row: Row) -> Span | None:
        """The output over the row's real hold within the mains range, with sensing error, noise and load drop."""
        real = row.real_hold(self.blur)
        inside = real.meet(self.design.mains.span) if real else None
        return None if inside is None else row.output_over(inside)


def control_table(design: Design) -> ControlTable:
    """The table a design states, completed or derived where it leaves holds or bands out."""
    return stated_table(design) if design.bands else derived_table(design)


def stated_table(design: Design) -> ControlTable:
    """The table of the file's own bands; holds left out are placed between the neighbours."""
    circuit = circuit_of(design)
    bands = [StatedBand(band, in_file_order(circuit, band.energised)) for band in design.bands]
    if all(band.hold_v is not None for band in design.bands):
        rows = [_row(design, circuit, one, Span(*one.band.hold_v)) for one in bands if one.band.hold_v]
        return _whole(design, circuit, sorted(rows, key=_middle), frozenset(row.name for row in rows))
    bands.sort(key=lambda one: -(one.state.ratio or Fraction(0)))
    holds = completed(design, circuit, bands)
    rows = [_row(design, circuit, band, hold) for band, hold in zip(bands, holds, strict=True)]
    written = frozenset(band.name for band in design.bands if band.hold_v is not None)
    return replace(_whole(design, circuit, rows, written), placed=True)


def derived_table(design: Design) -> ControlTable:
    """The table the tool would choose, whatever bands the file has."""
    from tapplan.control.choice import chosen, names  # a table that is stated asks for no choice
    from tapplan.control.rungs import candidates

    circuit = circuit_of(design)
    offered = candidates(design, circuit)
    found = chosen(design, offered.rungs)
    bands = [
        StatedBand(Band(name=name, energised=one.state.energised), one.state)
        for name, one in zip(names(found.bands), found.bands, strict=True)
    ]
    holds = completed(design, circuit, bands)
    rows = [_row(design, circuit, band, hold) for band, hold in zip(bands, holds, strict=True)]
    whole = _whole(design, circuit, rows)
    return replace(whole, derived=True, placed=True, demanded=found.demanded, serving=offered.serving)


def _whole(
    design: Design, circuit: Circuit, rows: Sequence[Row], written: frozenset[str] = frozenset()
) -> ControlTable:
    """The table of these rows, the outer ends those of the backup; `written` are those whose holds the file gives.

    Raises:
        TableError: leave_v lies inside an outermost hold as written, or return_v not inside leave_v.
    """
    table = ControlTable(design, circuit, _with_backup(design, rows), away_of(design, circuit))
    if design.backup is not None and rows:
        _judge_leave(table, design.backup, written)
        _judge_return(table, design.backup)
    return table


def _judge_leave(table: ControlTable, backup: Backup, written: frozenset[str]) -> None:
    """Leave against the outermost rows as the file gives them, in the units sensed."""
    first, last = table.rows[0], table.rows[-1]
    low, high = backup.leave_v
    ends = [(first, first.hold.low, low > first.hold.low), (last, last.hold.high, high < last.hold.high)]
    for row, end, inside in ends:
        if inside and row.name in written:
            accepted = f'a range that holds the outer end of "{row.name}", {_told(end)}'
            raise TableError(("backup", "leave_v"), _range(backup.leave_v), accepted)


def _judge_return(table: ControlTable, backup: Backup) -> None:
    """Return against leave, which stand in other units where the reading is taken elsewhere than at the input."""
    first, last = table.rows[0], table.rows[-1]
    low, high = backup.leave_v
    if first.sensed and last.sensed and table.away.sensed:
        inputs = Span(low / first.sensed, max(high / last.sensed, low / first.sensed))
        least, most = inputs.low * table.away.sensed, inputs.high * table.away.sensed
        if backup.return_v[0] < least or backup.return_v[1] > most:
            accepted = f"a range inside leave_v, which is read as [{_told(least)}, {_told(most)}] while away"
            raise TableError(("backup", "return_v"), _range(backup.return_v), accepted)


def _range(volts: Range) -> str:
    return f"[{_told(volts[0])}, {_told(volts[1])}]"


def _told(volts: Fraction) -> str:
    return f"{float(volts):g}"


def with_load(table: ControlTable, load_va: Fraction) -> ControlTable:
    """The table under another load, its thresholds where they are; 0 volt-amperes: none."""
    design = replace(table.design, output=replace(table.design.output, load_va=load_va or None))

    def under(row: Row) -> Row:
        found = loaded(design, table.circuit, row.state)
        return replace(row, read=read_of(design, row.sensed, found), full=found.ratio)

    return replace(table, design=design, rows=tuple(under(row) for row in table.rows), serving=None)


def _row(design: Design, circuit: Circuit, band: StatedBand, hold: Span) -> Row:
    state = band.state
    sensed, under = reading_ratio(design, circuit, state), loaded(design, circuit, state)
    return Row(band.band.name, state, hold, hold, sensed, read_of(design, sensed, under), under.ratio)


def _middle(row: Row) -> Fraction:
    hold = row.input_hold or row.hold
    return hold.low + hold.high


def _with_backup(design: Design, rows: Sequence[Row]) -> tuple[Row, ...]:
    """The rows with the outermost ends at the backup's leave_v, where there is one.

    Where it does not hold the ends as written, `_judge_leave` says so.
    """
    if design.backup is None or not rows:
        return tuple(rows)
    low, high = design.backup.leave_v
    ends = list(rows)
    first = ends[0]
    ends[0] = replace(first, kept=Span(min(low, first.kept.high), first.kept.high))
    last = ends[-1]
    ends[-1] = replace(last, kept=Span(last.kept.low, max(high, last.kept.low)))
    return tuple(ends)
