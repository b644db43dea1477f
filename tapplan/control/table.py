"""The control table: the bands of a file, or bands derived from the states, as rows in order of rising input."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tapplan.control.choice import Demand, Rung, ladder, patchwork, rungs
from tapplan.control.drop import full_load_ratio
from tapplan.control.serving import Served, all_served, reading_ratio, served
from tapplan.control.thresholds import Handover, handover, lower_end_to, room, steps_for, upper_end_to
from tapplan.design.model import Band, Design
from tapplan.exact import Span, rounded_down, rounded_up
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import State, state_of
from tapplan.network.turns import Kind


@dataclass(frozen=True, slots=True)
class Row:
    """One band: its state, and the readings that keep it.

    `hold` is as the file has it, in the units sensed; `kept` differs from it only in the outermost bands of a
    table with a backup, where it ends at `leave_v`. `sensed` is reading over input volts, None when the state
    does not fix it. `full` is the full-load ratio, None when there is no ratio. `input_hold` follows: the
    error-free input volts that keep the band, None when the reading is not fixed.
    """

    name: str
    state: State
    hold: Span
    kept: Span
    sensed: Fraction | None
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

    def real_hold(self, error: Fraction) -> Span | None:
        """The true input volts that can keep the band when a reading errs by up to `error`."""
        hold = self.input_hold
        return None if hold is None else Span(hold.low / (1 + error), hold.high / (1 - error))

    def output_over(self, inputs: Span) -> Span | None:
        """The output volts over these inputs, from full load to no load; None without a ratio."""
        if self.ratio is None or self.full is None:
            return None
        ends = [ratio * volts for ratio in (self.ratio, self.full) for volts in (inputs.low, inputs.high)]
        return Span(min(ends), max(ends))


@dataclass(frozen=True, slots=True)
class ControlTable:
    """The rows in order of rising input, and how they came about.

    `derived` says that the tool chose the bands; `placed` that it placed at least one threshold. `demanded` is
    False when the states cannot serve the range with the hysteresis, noise and error given, so that the rows
    are the best that could be done. `serving` is what all candidate states serve, where that was worked out.
    """

    design: Design
    circuit: Circuit
    rows: tuple[Row, ...]
    derived: bool = False
    placed: bool = False
    demanded: bool = True
    serving: tuple[Served, ...] | None = None

    @property
    def error(self) -> Fraction:
        """The worst sensing error, as a fraction."""
        return self.design.sensing.error

    @property
    def rooms(self) -> tuple[Fraction | None, ...]:
        """For each pair of neighbours how far they may overlap, in input volts; None when a state is unusable."""
        serving = [served(self.design, self.circuit, row.state) for row in self.rows]
        return tuple(
            None if below is None or above is None else room(below, above)
            for below, above in itertools.pairwise(serving)
        )

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
        """The output over the row's real hold within the mains range, with sensing error and load drop."""
        real = row.real_hold(self.error)
        inside = real.meet(self.design.mains.span) if real else None
        return None if inside is None else row.output_over(inside)


def control_table(design: Design) -> ControlTable:
    """The table a design states, completed or derived where it leaves holds or bands out."""
    return stated_table(design) if design.bands else derived_table(design)


def stated_table(design: Design) -> ControlTable:
    """The table of the file's own bands; holds left out are placed between the neighbours."""
    circuit = circuit_of(design)
    states = [_in_file_order(circuit, band.energised) for band in design.bands]
    bands = list(zip(design.bands, states, strict=True))
    if all(band.hold_v is not None for band in design.bands):
        rows = [_row(design, circuit, band.name, state, Span(*band.hold_v)) for band, state in bands if band.hold_v]
        return ControlTable(design, circuit, _with_backup(design, sorted(rows, key=_middle)))
    bands.sort(key=lambda pair: -(pair[1].ratio or Fraction(0)))
    holds = _completed(design, circuit, bands)
    rows = [_row(design, circuit, band.name, state, hold) for (band, state), hold in zip(bands, holds, strict=True)]
    return ControlTable(design, circuit, _with_backup(design, rows), placed=True)


def derived_table(design: Design) -> ControlTable:
    """The table the tool would choose, whatever bands the file has."""
    circuit = circuit_of(design)
    serving = tuple(all_served(design, circuit))
    steps = rungs(one for one in serving if one.sensed is not None)
    chosen, demanded = _chosen(design, steps)
    bands = [
        (Band(name=name, energised=one.state.energised), one.state)
        for name, one in zip(_names(chosen), chosen, strict=True)
    ]
    holds = _completed(design, circuit, bands)
    rows = [_row(design, circuit, band.name, state, hold) for (band, state), hold in zip(bands, holds, strict=True)]
    kept = _with_backup(design, rows)
    return ControlTable(design, circuit, kept, derived=True, placed=True, demanded=demanded, serving=serving)


