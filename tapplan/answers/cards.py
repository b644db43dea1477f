"""The cards at the head of a report: what each of its sections comes to, in a line, and how it is to be taken."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from tapplan.answers import words
from tapplan.answers.faults import FaultEffect, Faults, faults
from tapplan.answers.findings import FindingRow, counts_told
from tapplan.answers.moves import MoveRow, Moves, moves
from tapplan.answers.steps import StepRow, Steps, steps
from tapplan.answers.verdict import Verdict, verdict
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review
from tapplan.design.standards import curve
from tapplan.network.turns import Kind


class Tone(StrEnum):
    """How a card is to be taken: nothing to do, something to weigh, something broken."""

    GOOD = "good"
    MIND = "mind"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Card:
    """What a section comes to; `anchor` names the section."""

    heading: str
    told: str
    tone: Tone
    anchor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSources:
    """A design and the answers that cards are read from."""

    review: Review
    verdict: Verdict
    steps: Steps
    moves: Moves
    faults: Faults


RACES = ("race-overvoltage", "race-dip")
MOVING = ("move-gap", "race-short", "race-overvoltage", "race-dip", "dropout-unsafe", "flight-inrush")
STUCK = ("stuck-short", "stuck-overvoltage")
REST = ("unsafe-rest",)
_WORST = (Tone.BAD, Tone.MIND, Tone.GOOD)


def examined(review: Review) -> CardSources:
    """A design with its answers.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    return CardSources(
        review=review, verdict=verdict(review), steps=steps(review), moves=moves(review), faults=faults(review)
    )


def cards(found: CardSources) -> tuple[Card, ...]:
    """The cards in the order in which they are read: what is promised, whether it holds, what else to weigh."""
    return (
        _promised(found),
        Card("Verdict", found.verdict.told, _kept(found.verdict), "promises"),
        _stepped(found.steps),
        _moved(found),
        _faulted(found),
        _at_rest(found),
        _mended(found.verdict.findings),
    )


def _kept(found: Verdict) -> Tone:
    return Tone.BAD if found.wrong else Tone.GOOD


def _promised(found: CardSources) -> Card:
    told = f"{words.span(found.review.window)} V out for {words.span(found.review.mains)} V in"
    return Card("Promised", told, _kept(found.verdict), "promises")


def _stepped(found: Steps) -> Card:
    """How many sudden steps leave the curve and the worst on either side; broken where the file states that curve."""
    left = [one for one in found.steps if not one.kept]
    tone = Tone.BAD if found.wrong else Tone.MIND if left or found.unheld_inputs else Tone.GOOD
    count = f"{len(left) or 'none'} of {len(found.steps)} {_leave(len(left))} the curve {_named(found.curve)}"
    told = count + _worst_told(left) if found.steps else f"none leaves the steady levels of {_named(found.curve)}"
    dead = "; dead zones left out" if found.unheld_inputs else ""
    return Card("Sudden steps", told + dead, tone, "steps")


def _named(key: str) -> str:
    """A curve as the trade calls it: the title without the edition and what it is for."""
    known = curve(key)
    return key if known is None else known.title.partition(",")[0].removesuffix(" curve")


def _worst_told(left: Sequence[StepRow]) -> str:
    """The step that leaves the curve most over it, and the one that does most under it."""
    sides = ([one for one in left if one.side == side] for side in ("over", "under"))
    worst = [_step_told(max(side, key=lambda one: one.harm)) for side in sides if side]
    return f", worst {', '.join(worst)}" if worst else ""


def _step_told(one: StepRow) -> str:
    return f"{_volts(one.output_v)} V for {_volts(one.lasts_ms)} ms ({one.allowed_told} borne)"


