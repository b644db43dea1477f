"""From readings to the faults that explain them, and the next measurement: what `isolate` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, names, number, yes
from tapplan.answers.isolaterows import (
    DoubtRow,
    GroupRow,
    NextRow,
    OutcomeRow,
    ReadingRow,
    WaitingRow,
    candidates,
    defects_told,
    listed,
)
from tapplan.answers.words import CAUTION
from tapplan.bench.choosing import Waiting
from tapplan.bench.defects import HEALTHY, MENDS
from tapplan.bench.isolation import AlikeFaults, Diagnosis, Isolation, Next, Reading
from tapplan.bench.measures import EFFORT
from tapplan.bench.values import Prediction
from tapplan.bench.words import (
    asked,
    condition_told,
    hypothesis_told,
    measure_told,
    readings_told,
    value_told,
)

MOST_SHOWN = 12
LEAST_SHOWN = 0.0005  # a group less likely than this is only counted on a screen
FEW = 3  # with more left than this every reading still matters, so that no single one is doubted aloud


@dataclass(frozen=True, slots=True, kw_only=True)
class Isolated(Answer):
    """What the readings leave, their conflict or doubts, and the next measurement.

    `firm`: the first group is the verdict, and would be without any single reading. `conflict` holds the numbers of
    readings that contradict each other; `barred` counts what keeps the line off, `waiting` says what waits for it;
    `unpaired` counts the faults that were met too seldom to be thought of in pairs; `cells_empty` the lines of a
    sheet without a reading.
    """

    heading = "Fault isolation"
    caution = CAUTION

    title: str
    readings: Annotated[tuple[ReadingRow, ...], more()]
    groups: Annotated[tuple[GroupRow, ...], more()]
    conflict: Annotated[tuple[int, ...], names()]
    doubts: Annotated[tuple[DoubtRow, ...], more()]
    next: Annotated[NextRow | None, more()]
    firm: Annotated[bool, yes()]
    waiting: Annotated[WaitingRow | None, more()]
    barred: Annotated[int, number()]
    unpaired: Annotated[int, number()]
    cells_empty: Annotated[int | None, number(optional=True)] = None
    healthy: bool

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """What is still possible first."""
        return ("groups", "readings", "doubts", "next")

    @property
    def wrong(self) -> bool:
        """Whether a healthy stage does not explain the readings."""
        return not self.healthy

    @property
    def empty_told(self) -> str:
        """How many lines of a sheet have no reading; nothing where none are left."""
        if not self.cells_empty:
            return ""
        return f"Of the sheet {self.cells_empty} line{'s have' if self.cells_empty > 1 else ' has'} no reading."

    @property
    def shown(self) -> tuple[GroupRow, ...]:
        """The groups worth a line on a screen."""
        return tuple(one for one in self.groups if one.share >= LEAST_SHOWN)[:MOST_SHOWN]

    @property
    def conflict_told(self) -> str:
        """That the readings contradict each other, and what to do; nothing where they do not."""
        if not self.conflict:
            return ""
        listed = ", ".join(map(str, self.conflict))
        told = (
            f"No fault on the list explains reading {listed}"
            if len(self.conflict) == 1
            else f"The readings contradict each other: no fault on the list explains {listed} together"
        )
        return (
            f"{told}. One of them was misread, or more than one thing is wrong (--pairs), or the stage is not wired "
            "as the design says."
        )

    @property
    def verdict_told(self) -> str:
        """The verdict, or that there is none yet; nothing before the first reading."""
        if not self.readings:
            return ""
        if not self.firm:
            return "No verdict yet."
        first = self.groups[0]
        what = first.what.replace("no fault", "no fault that these measurements can show", 1)
        return f"Verdict, {first.share:.1%} likely: {what}."

    @property
    def groups_told(self) -> list[str]:
        """What the table of groups leaves out, and what a row of several means."""
        hidden = len(self.groups) - len(self.shown)
        lines = [f"and {hidden} more, less likely than these (all with --json)"] if hidden else []
        if self.unpaired:
            lines.append(f"The {self.unpaired} faults met least often were not thought of in pairs.")
        if any(len(one.candidates) > 1 for one in self.shown):
            lines.append(
                "What stands in one row is mended at one place, or looks the same from outside: open the part."
            )
        return lines

    @property
    def doubts_told(self) -> list[str]:
        """What would fit as well if one reading were wrong; nothing as long as much is possible."""
        if sum(len(one.candidates) for one in self.groups) > FEW:
            return []
        return [
            f"If reading {one.reading} were wrong, there would also fit: {listed(one.candidates)}."
            for one in self.doubts
        ]

    @property
    def end_told(self) -> str:
        """Why there is nothing to measure next."""
        if self.firm:
            return "Nothing more to measure: no single reading carries this verdict alone."
        if self.waiting is not None:
            return f"{self.waiting.told} No test is left that would rule it out: open the part."
        return "No measurement on the list tells these apart."

    @property
    def likely_told(self) -> str:
        """The most likely so far, in a line."""
        likely = [f"{defects_told(one.candidates[0])} ({one.share:.0%})" for one in self.groups[:3]]
        count = sum(one.share >= LEAST_SHOWN for one in self.groups)
        return f"{count} possible; most likely: {', '.join(likely)}"


def isolated(isolation: Isolation, title: str) -> Isolated:
    """What the readings of an isolation say."""
    found = isolation.diagnosis()
    return Isolated(
        title=title,
        readings=tuple(_reading(one, place, found.conflict) for place, one in enumerate(isolation.readings)),
        groups=tuple(_group(one) for one in found.groups),
        conflict=tuple(place + 1 for place in found.conflict),
        doubts=tuple(DoubtRow(reading=one.place + 1, candidates=candidates(one.hypotheses)) for one in found.doubts),
        next=None if found.next is None else _next(found.next),
        firm=found.firm,
        waiting=None if found.waiting is None else _waiting(isolation, found.waiting),
        barred=0 if found.waiting is None else len(found.waiting.bars.hypotheses),
        unpaired=len(isolation.singles) - len(isolation.paired) if isolation.setup.two else 0,
        healthy=healthy(isolation, found),
    )


def _waiting(isolation: Isolation, one: Waiting) -> WaitingRow:
    return WaitingRow(
        condition=condition_told(one.measure.condition),
        measure=measure_told(one.measure),
        because=candidates([isolation.hypotheses[number] for number in one.bars.hypotheses]),
    )


def with_empty(found: Isolated, cells: int | None) -> Isolated:
    """The same, with how many lines of a sheet had no reading."""
    return replace(found, cells_empty=cells)


def healthy(isolation: Isolation, found: Diagnosis) -> bool:
    """Whether a healthy stage explains every reading, or is the verdict all the same."""
    return bool(isolation.alive[0]) or (found.firm and HEALTHY in found.groups[0].members)


def _reading(one: Reading, place: int, conflict: Sequence[int]) -> ReadingRow:
    return ReadingRow(
        number=f"{place + 1}",
        condition=condition_told(one.measure.condition),
        measure=measure_told(one.measure),
        asked=asked(one.measure),
        value=one.value,
        shown="unknown" if one.value is None else value_told(one.measure, one.value),
        unit=one.measure.unit,
        told=one.told,
        in_conflict=None if not conflict else "yes" if place in conflict else "",
    )


def _group(one: AlikeFaults) -> GroupRow:
    mend = tuple(dict.fromkeys(MENDS[defect.fault] for each in one.members for defect in each if not defect.light))
    return GroupRow(
        share=one.share,
        candidates=candidates(one.members),
        mend=mend,
        likely=f"{one.share:.1%}",
        what="; ".join(dict.fromkeys(hypothesis_told(each) for each in one.members)),
        to_do="; ".join(mend) or "nothing to mend that these measurements show",
    )


def spans(prediction: Prediction) -> tuple[tuple[float, float], ...]:
    """The ends of spans as plain numbers."""
    return tuple((float(one.low), float(one.high)) for one in prediction)


def _next(one: Next) -> NextRow:
    measure = one.entry.measure
    return NextRow(
        condition=condition_told(measure.condition),
        measure=measure_told(measure),
        asked=asked(measure),
        unit=measure.unit,
        bits=one.bits,
        effort=measure.effort,
        most_v=one.volts,
        outcomes=tuple(
            OutcomeRow(
                readings=readings_told(measure, leaving.readings),
                spans=spans(leaving.readings),
                share=leaving.share,
                fits=candidates(leaving.hypotheses),
                left=listed(candidates(sorted(leaving.hypotheses, key=lambda each: each != HEALTHY))),
            )
            for leaving in one.leaves
        ),
        unbars=candidates(one.unbars),
        again=one.again,
        worth=_worth(one),
    )


def _worth(one: Next) -> str:
    most = max(EFFORT.values())
    told = (
        f"It tells {one.bits:.2f} bits (1 halves what is left) at an effort of {one.entry.measure.effort} of {most}."
    )
    if one.unbars:
        told = f"It is asked because the line stays off while this is possible: {listed(candidates(one.unbars))}."
    elif one.again:
        told = "It is asked again, for too much hangs on one reading."
    if one.volts is None:
        return told
    where = "somewhere on the winding" if one.entry.measure.condition.power == "low" else "at the line"
    return f"{told} Up to {float(one.volts):.0f} V can stand {where}: treat every terminal as live."