def _chosen(design: Design, steps: Sequence[Rung]) -> tuple[list[Served], bool]:
    """The bands to use, and whether they meet every demand; else the demands are dropped one by one."""
    wanted = design.sensing.hysteresis_v
    for demand in (
        Demand(design.sensing, wanted),
        Demand(design.sensing, Fraction(0)),
        Demand(design.sensing, Fraction(0), beat_noise=False),
    ):
        chosen = ladder(steps, design.mains.span, demand)
        if chosen is not None:
            return chosen, demand.hysteresis == wanted and demand.beat_noise
    return patchwork(steps, design.mains.span), False


def _names(chosen: Iterable[Served]) -> list[str]:
    """Names by what the bands do, counted from the mildest: boost 2, boost 1, direct, buck 1, buck 2."""
    bands = list(chosen)
    boosts = sum(one.state.kind is Kind.BOOST for one in bands)
    bucks = sum(one.state.kind is Kind.BUCK for one in bands)
    names, boost, buck, plain = [], boosts, 0, 0
    for one in bands:
        if one.state.kind is Kind.BOOST:
            names.append("boost" if boosts == 1 else f"boost {boost}")
            boost -= 1
        elif one.state.kind is Kind.BUCK:
            buck += 1
            names.append("buck" if bucks == 1 else f"buck {buck}")
        else:
            plain += 1
            names.append(one.state.kind.value if plain == 1 else f"{one.state.kind.value} {plain}")
    return names


def _in_file_order(circuit: Circuit, energised: tuple[str, ...]) -> State:
    return state_of(circuit, tuple(relay for relay in circuit.relays if relay in energised))


def _row(design: Design, circuit: Circuit, name: str, state: State, hold: Span) -> Row:
    return Row(
        name,
        state,
        hold,
        hold,
        reading_ratio(design, circuit, state),
        full_load_ratio(design, circuit, state),
    )


def _middle(row: Row) -> Fraction:
    hold = row.input_hold or row.hold
    return hold.low + hold.high


def _with_backup(design: Design, rows: Sequence[Row]) -> tuple[Row, ...]:
    """The rows with the outermost ends at the backup's leave_v, where there is one."""
    if design.backup is None or not rows:
        return tuple(rows)
    low, high = design.backup.leave_v
    ends = list(rows)
    first = ends[0]
    ends[0] = replace(first, kept=Span(min(low, first.kept.high), first.kept.high))
    last = ends[-1]
    ends[-1] = replace(last, kept=Span(last.kept.low, max(high, last.kept.low)))
    return tuple(ends)


def _completed(design: Design, circuit: Circuit, bands: Sequence[tuple[Band, State]]) -> list[Span]:
    """The hold of every band, those the file leaves out placed between the neighbours."""
    if not bands:
        return []
    serving = [served(design, circuit, state) or _unserving(design, state) for _, state in bands]
    between = [
        _boundary(design, (serving[place], serving[place + 1]), (bands[place][0], bands[place + 1][0]))
        for place in range(len(bands) - 1)
    ]
    lower = [_outer_low(design, serving[0]), *(ends.lower_end for ends in between)]
    upper = [*(ends.upper_end for ends in between), _outer_high(design, serving[-1])]
    return [
        Span(*band.hold_v) if band.hold_v else Span(min(low, high), max(low, high))
        for (band, _), low, high in zip(bands, lower, upper, strict=True)
    ]


def _boundary(design: Design, serving: tuple[Served, Served], bands: tuple[Band, Band]) -> Handover:
    """The thresholds between two neighbours; an end that the file gives stays, the other is fitted to it."""
    below, above = bands
    if below.hold_v is not None:
        return Handover(below.hold_v[1], lower_end_to(design, *serving, below.hold_v[1]))
    if above.hold_v is not None:
        return Handover(upper_end_to(design, *serving, above.hold_v[0]), above.hold_v[0])
    return handover(design, *serving)


def _unserving(design: Design, state: State) -> Served:
    """A stand-in for a band whose state serves nothing: it is placed at nominal and `check` condemns it."""
    nominal = design.mains.nominal_v
    return Served(state, Fraction(1), Fraction(1), None, None, nominal, nominal)


def _outer_low(design: Design, first: Served) -> Fraction:
    """The lower end of the lowest band: low enough that no reading of a promised input falls below it."""
    reading = first.sensed or Fraction(1)
    low = (1 - design.sensing.error) * design.mains.span.low * reading
    low = rounded_down(low, steps_for(reading)[0])
    return low if design.backup is None else max(low, design.backup.leave_v[0])


def _outer_high(design: Design, last: Served) -> Fraction:
    """The upper end of the highest band: high enough that no reading of a promised input lies above it."""
    reading = last.sensed or Fraction(1)
    high = (1 + design.sensing.error) * design.mains.span.high * reading
    high = rounded_up(high, steps_for(reading)[0])
    return high if design.backup is None else min(high, design.backup.leave_v[1])
