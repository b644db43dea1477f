"""The one place that puts a finding into words: for each code the types of its witness, and each type's sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from tapplan.checks.sentences import carried, counted, coverage, file, moving, states, table
from tapplan.checks.sentences.words import volts
from tapplan.checks.witnesses import carried as load
from tapplan.checks.witnesses import counted as counts
from tapplan.checks.witnesses import coverage as inputs
from tapplan.checks.witnesses import file as stated
from tapplan.checks.witnesses import moving as motion
from tapplan.checks.witnesses import states as wired
from tapplan.checks.witnesses import table as rows
from tapplan.checks.witnesses.every import Witness

Shown = TypeVar("Shown")


@dataclass(frozen=True, slots=True)
class Telling(Generic[Shown]):
    """A type of witness, and the sentence that tells it."""

    witness: type[Shown]
    words: Callable[[Shown], str]


Tellings = tuple[Telling[Any], ...]
_UNUSABLE: Tellings = (Telling(wired.UsedState, states.used), Telling(wired.IdleStates, states.not_used))
_FED: Tellings = (*_UNUSABLE, Telling(wired.FedState, states.while_fed))


def _in_counts(one: counts.BrokenInCounts) -> str:
    told = sentence(one.broken, one.case)
    return f"with thresholds in whole counts of {volts(one.step_v)}: {one.broken}: {told}"


_PAST_LIMIT = Telling(stated.PastLimit, file.past_limit)
_RATIO = Telling(motion.RatioPassed, moving.ratio_passed)

SENTENCES: dict[str, Tellings] = {
    "shorted-state": _UNUSABLE,
    "floating-state": _FED,
    "unfed-state": _UNUSABLE,
    "dead-state": _FED,
    "reversed-state": _UNUSABLE,
    "undetermined-state": _FED,
    "uncovered-range": (Telling(inputs.Unserved, coverage.unserved),),
    "dead-zone": (Telling(inputs.DeadZone, coverage.dead_zone),),
    "out-of-window": (Telling(rows.HeldOutside, table.held_outside),),
    "wrong-way": (Telling(rows.Rising, table.rising),),
    "blind-reading": (Telling(rows.BlindBand, table.blind_band), Telling(rows.BlindAway, table.blind_away)),
    "stranded": (Telling(inputs.NoReturn, coverage.no_return),),
    "chatter": (Telling(rows.Overlap, table.chattering), Telling(rows.NoisyRound, table.noisy_round)),
    "ripple-in-reading": (Telling(rows.Wandering, table.wandering),),
    "thin-hysteresis": (Telling(rows.Overlap, table.thin),),
    "hunting": (Telling(motion.EndlessRound, moving.hunting),),
    "backup-cycling": (Telling(motion.BackupRound, moving.cycling),),
    "lost-in-counts": (Telling(counts.BrokenInCounts, _in_counts),),
    "error-budget": (Telling(counts.ReadingBudget, counted.reading_budget),),
    "converter-range": (Telling(counts.FullConverter, counted.full_converter),),
    "few-counts": (Telling(counts.CountsLeft, counted.counts_left),),
    "backfeed": (Telling(load.Backfed, carried.backfed),),
    "load-collapse": (Telling(load.Collapsed, carried.collapsed),),
    "feed-out-of-window": (Telling(load.FedOutput, carried.fed_output),),
    "charger-reach": (Telling(load.ChargerReach, carried.charger_reach),),
    "over-load": (Telling(load.LoadPermitted, carried.load_permitted),),
    "over-flux": (Telling(load.SteadyFlux, carried.steady_flux), Telling(load.SuddenFlux, carried.sudden_flux)),
    "over-current": (Telling(load.WireCurrent, carried.wire_current),),
    "contact-overload": (
        Telling(load.ContactCurrent, carried.contact_current),
        Telling(load.ContactGap, carried.contact_gap),
    ),
    "make-overload": (Telling(load.ContactMaking, carried.contact_making),),
    "window-full": (
        Telling(load.WindowFill, carried.window_fill),
        Telling(load.BuildUp, carried.build_up),
        Telling(load.TurnTooWide, carried.turn_too_wide),
    ),
    "hot": (Telling(load.Hotness, carried.hot),),
    "coil-starved": (Telling(load.CoilVolts, carried.coil_volts),),
    "fuse-overload": (
        Telling(load.FuseCurrent, carried.fuse_current),
        Telling(load.FuseInrush, carried.fuse_inrush),
    ),
    "fuse-blind": (Telling(load.FuseSight, carried.fuse_sight),),
    "cutout-trips": (Telling(load.Hotness, carried.cut_out),),
    "unreachable-band": (Telling(wired.NeverEntered, states.never_entered),),
    "unsafe-rest": (
        Telling(wired.ShortedRest, states.shorted_rest),
        Telling(wired.RestOutput, states.rest_output),
        _PAST_LIMIT,
    ),
    "race-short": (Telling(motion.ShortPassed, moving.short_passed),),
    "race-overvoltage": (_RATIO, _PAST_LIMIT),
    "race-dip": (_RATIO, _PAST_LIMIT),
    "dropout-unsafe": (Telling(motion.ShortDropped, moving.short_passed), _RATIO, _PAST_LIMIT),
    "race-unexamined": (Telling(motion.TooMany, moving.too_many), Telling(motion.StepsLeft, moving.steps_left)),
    "move-gap": (Telling(motion.OpenOutput, moving.open_output), _PAST_LIMIT),
    "flight-inrush": (Telling(motion.OpenLine, moving.open_line), _PAST_LIMIT),
    "step-through": (Telling(motion.SteppedThrough, moving.stepped_through),),
    "flight-in-reading": (Telling(motion.FlightRead, moving.flight_read),),
    "inrush-retrip": (Telling(motion.InrushSag, moving.inrush_sag),),
    "slow-recovery": (Telling(motion.SuddenStep, moving.sudden_step),),
    "stuck-short": (Telling(wired.StuckShort, states.stuck_short), _PAST_LIMIT),
    "stuck-overvoltage": (Telling(wired.StuckHigh, states.stuck_high),),
    "loose-end": (Telling(wired.LoosePoint, states.loose),),
    "ambiguous-start": (Telling(wired.EitherStart, states.either_start),),
    "holds-beyond-range": (Telling(rows.HeldBeyond, table.held_beyond),),
    "duplicate-state": (Telling(wired.Duplicates, states.duplicates),),
    "idle-relay": (Telling(wired.Undriven, states.undriven), Telling(wired.OnePoint, states.one_point)),
    "stale-accept": (Telling(stated.NothingMet, file.nothing_met),),
}


def telling(code: str, witness: Witness) -> Telling[Any]:
    """How a witness of this code is told.

    Raises:
        TypeError: the code is not shown by a witness of this type.
    """
    for one in SENTENCES[code]:
        if type(witness) is one.witness:
            return one
    raise TypeError(f"{code} is not shown by {type(witness).__name__}")


def sentence(code: str, witness: Witness) -> str:
    """What a witness shows of this code, in a sentence; raises as `telling` does."""
    return str(telling(code, witness).words(witness))
