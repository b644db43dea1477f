"""The truth table and its coverage gaps: what `table` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import SharedCell, coils, ends, more, path, ratio, volts, word, yes
from tapplan.answers.origin import origin_told
from tapplan.checks.coverage import gaps as coverage_gaps
from tapplan.checks.coverage import inputs_of
from tapplan.checks.finding import Finding
from tapplan.checks.review import Review
from tapplan.control.table import ControlTable
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.states import way_of

RISING = SharedCell("rising:\nin > out", " > ")
FALLING = SharedCell("falling:\nin > out", " > ")
RISING_LINE = SharedCell("line, rising:\nin > out", " > ")
FALLING_LINE = SharedCell("line, falling:\nin > out", " > ")
OUTPUT = SharedCell("output,\nat worst", "\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class BandRow:
    """A band, in order of rising input.

    The four thresholds are volts of the line, without error; an entry without a neighbour is None. `hold_v` is as in
    the file, in volts where the controller reads, which `read_at` names: "input", "output", or two points;
    `reading_per_line` is without load, None where the state does not fix it. `output_v` is over the hold within the
    mains range; `worst_output_v` with error and noise of the reading and the drop at full load.
    """

    band: Annotated[str, word("band", key="name")]
    energised: Annotated[tuple[str, ...], coils()]
    kind: Annotated[str, word()]
    ratio: Annotated[Fraction | None, ratio(stacked=True)]
    hold_v: Annotated[Span | None, ends("hold, read at the input", as_stated=True, digits=3, on_screen=False)]
    read_at: Annotated[str, word()]
    reading_per_line: Annotated[Fraction | None, ratio("")]
    enter_rising_v: Annotated[Fraction | None, volts("line, rising: in", as_stated=True, pair=RISING)]
    leave_rising_v: Annotated[Fraction | None, volts("line, rising: out", as_stated=True, pair=RISING)]
    enter_falling_v: Annotated[Fraction | None, volts("line, falling: in", as_stated=True, pair=FALLING)]
    leave_falling_v: Annotated[Fraction | None, volts("line, falling: out", as_stated=True, pair=FALLING)]
    output_v: Annotated[Span | None, ends("output", pair=OUTPUT)]
    worst_output_v: Annotated[Span | None, ends("output at worst", pair=OUTPUT)]
    path: Annotated[tuple[str, ...] | None, path(on_screen=False)]

    @property
    def input_hold(self) -> Span | None:
        """The inputs that keep the band, read without error and load."""
        low, high = self.leave_falling_v, self.leave_rising_v
        return None if low is None or high is None else Span(low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class BandReadElsewhere(BandRow):
    """A band of a controller that does not read the line: its thresholds are worked out, and marked as the line's."""

    hold_v: Annotated[
        Span | None, ends("hold, as read", as_stated=True, digits=3, headed_by="hold_heading", on_screen=False)
    ]
    enter_rising_v: Annotated[Fraction | None, volts("line, rising: in", pair=RISING_LINE)]
    leave_rising_v: Annotated[Fraction | None, volts("line, rising: out", pair=RISING_LINE)]
    enter_falling_v: Annotated[Fraction | None, volts("line, falling: in", pair=FALLING_LINE)]
    leave_falling_v: Annotated[Fraction | None, volts("line, falling: out", pair=FALLING_LINE)]

    @property
    def hold_heading(self) -> str:
        """Whose volts the hold is in."""
        return "hold, read at the output" if self.read_at == "output" else f"hold, read at {self.read_at}"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldAsRead:
    """What keeps a band, in the volts that the controller reads, and those over volts of the line. For people."""

    band: Annotated[str, word("band")]
    hold_v: Annotated[Span | None, ends("hold, as read", as_stated=True, digits=3, headed_by="hold_heading")]
    reading_per_line: Annotated[Fraction | None, ratio("reading / line, no load")]
    hold_heading: str


INPUT = "input"  # where a reading is the line itself


def read_at(design: Design) -> str:
    """Where the controller reads: "input", "output", or two points."""
    at = design.sensing.at
    return at if isinstance(at, str) else "-".join(at)


