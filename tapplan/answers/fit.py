"""Plans for a mains range, best first, or why there is none: what `fit` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import isinf
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import measured, more, names, number, said, volts, word, yes
from tapplan.answers.logfigures import figures_of
from tapplan.answers.planned import LOGS_LEFT, bound_told, core_told, none_told, stopped_told
from tapplan.answers.refined import RefinedFigures
from tapplan.answers.replay import together
from tapplan.answers.weighed import PlanLogRow, WeighedLog
from tapplan.answers.winding import build_row
from tapplan.study.loaded import BuiltPlan, LoadedFit, core_name
from tapplan.study.logged import MOST_PLANS, PlanRuns
from tapplan.study.plans import Plan
from tapplan.study.sensitivity import Sensitivity, WishSpan

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
    `log_*` are what logs make of its design, with thresholds as they are placed; None where it was not tried on any.
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
    log_changes: Annotated[int | None, number(optional=True)] = None
    log_moves: Annotated[int | None, number(optional=True)] = None
    log_outside_s: Annotated[Fraction | None, number(optional=True)] = None
    log_deviation_v: Annotated[float | None, measured(optional=True)] = None
    log_years: Annotated[float | None, measured(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BuiltRow:
    """A plan as it will be wound: wires, masses, and the worst of all bands; loss and rise are estimates."""

    number: Annotated[str, said("plan")]
    core: Annotated[str | None, word("core", optional=True)]
    wires: Annotated[str, word("wires")]
    iron_kg: Annotated[float | None, measured("iron", "kg")]
    copper_kg: Annotated[float | None, measured("copper", "kg")]
    fill: Annotated[float | None, measured()]
    filled: Annotated[str | None, said("of the window", optional=True)]
    build_mm: Annotated[Fraction | None, number(optional=True)]
    width_mm: Annotated[Fraction | None, number(optional=True)]
    built_up: Annotated[str | None, said("layers (mm)", optional=True)]
    loss_w: Annotated[float | None, measured("loss", "W", digits=1)]
    rise_k: Annotated[float | None, measured()]
    warmed: Annotated[str | None, said("rise (K)", optional=True)]
    efficiency: Annotated[float | None, measured()]
    efficient: Annotated[str, said("efficiency")]
    cost: Annotated[float | None, measured(optional=True)]
    currency: Annotated[str | None, word(optional=True)]
    priced: Annotated[str | None, said("cost", optional=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """A change of the request that makes it possible: the least one found, tried."""

    key: Annotated[str, word("key")]
    now: Annotated[str, word("now")]
    then: Annotated[str, word("then")]


@dataclass(frozen=True, slots=True, kw_only=True)
class WishRow:
    """How far a wish may go with as many relays, and from where one relay fewer does, by room or by trying."""

    key: Annotated[str, word("wish")]
    now: Annotated[str, word("now")]
    farthest: Annotated[str | None, word("as many relays do up to", empty="no farther found")]
    saving: Annotated[str | None, word("one fewer does from", empty="none found")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans(Answer):
    """The bound, the plans that no other beats in every respect at once, and where there is none why.

    `stopped` says what was not looked at because the search was told to stop; `finished`: nothing.
    """

    heading = "Plans"

    title: str
    bound: Annotated[BoundRow | None, more()]
    plans: Annotated[tuple[PlanRow, ...], more()]
    nearest: Annotated[PlanRow | None, more()]
    finished: Annotated[bool, yes()]
    stopped: Annotated[tuple[str, ...], names()] = ()
    boxes: Annotated[int, number()]
    relaxations: Annotated[tuple[WayOut, ...], more()]
    picked: Annotated[int | None, number(optional=True)] = None
    text: Annotated[str | None, word(optional=True)] = None
    written: Annotated[str | None, word(optional=True)] = None
    built: Annotated[tuple[BuiltRow, ...], more()] = ()
    considered: Annotated[tuple[str, ...], names()] = ()
    not_considered: Annotated[tuple[str, ...], names()] = ()
    wishes: Annotated[tuple[WishRow, ...], more()] = ()
    weights_made: Annotated[str | None, word(optional=True)] = None
    log: Annotated[WeighedLog | None, more(optional=True)] = None
    refined: Annotated[RefinedFigures | None, more(optional=True)] = None
    wishes_told: str = ""
    core_told: str = ""
    bound_told: str
    none_told: str

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The plans first; the bound is no table."""
        return ("plans", "built", "relaxations", "nearest")

    @property
    def wrong(self) -> bool:
        """Whether no plan meets the request."""
        return not self.plans

    @property
    def made_told(self) -> tuple[str, ...]:
        """That the mains which weigh the plans were made up, where they say so."""
        made = self.weights_made or (self.log.made if self.log else None)
        return (words.made_up(made),) if made else ()

    @property
    def on_log(self) -> tuple[PlanLogRow, ...]:
        """The plans that were tried on logs."""
        return tuple(
            PlanLogRow(
                number=one.number,
                changes=one.log_changes,
                moves=one.log_moves or 0,
                outside_s=one.log_outside_s or Fraction(0),
                deviation_v=one.log_deviation_v,
                years=one.log_years,
            )
            for one in self.plans
            if one.log_changes is not None
        )

    @property
    def legend(self) -> str:
        """What the columns mean, and which plans are not proven the best of their kind."""
        unproven = [_unproven(one) for one in self.plans if not one.proven]
        if not unproven:
            return LEGEND
        return f"{LEGEND} Not proven the best of their kind: plan {', '.join(unproven)}; --to-the-end proves."


