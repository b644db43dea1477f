"""What is told of a log that has been replayed, row by row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.columns import ends, measured, more, number, ratio, said, word, yes


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTime:
    """How long a band was in force, and how often it was entered after the first decision."""

    band: Annotated[str, word("band")]
    ratio: Annotated[Fraction | None, ratio()]
    seconds: Annotated[Fraction, number("seconds", on_screen=False)]
    share: Annotated[float, measured()]
    share_told: Annotated[str, said("of the time")]
    lasting: Annotated[str, said("in all")]
    entered: Annotated[int, number("entered", digits=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeCount:
    """How often one band followed another; the least and the most volts of the line then, and the output's step."""

    start: Annotated[str, word("from", key="from")]
    end: Annotated[str, word("to", key="to")]
    count: Annotated[int, number("times", digits=0)]
    line_v: Annotated[tuple[float, float], ends("line", digits=1)]
    step_v: Annotated[tuple[float, float] | None, ends("output steps by", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWear:
    """A relay's coil changes, and the years that its endurance lasts at that rate; None where nothing tells."""

    relay: Annotated[str, word("relay")]
    moves: Annotated[int, number("moves", digits=0)]
    a_day: Annotated[float | None, measured("a day")]
    endurance: Annotated[Fraction | None, number("endurance", digits=0)]
    years: Annotated[float | None, measured("years", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PercentileRow:
    """So many per cent of the time the voltage stood at or below these volts."""

    percent: Annotated[Fraction, number("% of the time", digits=0)]
    line_v: Annotated[float | None, measured("line at most", "V")]
    output_v: Annotated[float | None, measured("output at most", "V")]


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltsTime:
    """How long line and output stood from the first of these volts to just below the second."""

    from_v: Annotated[float, measured("from", "V", digits=0)]
    to_v: Annotated[float, measured("to", "V", digits=0)]
    line_s: Annotated[Fraction, number("line", "s", digits=0)]
    output_s: Annotated[Fraction, number("output", "s", digits=0)]
    line_mean_v: Annotated[float | None, measured()] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRow:
    """One day by the log's clock; `means` are its ten-minute means, `means_kept` those within 10 % at the inlet."""

    date: Annotated[str, word("day")]
    outside_s: Annotated[Fraction, number("outside", "s", digits=0)]
    away_s: Annotated[Fraction, number("away", "s", digits=0)]
    gap_s: Annotated[Fraction, number("gap", "s", digits=0)]
    changes: Annotated[int, number("changes", digits=0)]
    line_v: Annotated[tuple[float, float] | None, ends("line", digits=1)]
    means: Annotated[int, number("10-minute means", digits=0, on_screen=False)]
    means_kept: Annotated[int, number("line within 10 %", digits=0, on_screen=False)]
    means_kept_output: Annotated[int, number("output within 10 %", digits=0, on_screen=False)]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeansTold:
    """The ten-minute means that the log covers whole, and the shares within 10 % of nominal; a mean is a RMS value.

    `weeks` have such a mean; in `weeks_kept` of them 95 % of them lie within 10 % at the inlet.
    """

    count: Annotated[int, number()]
    kept: Annotated[int, number()]
    kept_output: Annotated[int, number()]
    share: Annotated[float | None, measured()]
    share_output: Annotated[float | None, measured()]
    weeks: Annotated[int, number()]
    weeks_kept: Annotated[int, number()]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnseenTold:
    """What the log cannot show, in bounds on the changes of the band."""

    shortest_s: Annotated[Fraction, number()]
    changes_at_least: Annotated[int, number()]
    changes_one_way: Annotated[int, number()]
    changes_ceiling: Annotated[int | None, number()]
    told: Annotated[str, word()]


@dataclass(frozen=True, slots=True, kw_only=True)
class BadTold:
    """A row that is no sample."""

    file: Annotated[str, word("file")]
    row: Annotated[int, number("row", digits=0)]
    fault: Annotated[str, word("why")]
    found: Annotated[str, word("found")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFigures:
    """What one log, or several together, made the controller do. Times are on the log's clock."""

    log: Annotated[str, word()]
    made: Annotated[str | None, word(optional=True)] = None
    partial: Annotated[bool, yes()]
    first: Annotated[str, word()]
    last: Annotated[str, word()]
    samples: Annotated[int, number()]
    bad: Annotated[int, number()]
    bad_by: Annotated[Mapping[str, int], more()]
    bad_rows: Annotated[tuple[BadTold, ...], more()]
    step_s: Annotated[Fraction | None, number()]
    max_gap_s: Annotated[Fraction | None, number()]
    gaps: Annotated[int, number()]
    longest_gap_s: Annotated[Fraction, number()]
    bands: Annotated[tuple[BandTime, ...], more()]
    changes: Annotated[tuple[ChangeCount, ...], more()]
    moves: Annotated[Mapping[str, int], more()]
    life: Annotated[tuple[RelayWear, ...], more()]
    seconds: Annotated[Mapping[str, Fraction], more()]
    observed_s: Annotated[Fraction, number()]
    outside_s: Annotated[Fraction, number()]
    outside_share: Annotated[float | None, measured(places=9)]
    transfers: Annotated[int, number()]
    longest_away_s: Annotated[Fraction, number()]
    deviation_v: Annotated[float | None, measured()]
    line_deviation_v: Annotated[float | None, measured()]
    percentiles: Annotated[tuple[PercentileRow, ...], more()]
    histogram: Annotated[tuple[VoltsTime, ...], more()]
    means: Annotated[MeansTold, more()]
    changes_an_hour: Annotated[float | None, measured()]
    busiest_hour: Annotated[int, number()]
    hours: Annotated[tuple[int, ...], more()]
    worst_day: Annotated[DayRow | None, more()]
    days: Annotated[tuple[DayRow, ...], more()]
    unseen: Annotated[UnseenTold, more()]

    @property
    def changed(self) -> int:
        """Changes of the band."""
        return sum(one.count for one in self.changes)

    @property
    def years(self) -> float | None:
        """The relay that wears out first; None where none is told."""
        return min((one.years for one in self.life if one.years is not None), default=None)
