"""What logs weigh in a request, and what they make of its plans: rows that go with those of `fit`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.columns import measured, number, said, word, yes
from tapplan.answers.logfigures import seconds_told
from tapplan.replay.clock import SECOND
from tapplan.study.logged import MainsWeights
from tapplan.study.recording import MOST_SAMPLES, Recording

REST_TOLD = f"the rest was not read, for {MOST_SAMPLES:,} are held in memory at the most, and fewer when told to stop"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLogRow:
    """What the logs make of a plan, as its own row has it."""

    number: Annotated[str, said("plan")]
    changes: Annotated[int, number("changes", digits=0)]
    moves: Annotated[int, number("moves", digits=0)]
    outside_s: Annotated[Fraction, number("outside", "s", digits=2)]
    deviation_v: Annotated[float | None, measured("mean deviation", "V")]
    years: Annotated[float | None, measured("years", digits=1, optional=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedLog:
    """The logs whose distribution weighs the deviation; `outside_range_s` of their time counts for nothing."""

    log: Annotated[str, word()]
    made: Annotated[str | None, word(optional=True)] = None
    samples: Annotated[int, number()]
    cut: Annotated[bool, yes()]
    observed_s: Annotated[Fraction, number()]
    outside_range_s: Annotated[Fraction, number()]

    @property
    def told(self) -> str:
        """In sentences."""
        made = f"{words.made_up(self.made)} " if self.made else ""
        rest = "all of it in the mains range"
        if self.outside_range_s:
            rest = f"{seconds_told(self.outside_range_s)} of it outside the mains range, which counts for nothing"
        cut = f" Only so much of the log was used; {REST_TOLD}." if self.cut else ""
        return f"{made}Weighed by {self.log}: {self.samples:,} samples, {seconds_told(self.observed_s)}; {rest}.{cut}"


def weighed(sites: Sequence[Recording], found: MainsWeights) -> WeighedLog:
    """The logs that weigh a request."""
    return WeighedLog(
        log=sites[0].name if len(sites) == 1 else f"{len(sites)} logs",
        made=next((one.made for one in sites if one.made), None),
        samples=sum(one.samples for one in sites),
        cut=any(one.cut for one in sites),
        observed_s=Fraction(found.observed, SECOND),
        outside_range_s=Fraction(found.outside, SECOND),
    )
