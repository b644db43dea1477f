"""Plans for a mains range, best first, or why there is none: what `fit` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isinf
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, names, number, said, volts, word, yes
from tapplan.study.fitting import Fitted
from tapplan.study.plans import Plan

LEGEND = (
    "room: the smallest between neighbours; off: mean distance of the output from what is wanted; core: the most"
    " of the power that the core transforms; moves: relays that move from band to band, upward in input."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundRow:
    """The fewest ratios and relays of any wiring, even with turns that are no whole numbers."""

    ratios: Annotated[int, number("ratios")]
    relays: Annotated[int, number("relays")]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """One plan; `room_v` None: a single band, which shares nothing. `deviation` and `transformed` are shares.

    `bound` is what no plan of its arrangement, relays, poles and taps betters, in the objective's measure, and `gap`
    how far it is from the plan as a share of it; None where nothing better was left to look at, or anything could be.
    """

    number: Annotated[str, said("plan")]
    arrangement: Annotated[str, word("wiring")]
    relays: Annotated[int, number("relays")]
    poles: Annotated[int, number()]
    taps: Annotated[int, number()]
    tap_turns: Annotated[tuple[int, ...], names()]
    section_turns: Annotated[tuple[int, ...], names()]
    turns: Annotated[str, said("taps (turns)")]
    ratios: Annotated[tuple[str, ...], names()]
    ratios_told: Annotated[str, said("ratios")]
    room_v: Annotated[Fraction | None, volts("room", empty="any")]
    deviation: Annotated[float, number()]
    transformed: Annotated[float, number()]
    off: Annotated[str, said("off")]
    core: Annotated[str, said("core")]
    moves: Annotated[tuple[int, ...], names("moves", between=" ")]
    proven: Annotated[bool, yes()]
    bound: Annotated[float | None, number()]
    gap: Annotated[float | None, number()]


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """A change of the request that makes it possible: the least one found, tried."""

    key: Annotated[str, word("key")]
    now: Annotated[str, word("now")]
    then: Annotated[str, word("then")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans(Answer):
    """The bound, the plans that no other beats in every respect at once, and where there is none why."""

    heading = "Plans"

    title: str
    bound: Annotated[BoundRow | None, more()]
    plans: Annotated[tuple[PlanRow, ...], more()]
    nearest: Annotated[PlanRow | None, more()]
    finished: Annotated[bool, yes()]
    boxes: Annotated[int, number()]
    relaxations: Annotated[tuple[WayOut, ...], more()]
    picked: Annotated[int | None, number(optional=True)] = None
    text: Annotated[str | None, word(optional=True)] = None
    written: Annotated[str | None, word(optional=True)] = None
    bound_told: str
    none_told: str

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The plans first; the bound is no table."""
        return ("plans", "relaxations", "nearest")

    @property
    def wrong(self) -> bool:
        """Whether no plan meets the request."""
        return not self.plans

    @property
    def legend(self) -> str:
        """What the columns mean, and which plans are not proven the best of their kind."""
        unproven = [_unproven(one) for one in self.plans if not one.proven]
        if not unproven:
            return LEGEND
        return f"{LEGEND} Not proven the best of their kind: plan {', '.join(unproven)}; --to-the-end proves."


def _unproven(one: PlanRow) -> str:
    return one.number if one.gap is None else f"{one.number} (at most {one.gap:.1%} from the best)"


def plans(found: Fitted, title: str) -> Plans:
    """The answer to a request."""
    return Plans(
        title=title,
        bound=None if found.bound is None else BoundRow(ratios=found.bound.ratios, relays=found.bound.relays),
        plans=tuple(_plan(one, f"{number}") for number, one in enumerate(found.plans, 1)),
        nearest=None if found.nearest is None else _plan(found.nearest, "nearest"),
        finished=found.finished,
        boxes=found.boxes,
        relaxations=tuple(WayOut(key=one.key, now=one.now, then=one.then) for one in found.relaxations),
        bound_told=_bound_told(found),
        none_told="" if found.plans else "\n".join(_none_told(found)),
    )


def _plan(one: Plan, number: str) -> PlanRow:
    taps, sections = ", ".join(map(str, one.taps)), ", ".join(map(str, one.sections))
    return PlanRow(
        number=number,
        arrangement=one.arrangement,
        relays=one.relays,
        poles=one.poles,
        taps=one.points,
        tap_turns=one.taps,
        section_turns=one.sections,
        turns=f"{taps}; in series {sections}" if sections else taps,
        ratios=tuple(str(ratio) for ratio in one.ratios),
        ratios_told=", ".join(f"{float(ratio):.4f}" for ratio in one.ratios),
        room_v=one.room,
        deviation=float(one.deviation),
        transformed=float(one.transformed),
        off=f"{float(one.deviation):.1%}",
        core=f"{float(one.transformed):.1%}",
        moves=one.moves,
        proven=one.proven,
        bound=_bound(one),
        gap=_gap(one),
    )


def _bound(one: Plan) -> float | None:
    return None if one.proven or isinf(one.open_score) else abs(one.open_score)


def _gap(one: Plan) -> float | None:
    if one.proven or isinf(one.open_score) or isinf(one.score) or not one.score:
        return None
    return abs(one.open_score - one.score) / abs(one.score)


def _bound_told(found: Fitted) -> str:
    if found.bound is None:
        return "No number of ratios is enough: window, error and hysteresis leave no band that reaches upward."
    ratios, relays = found.bound.ratios, found.bound.relays
    if ratios == 1:
        return "One ratio serves the whole range: no relay is needed."
    least = f"at least {ratios} ratios, so {relays} {'relay' if relays == 1 else 'relays'}"
    told = f"Whatever the wiring, {least}, even with turns that are no whole numbers."
    if found.plans:
        fewest = min(len(one.ratios) for one in found.plans)
        near = "as few as that" if fewest == ratios else f"{fewest - ratios} more than that"
        told += f" The plan with the fewest uses {fewest}, {near}."
    return told


def _none_told(found: Fitted) -> list[str]:
    if found.bound is None or found.bound.ratios == 1 or not found.finished:
        return ["No plan."]
    lines = ["No plan meets the request.", _nearest_told(found)]
    if found.request.single_moves:
        lines.append(
            "single_moves leaves chains only: two selectors that use more ratios than a chain has always move two"
            " relays somewhere. Fewer ratios, a longer chain, or moves of two relays would be the ways out."
        )
    return [*lines, *(f"It would do to change {one.key} from {one.now} to {one.then}." for one in found.relaxations)]


def _nearest_told(found: Fitted) -> str:
    near, needed = found.nearest, found.request.needed
    if near is None:
        return "No turns of these arrangements, with as many relays and taps, serve the whole range."
    room = near.room or Fraction(0)
    return (
        f"The nearest, {near.arrangement} with {near.relays} relays, leaves {words.number(room, 2)} V between "
        f"neighbours; {words.number(needed, 2)} V are needed, {words.number(needed - room, 2)} V more."
    )