def with_logs(answer: Plans, log: WeighedLog, tried: Sequence[PlanRuns]) -> Plans:
    """The same with what the logs weigh, and with the first plans tried on them, in the order of the plans."""
    rows = list(answer.plans)
    for place, one in enumerate(tried):
        whole = one.runs[0] if len(one.runs) == 1 else together(one.runs)
        found = figures_of(one.machine, whole, 0)
        rows[place] = replace(
            rows[place],
            log_changes=found.changed,
            log_moves=sum(found.moves.values()),
            log_outside_s=found.outside_s,
            log_deviation_v=found.deviation_v,
            log_years=found.years,
        )
    answer = replace(answer, log=log, plans=tuple(rows))
    if len(tried) == min(len(rows), MOST_PLANS):
        return answer
    return replace(answer, finished=False, stopped=(*answer.stopped, LOGS_LEFT))


def _unproven(one: PlanRow) -> str:
    return one.number if one.gap is None else f"{one.number} (at most {one.gap:.1%} from the best)"


def plans(loaded: LoadedFit, title: str, swayed: Sensitivity | None = None) -> Plans:
    """The answer to a request."""
    found = loaded.fitted
    stopped = tuple(stopped_told(loaded, swayed))
    return Plans(
        title=title,
        bound=None if found.bound is None else BoundRow(ratios=found.bound.ratios, relays=found.bound.relays),
        plans=tuple(_plan(one, f"{number}") for number, one in enumerate(found.plans, 1)),
        nearest=None if found.nearest is None else _plan(found.nearest, "nearest"),
        finished=not stopped,
        stopped=stopped,
        boxes=found.boxes,
        relaxations=tuple(WayOut(key=one.key, now=one.now, then=one.then) for one in found.relaxations),
        bound_told=bound_told(found),
        none_told="" if found.plans else "\n".join(none_told(loaded)),
        built=tuple(
            _built(one, f"{number}", core_name(one.design) if loaded.chosen else None)
            for number, one in enumerate(loaded.built, 1)
        ),
        core_told=core_told(loaded),
        wishes=() if swayed is None else tuple(_wish(one) for one in swayed.wishes),
        wishes_told="" if swayed is None else _wishes_told(loaded, swayed),
        considered=found.considered.arrangements,
        not_considered=found.considered.left_out,
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


def _built(one: BuiltPlan, number: str, core: str | None) -> BuiltRow:
    wires = {wire.told: wire for section in one.ratings.sections if (wire := section.wire) is not None}
    thickest = sorted(wires.values(), key=lambda wire: -wire.mm2)
    build, cost = build_row(one.ratings), one.cost
    return BuiltRow(
        number=number,
        core=core,
        wires=_wires_told([wire.told for wire in thickest]),
        iron_kg=one.iron_kg,
        copper_kg=one.copper_kg,
        fill=one.fill,
        filled=words.percent(one.fill) if build is None else None,
        build_mm=None if build is None else build.build_mm,
        width_mm=None if build is None else build.width_mm,
        built_up=None if build is None else f"{float(build.build_mm):.1f} of {words.number(build.width_mm, 1)}",
        cost=None if cost is None else cost.total,
        currency=None if cost is None else cost.currency,
        priced=None if cost is None else f"{words.figure(cost.total)} {cost.currency}",
        loss_w=one.loss_w,
        rise_k=one.rise_k,
        warmed=None if one.rise_k is None else words.figure(one.rise_k, 0),
        efficiency=one.efficiency,
        efficient=words.percent(one.efficiency),
    )


def _wish(one: WishSpan) -> WishRow:
    return WishRow(key=one.key, now=one.now, farthest=one.farthest, saving=one.saving)


def _wishes_told(loaded: LoadedFit, swayed: Sensitivity) -> str:
    relays = f"{swayed.relays} {'relay' if swayed.relays == 1 else 'relays'}"
    about = f"plan 1, its drop reserved, and {relays}" if loaded.built else f"plans of {relays}"
    return f"How far each wish may go alone, about {about}:"


def _wires_told(wires: list[str]) -> str:
    """The wires one after the other, millimetres named once."""
    *others, last = wires or ["-"]
    return ", ".join([*(one.removesuffix(" mm") if last.endswith(" mm") else one for one in others), last])