def _moved(found: CardSources) -> Card:
    """The longest time that a move leaves the output on nothing, and the volts that moves pass out of the window."""
    tone = _tone(found.verdict, MOVING)
    if not found.moves.moves:
        return Card("Moves", "no relay ever moves", tone, "moves")
    worst = max(found.moves.moves, key=lambda one: one.gap_ms)
    shorting = sum(bool(one.shorted) for one in found.moves.moves)
    shorts = f"; {shorting} of {len(found.moves.moves)} moves can pass a short" if shorting else ""
    outside = [one.worst for code in RACES for one in found.verdict.traits if one.code == code]
    passed = f"; moves can pass {', '.join(outside)}" if outside else f", {_passed(worst)}"
    return Card("Moves", f"{_gap(worst)}{passed}{shorts}", tone, "moves")


def _gap(worst: MoveRow) -> str:
    if not worst.gap_ms:
        return f"{worst.between}: the output is never on nothing"
    return f"output on nothing for up to {words.number(worst.gap_ms, 1)} ms, {worst.between}"


def _passed(worst: MoveRow) -> str:
    low, high = worst.lowest.ratio, worst.highest.ratio
    if low is None or high is None:
        return "no ratio met in between"
    return f"ratios met in between {float(low):.4g}" + (f" to {float(high):.4g}" if high != low else "")


def _faulted(found: CardSources) -> Card:
    every = found.faults.faults
    left, shorts = len(found.faults.harmful), sum(one.effect is FaultEffect.SHORT for one in every)
    leaves = "the output leaves" if left else "does the output leave"
    told = f"in {left or 'none'} of {len(every)} cases (a fault in a band) {leaves} the window"
    return Card(
        "Single faults", f"{told}; {_shorting(shorts)}", _worse(_tone(found.verdict, STUCK), _weighed(left)), "faults"
    )


def _leave(count: int) -> str:
    return "leaves" if count == 1 else "leave"


def _shorting(count: int) -> str:
    return f"{count or 'none'} {'shorts' if count == 1 else 'short'} turns"


def _weighed(count: int) -> Tone:
    return Tone.MIND if count else Tone.GOOD


def _at_rest(found: CardSources) -> Card:
    """What the load gets over the mains range with no coil driven."""
    return Card("With all coils off", _rest_told(found.review), _tone(found.verdict, REST), "traits")


def _rest_told(review: Review) -> str:
    """The output from the lowest mains at full load to the highest without load."""
    rest = review.rest
    if rest.ratio is None:
        return "turns shorted or line tied to neutral" if rest.kind is Kind.SHORTED else f"no output: {rest.kind}"
    full = next((one.full for one in review.serving if not one.state.energised), rest.ratio)
    ends = sorted((full * review.mains.low, rest.ratio * review.mains.high))
    inside = all(review.window.low <= end <= review.window.high for end in ends)
    place = "inside the window" if inside else f"against {words.span(review.window)} V promised"
    return f"{rest.kind}: {_volts(ends[0])} - {_volts(ends[1])} V, {place}"


def _volts(value: Fraction) -> str:
    return words.number(value, 1)


def _mended(found: tuple[FindingRow, ...]) -> Card:
    """How many findings of each severity, and the first of the worst."""
    if not found:
        return Card("Findings", "none", Tone.GOOD, "findings")
    severities = {one.severity for one in found}
    tone = _of_severities(severities)
    return Card("Findings", f"{counts_told(found)}; first: {found[0].code}, {found[0].where}", tone, "findings")


def _of_severities(severities: Collection[Severity]) -> Tone:
    if Severity.FAULT in severities:
        return Tone.BAD
    return Tone.MIND if Severity.WARNING in severities else Tone.GOOD


def _tone(found: Verdict, codes: Collection[str]) -> Tone:
    """By the findings of these codes, accepted ones aside; a trait for which no limit is stated is to be weighed."""
    severities = {one.severity for one in found.findings if one.code in codes}
    unjudged = any(one.code in codes and one.limit is None for one in found.traits)
    return _worse(_of_severities(severities), Tone.MIND if unjudged else Tone.GOOD)


def _worse(one: Tone, other: Tone) -> Tone:
    return min(one, other, key=_WORST.index)