@dataclass(frozen=True, slots=True)
class GapRow:
    """Inputs, in true volts, that no band holds whatever is read, or that no state serves."""

    code: Annotated[str, word("gap")]
    from_v: Annotated[Fraction, volts("from")]
    to_v: Annotated[Fraction, volts("to")]
    where: Annotated[str, word("where")]
    message: Annotated[str, word("what")]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What of the mains range is not covered."""

    mains: Span
    gaps: tuple[GapRow, ...]

    @property
    def told(self) -> str:
        """In a sentence, or a line a gap."""
        if not self.gaps:
            low, high = words.number(self.mains.low, 1), words.number(self.mains.high, 1)
            return f"Coverage: no gap from {low} to {high} V, whatever the reading's error."
        lines = [f"Coverage: {len(self.gaps)} {'gap' if len(self.gaps) == 1 else 'gaps'}"]
        return "\n".join([*lines, *(f"  {one.code} ({one.where}): {one.message}" for one in self.gaps)])


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthTable(Answer):
    """The bands, what they leave uncovered, and whether tapplan chose bands or placed thresholds."""

    heading = "Truth table"

    title: str
    design: Design
    mains: Span
    relays: tuple[str, ...]
    bands: Annotated[tuple[BandRow, ...], more()]
    gaps: Annotated[tuple[GapRow, ...], more()]
    derived: Annotated[bool, yes()]
    placed: Annotated[bool, yes()]
    origin_told: str

    @property
    def wrong(self) -> bool:
        """Whether there is a gap."""
        return bool(self.gaps)

    @property
    def coverage(self) -> Coverage:
        """The gaps beside the range that should be covered."""
        return Coverage(self.mains, self.gaps)

    @property
    def band_kind(self) -> type[BandRow]:
        """The kind of its rows, whether it has any or not."""
        return _kind_read_at(read_at(self.design))

    @property
    def as_read(self) -> tuple[HoldAsRead, ...]:
        """The holds where the controller does not read the line; none where it does."""
        return tuple(
            HoldAsRead(
                band=one.band,
                hold_v=one.hold_v,
                reading_per_line=one.reading_per_line,
                hold_heading=one.hold_heading,
            )
            for one in self.bands
            if isinstance(one, BandReadElsewhere)
        )

    @property
    def gap_spans(self) -> list[Span]:
        """The inputs of the gaps."""
        return [Span(one.from_v, one.to_v) for one in self.gaps]


def truth_table(review: Review) -> TruthTable:
    """The table of a design with its coverage gaps."""
    return truth_table_of(review.table, gap_rows(review))


def truth_table_of(table: ControlTable, gaps: tuple[GapRow, ...]) -> TruthTable:
    """The same of a table whose gaps are known."""
    return TruthTable(
        title=table.design.title,
        design=table.stated,
        mains=table.design.mains.span,
        relays=tuple(table.circuit.relays),
        bands=tuple(_band(table, place) for place in range(len(table.rows))),
        gaps=gaps,
        derived=table.derived,
        placed=table.placed,
        origin_told=origin_told(table),
    )


def _band(table: ControlTable, place: int) -> BandRow:
    row = table.rows[place]
    rising, falling = table.entries(place)
    found = way_of(table.circuit, row.state)
    place_read = read_at(table.design)
    return _kind_read_at(place_read)(
        band=row.name,
        energised=row.energised,
        kind=row.state.kind.value,
        ratio=row.ratio,
        hold_v=row.hold,
        read_at=place_read,
        reading_per_line=row.sensed,
        enter_rising_v=rising,
        leave_rising_v=None if row.input_hold is None else row.input_hold.high,
        enter_falling_v=falling,
        leave_falling_v=None if row.input_hold is None else row.input_hold.low,
        output_v=table.output_nominal(row),
        worst_output_v=table.output_worst(row),
        path=None if found is None else found.steps,
    )


def _kind_read_at(place: str) -> type[BandRow]:
    return BandRow if place == INPUT else BandReadElsewhere


def gap_rows(review: Review) -> tuple[GapRow, ...]:
    """The gaps of a design, told as `check` tells them."""
    found = coverage_gaps(review)
    if not found:
        return ()
    from tapplan.checks.advice import advised  # all rules, only where there is something to mend

    return tuple(_gap(advised(review, one), inputs_of(one)) for one in found)


def _gap(one: Finding, inputs: Span) -> GapRow:
    return GapRow(one.code, inputs.low, inputs.high, one.where, one.told)
