"""Thresholds refined on logs: chosen on a part of each, proven like any others, kept only where the rest agrees."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction
from functools import cached_property

from tapplan.checks.review import review_of
from tapplan.control.table import ControlTable
from tapplan.control.thresholds import Handover
from tapplan.errors import UsageError
from tapplan.replay.machine import machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.zone import Zone
from tapplan.study.descent import NEAR, Descended, Descent, Searching
from tapplan.study.handovers import HandoverEnds, Thresholds
from tapplan.study.recording import Recording, of_these_mains, parted
from tapplan.study.scoring import Scorer, TraceScore
from tapplan.study.soundness import Keeping, Soundness, keeping, written_table


class Refining(Enum):
    """What came of refining thresholds."""

    KEPT = "kept"
    NOT_FEWER = "not fewer when held out"
    LONGER_OUTSIDE = "longer outside when held out"
    NONE_BETTER = "none better"
    TOO_SHORT = "too short to hold out"
    NO_ROOM = "no room"


@dataclass(frozen=True)
class LogPart:
    """A part of all logs, and what the thresholds before and those found make of it: two tallies in each run."""

    held_out: bool
    sites: tuple[Recording, ...]
    runs: tuple[LogRun, ...]


@dataclass(frozen=True)
class Refinement:
    """Thresholds before and those found, on the handovers with room; `table` has those to be used.

    `outcome` says whether they are those found; `proven` and `every_pair` as in `Descended`; `partial`: stopped
    before the search was over. `margin_before` and `margin` are the least margins of any promise, in volts.
    """

    before: Thresholds
    found: tuple[Handover, ...]
    table: ControlTable
    outcome: Refining
    parts: tuple[LogPart, ...]
    proven: bool
    every_pair: bool
    partial: bool
    margin_before: Fraction | None
    margin: Fraction | None
    zone: Zone

    @property
    def kept(self) -> bool:
        """Whether the thresholds found are to be used."""
        return self.outcome is Refining.KEPT

    @property
    def near_steps(self) -> int:
        """How many steps of the grid either way the neighbourhood reaches."""
        return NEAR


@dataclass(frozen=True, slots=True)
class RefiningHow:
    """How to refine: where the log was taken, when to stop, whom to tell how many thresholds have been followed."""

    zone: Zone = field(default_factory=Zone)
    stop: Callable[[], bool] = lambda: False
    tell: Callable[[int], None] = lambda followed: None


def refined(table: ControlTable, sites: Sequence[Recording], how: RefiningHow | None = None) -> Refinement:
    """The thresholds of a table refined on logs of its mains; of several logs, all count together.

    Raises:
        LogError: no reading of a log lies in the mains range.
        UsageError: the bands cannot be stated as they are, or follow one another without end on a log.
    """
    how = how or RefiningHow()
    for one in sites:
        of_these_mains(one, table.design.mains.span)
    before = keeping(review_of(table))
    thresholds = Thresholds(_stated(table, before))
    each = [parted(one, how.zone) for one in sites]
    parts = [
        _Part(thresholds, False, tuple(one.chosen for one in each)),
        _Part(thresholds, True, tuple(one.held_out for one in each if one.held_out is not None)),
    ]
    proof = Soundness(thresholds, before)
    found = _descended(thresholds, parts[0].scorer, proof, how)
    outcome = _outcome(thresholds, found.ends, parts)
    used = thresholds.moved(found.ends) if outcome is Refining.KEPT else thresholds.table
    tables = (thresholds.table, thresholds.moved(found.ends))
    shown = proof.keeping(found.ends)
    return Refinement(
        thresholds,
        found.ends,
        used,
        outcome,
        tuple(part.told(tables, how.zone) for part in parts if part.sites),
        found.proven,
        found.every_pair,
        found.stopped,
        before.margin,
        None if shown is None else shown.margin,
        how.zone,
    )


def _stated(table: ControlTable, before: Keeping) -> ControlTable:
    """The table with every hold stated, as it would be read from a file."""
    found = written_table(table)
    if found is None or not keeping(review_of(found)).no_worse(before):
        raise UsageError(
            "found bands that come to other ones once their holds are stated; accepted: bands with hold_v"
        )
    return found


@dataclass(frozen=True)
class _Part:
    """A part of all logs; its scorer is made when it is first asked for."""

    thresholds: Thresholds
    held_out: bool
    sites: tuple[Recording, ...]

    @cached_property
    def scorer(self) -> Scorer:
        return Scorer(self.thresholds, self.sites)

    def score(self, ends: HandoverEnds) -> TraceScore:
        found = self.scorer.score(ends)
        if found is None:
            raise UsageError(
                f"{self.sites[0].name}: found bands that follow one another without end; see tapplan check"
            )
        return found

    def told(self, tables: Sequence[ControlTable], zone: Zone) -> LogPart:
        """Every log of the part through the tables."""
        machines = [machine(one, zone) for one in tables]
        return LogPart(
            self.held_out, self.sites, tuple(replayed(one, machines, Running(max_gap=one.gap)) for one in self.sites)
        )


def _descended(thresholds: Thresholds, scorer: Scorer, proof: Soundness, how: RefiningHow) -> Descended:
    """The best thresholds that keep every promise.

    Most promises stand in the rooms; so the search goes first without a review, then in rooms that are narrower where
    a review says so, and last with a review for each step.
    """
    free, held = Searching(how.stop, how.tell), Searching(how.stop, how.tell, proof.sound)
    found = Descent(scorer, thresholds.rooms, free).run()
    if proof.sound(found.ends):
        return found
    rooms = proof.trimmed()
    found = Descent(scorer, rooms, free).run()
    return found if proof.sound(found.ends) else Descent(scorer, rooms, held).run()


def _outcome(thresholds: Thresholds, found: HandoverEnds, parts: Sequence[_Part]) -> Refining:
    """Whether what was found is used: only where the part held out has fewer changes too, and no more outside."""
    chosen, held_out = parts
    if not thresholds.rooms:
        return Refining.NO_ROOM
    if chosen.score(found).changes >= chosen.score(thresholds.now).changes:
        return Refining.NONE_BETTER
    if not held_out.sites:
        return Refining.TOO_SHORT
    before, after = held_out.score(thresholds.now), held_out.score(found)
    if after.changes >= before.changes:
        return Refining.NOT_FEWER
    longer = after.outside > before.outside + held_out.scorer.grain_us
    return Refining.LONGER_OUTSIDE if longer else Refining.KEPT
