"""The written list of rules: what `check` looks for, in its order of importance, and what each code means."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

from tapplan.checks import (
    aftermath,
    counted,
    coverage,
    faulted,
    flight,
    held,
    hunting,
    kinds,
    overlaps,
    rated,
    reach,
    recovery,
    sensed,
    wiring,
)
from tapplan.checks.advice import advised
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.sentences.states import UNUSABLE
from tapplan.design.model import Design

Check = Callable[[Review], Iterator[Finding]]


@dataclass(frozen=True, slots=True)
class Rule:
    """A check, the codes it can give, and for each code what it means to a reader."""

    check: Check
    meanings: dict[str, str]


RULES: tuple[Rule, ...] = (
    Rule(
        kinds.unusable_states,
        {
            f"{kind.value}-state": f"{reason}; a fault when a band uses the state, else a note"
            for kind, reason in UNUSABLE.items()
        },
    ),
    Rule(coverage.uncovered_range, {"uncovered-range": "no usable state serves these inputs: mend the turns"}),
    Rule(coverage.dead_zone, {"dead-zone": "some reading of these inputs is held by no band: mend the table"}),
    Rule(held.out_of_window, {"out-of-window": "a band really holds inputs that put the output out"}),
    Rule(held.wrong_way, {"wrong-way": "the ratio rises with the input: rows are swapped or taps crossed"}),
    Rule(
        sensed.blind_reading,
        {"blind-reading": "a band's state, or being away, does not fix what the controller reads"},
    ),
    Rule(
        coverage.stranded,
        {"stranded": "at a promised steady input the load, once away, need never come back from the backup"},
    ),
    Rule(overlaps.chatter, {"chatter": "neighbours overlap by no more than the noise: relays move to and fro"}),
    Rule(
        sensed.ripple_in_reading,
        {"ripple-in-reading": "the averaging window lets the reading of a steady line wander"},
    ),
    Rule(overlaps.thin_hysteresis, {"thin-hysteresis": "the overlap beats the noise but not hysteresis_v"}),
    Rule(
        hunting.own_action,
        {
            "hunting": "at a steady source each move undoes itself",
            "backup-cycling": "at a steady source the load goes to the backup and comes back without end",
        },
    ),
    Rule(
        counted.counts,
        {
            "lost-in-counts": "a promise that holds in volts breaks with thresholds in whole counts",
            "error-budget": "the reading can err by more than error_pct says",
            "converter-range": "a needed reading lies beyond the converter's range",
            "few-counts": "fewer than two counts of hysteresis are left",
        },
    ),
    Rule(
        rated.over_rated,
        {
            "backfeed": "a feed runs while the inlet is joined to its live winding: mains volts on the plug",
            "load-collapse": "a band or a feed cannot carry the load at all",
            "feed-out-of-window": "a feed puts the output outside the window somewhere in its range",
            "charger-reach": "the battery winding gives a step-down charger too little, everywhere or in part",
            "over-load": "the load stated is more than wire, contacts or window permit",
            "over-flux": "the core works above the flux density stated",
            "over-current": "a wire carries more than the current density allows",
            "contact-overload": "a contact carries or holds off more than its rating",
            "make-overload": "a contact closes onto more inrush than it can make",
            "window-full": "more copper than the window takes",
            "hot": "the estimated temperature is above the limit stated",
            "coil-starved": "the coil supply from the core cannot pull in the coils of a band",
            "fuse-overload": "the inlet's normal current, or the inrush, is too much for the fuse",
            "fuse-blind": "a bridged contact's fault hardly reaches the line fuse",
            "cutout-trips": "the thermal cut-out would open in normal service",
        },
    ),
    Rule(reach.unreachable_bands, {"unreachable-band": "no course of the input ever enters the band"}),
    Rule(kinds.unsafe_rest, {"unsafe-rest": "with every coil off the output leaves the window"}),
    Rule(
        flight.relay_flight,
        {
            "race-short": "a move can pass through shorted turns; a fault when every order does",
            "race-overvoltage": "a move can pass through a ratio too high for the window",
            "race-dip": "a move can pass through a ratio too low for the window",
            "dropout-unsafe": "losing the coil supply can short turns or surge on the way to rest",
            "race-unexamined": "relays move at once, or steps stop on their way, in more ways than are gone through",
            "move-gap": "how long the load can be on nothing while relays move",
            "flight-inrush": "the line leaves the winding and comes back, which drives the core up",
        },
    ),
    Rule(
        aftermath.after_moves,
        {
            "step-through": "the stage does not stay in the next band but moves on",
            "flight-in-reading": "a reading that holds the open flight leaves the band just entered",
            "inrush-retrip": "the load's inrush pulls the inlet below the band just entered",
        },
    ),
    Rule(
        recovery.slow_recovery,
        {"slow-recovery": "a sudden step of the line leaves the tolerance curve before the relays have moved"},
    ),
    Rule(
        faulted.stuck_parts,
        {
            "stuck-short": "a single fault shorts turns or ties line to neutral",
            "stuck-overvoltage": "a single fault drives the output above the window",
        },
    ),
    Rule(wiring.loose_ends, {"loose-end": "a contact leads to a point nothing else touches"}),
    Rule(reach.ambiguous_start, {"ambiguous-start": "two bands of one ratio hold one start reading"}),
    Rule(
        held.holds_beyond_range,
        {"holds-beyond-range": "outside the mains range the output leaves the window"},
    ),
    Rule(kinds.duplicate_states, {"duplicate-state": "relay states that give one ratio"}),
    Rule(wiring.idle_relays, {"idle-relay": "no band needs the relay"}),
)

# What no rule finds in a stage, but the verdict in the file.
OF_THE_VERDICT = {"stale-accept": "an [[accept]] that matches nothing, or only a fault"}

CODES: dict[str, str] = {
    **{code: meaning for rule in RULES for code, meaning in rule.meanings.items()},
    **OF_THE_VERDICT,
}

# The codes of what is carried beyond a limit; `rate` gives just these.
RATED = next(tuple(rule.meanings) for rule in RULES if rule.check is rated.over_rated)

# The codes of what the table promises: what `margins` proves, or says to be broken.
PROMISES = (
    *(
        "uncovered-range",
        "dead-zone",
        "out-of-window",
        "stranded",
        "chatter",
        "wrong-way",
        "hunting",
        "backup-cycling",
    ),
    *("lost-in-counts", "error-budget", "converter-range"),
)

_ORDER = {severity: place for place, severity in enumerate(Severity)}


def findings(design: Design, only: Collection[str] | None = None) -> list[Finding]:
    """Everything the rules find in a design, faults first, then in the order of the rules.

    With `only`, findings of these codes; rules that cannot give them are not run.
    """
    return findings_in(review(design), only)


def findings_in(reviewed: Review, only: Collection[str] | None = None) -> list[Finding]:
    """As `findings`, for a design already reviewed."""
    wanted = frozenset(CODES if only is None else only)
    rules = [rule for rule in RULES if not wanted.isdisjoint(rule.meanings)]
    found = [_advised(reviewed, one) for rule in rules for one in _found(reviewed, rule) if one.code in wanted]
    return sorted(found, key=lambda finding: _ORDER[finding.severity])


def _found(reviewed: Review, rule: Rule) -> list[Finding]:
    """What one rule finds, worked out once."""
    return reviewed.once(rule.check, lambda: list(rule.check(reviewed)))


def _advised(reviewed: Review, finding: Finding) -> Finding:
    """A finding with its advice, tried once."""
    return reviewed.once(("advised", id(finding)), lambda: advised(reviewed, finding))
