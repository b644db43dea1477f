"""The bands derived from the states, with the room between neighbours: what `bands` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, ends, more, ratio, volts, word, yes
from tapplan.answers.table import Coverage, GapRow, gap_rows
from tapplan.checks import rules
from tapplan.checks.coverage import feasible
from tapplan.checks.coverage import gaps as coverage_gaps
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review, review_of
from tapplan.control.table import derived_table, stated_table
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.rating.built import built_table


@dataclass(frozen=True, slots=True)
class DerivedBand:
    """A band ready to be written into a file, and the room to its neighbour above, in input volts."""

    band: Annotated[str, word("band", key="name")]
    energised: Annotated[tuple[str, ...], coils()]
    kind: Annotated[str, word()]
    ratio: Annotated[Fraction | None, ratio()]
    hold_v: Annotated[Span, ends("hold (readings, V)", unit="", digits=3)]
    room_above_v: Annotated[Fraction | None, volts("room to the next", digits=2)]


@dataclass(frozen=True, slots=True)
class ShortRoom:
    """Two neighbours with less room than hysteresis and noise ask for, both in input volts."""

    below: Annotated[str, word("below")]
    above: Annotated[str, word("above")]
    room_v: Annotated[Fraction, volts("room", digits=2)]
    wanted_v: Annotated[Fraction, volts("wanted", digits=2)]

    @property
    def told(self) -> str:
        """In a sentence."""
        more = "more than " if self.room_v >= self.wanted_v else ""
        return (
            f'"{self.below}" and "{self.above}" have {words.number(self.room_v, 2)} V of room;'
            f" {more}{words.number(self.wanted_v, 2)} V is wanted for hysteresis and noise"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands(Answer):
    """The bands by rising input. `feasible`: they cover the range with the room that hysteresis and noise ask for."""

    heading = "Derived bands"

    title: str
    bands: Annotated[tuple[DerivedBand, ...], more()]
    feasible: Annotated[bool, yes()]
    room_v: Annotated[Fraction | None, volts()]
    gaps: Annotated[tuple[GapRow, ...], more()]
    shortfalls: Annotated[tuple[ShortRoom, ...], more()]
    written: Annotated[str | None, word(optional=True)] = None
    mains: Span
    fault_codes: tuple[str, ...]

    @property
    def shortfalls_told(self) -> str:
        """Which neighbours are left too little room, a line each; nothing where none are."""
        if not self.shortfalls:
            return ""
        heading = "No choice of states leaves all neighbours the hysteresis and noise margin asked for:"
        return "\n".join([heading, *(f"  {one.told}" for one in self.shortfalls)])

    @property
    def wrong(self) -> bool:
        """Whether the design has a fault with these bands."""
        return bool(self.fault_codes)

    @property
    def table_faults(self) -> tuple[str, ...]:
        """The codes of those faults that thresholds can bring about."""
        return tuple(code for code in self.fault_codes if code in rules.PROMISES)

    @property
    def coverage(self) -> Coverage:
        """The gaps beside the range that should be covered."""
        return Coverage(self.mains, self.gaps)


def derived(design: Design) -> Review:
    """A design with the bands that tapplan would choose, or with its own where only thresholds are missing.

    Raises:
        TableError: the bands contradict themselves.
    """
    incomplete = bool(design.bands) and any(band.hold_v is None for band in design.bands)
    return review_of(built_table(design, stated_table if incomplete else derived_table))


def bands_of(review: Review) -> Bands:
    """The bands of a review, as they would be written."""
    table, gaps = review.table, coverage_gaps(review)
    rooms = table.rooms
    known = [room for room in rooms if room is not None]
    return Bands(
        title=table.design.title,
        bands=tuple(
            DerivedBand(
                row.name,
                row.energised,
                row.state.kind.value,
                row.ratio,
                row.hold,
                rooms[place] if place < len(rooms) else None,
            )
            for place, row in enumerate(table.rows)
        ),
        feasible=feasible(table, gaps),
        room_v=min(known, default=None),
        gaps=gap_rows(review),
        shortfalls=tuple(
            ShortRoom(one.below.name, one.above.name, one.room, one.wanted) for one in table.shortfalls()
        ),
        mains=table.design.mains.span,
        fault_codes=tuple(
            dict.fromkeys(one.code for one in rules.findings_in(review) if one.severity is Severity.FAULT)
        ),
    )
