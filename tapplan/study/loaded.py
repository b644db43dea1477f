"""Plans as they will be built on one core: wires, the windings beside, and the drop of full load reserved.

The drop depends on the wires, these on the currents, these on the turns; so turns are chosen for a sag, the stage is
wound, and the sag it needs is held against the one assumed, until no plan needs more. What is answered has been
checked and rated at full load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor, inf

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import review
from tapplan.checks.rules import PROMISES, RATED, findings_in
from tapplan.checks.witnesses.table import Overlap
from tapplan.control.drop import load_ohm
from tapplan.control.table import ControlTable
from tapplan.design.coil import Coil
from tapplan.design.model import Design, Fit
from tapplan.exact import Span
from tapplan.rating.built import built_table
from tapplan.rating.cost import StageCost, cost_of
from tapplan.rating.rated import Ratings, ratings
from tapplan.study.auxiliary import rest_turns, with_auxiliaries
from tapplan.study.fitting import Fitted, How, PlanKind, fitted, kind_of, rank
from tapplan.study.plans import Plan, turns
from tapplan.study.request import InletWeight, Request, Sag, bound, request_of
from tapplan.study.written import bare_design, with_thresholds

ROUNDS = 10
# What would only be a warning in a design that exists: a new one has no need of it.
BLIND, THIN, FULL = "blind-reading", "thin-hysteresis", "window-full"
BARRED = frozenset((THIN, FULL, "over-current", "over-load", "hot", "cutout-trips", "charger-reach"))
NEAR_DIRECT = Fraction(2, 100)  # how far from 1 a ratio counts as direct, where sag is told
SPARE = Fraction(102, 100)  # by how much more sag is reserved than a plan was found to need
FEWER = 0.95  # of the turns that were too many
FINE = 10**6


@dataclass(frozen=True, slots=True)
class BuiltPlan:
    """A plan wound on its core: the design as it will be written, its ratings, and the codes that bar it.

    `sag` is what it needs reserved, `thin_v` how much hysteresis it lacks.
    """

    plan: Plan
    design: Design
    ratings: Ratings
    faults: tuple[str, ...]
    sag: Sag
    thin_v: Fraction

    @property
    def iron_kg(self) -> float | None:
        """The mass of the core."""
        return None if self.ratings.iron is None else self.ratings.iron.mass_kg

    @property
    def copper_kg(self) -> float | None:
        """The mass of bare copper."""
        return None if self.ratings.window is None else self.ratings.window.kg

    @property
    def loss_w(self) -> float | None:
        """Copper and iron loss in the worst band."""
        both = [(one.heat.copper_w, one.heat.core_w) for one in self.ratings.bands]
        known = [copper + (core or 0.0) for copper, core in both if copper is not None]
        return max(known, default=None)

    @property
    def rise_k(self) -> float | None:
        """The estimated rise in the worst band."""
        return max((one.heat.rise_k for one in self.ratings.bands if one.heat.rise_k is not None), default=None)

    @property
    def efficiency(self) -> float | None:
        """The least efficiency of any band."""
        return min((one.efficiency for one in self.ratings.bands if one.efficiency is not None), default=None)

    @property
    def fill(self) -> float | None:
        """The share of the window that bare copper takes."""
        return None if self.ratings.window is None else self.ratings.window.fill

    @property
    def crowding(self) -> float:
        """How full the window is against what it takes: of layers where they are known, else of bare copper."""
        coil, window = self.ratings.coil, self.ratings.window
        if isinstance(coil, Coil):
            return float(coil.build_mm / coil.limb.window.wide_mm)
        return 0.0 if window is None else (window.fill or 0.0) / window.limit

    @property
    def cost(self) -> StageCost | None:
        """What it costs by the prices stated; None without."""
        return cost_of(self.ratings)

    @property
    def price(self) -> float | None:
        """The whole of that cost; None where it is not known."""
        return None if self.cost is None else self.cost.total

    @property
    def mass_kg(self) -> float:
        """Iron and copper; what is not known counts as nothing."""
        return (self.iron_kg or 0.0) + (self.copper_kg or 0.0)


def built_front(plans: Sequence[BuiltPlan]) -> list[BuiltPlan]:
    """Those that no other beats in relays, poles, taps, room, deviation, power, mass, cost and loss at once.

    Of those that are equal in all of it, the first.
    """
    measures = [_measures(one) for one in plans]

    def beaten(place: int) -> bool:
        own = measures[place]
        return any(
            all(a <= b for a, b in zip(other, own, strict=True)) and (other != own or before < place)
            for before, other in enumerate(measures)
            if before != place
        )

    return [one for place, one in enumerate(plans) if not beaten(place)]


def _measures(one: BuiltPlan) -> list[float]:
    """What is to be small."""
    plan = one.plan
    room = inf if plan.room is None else float(plan.room)
    sizes = [float(plan.relays), float(plan.poles), float(plan.points)]
    return [
        *sizes,
        -room,
        float(plan.deviation),
        float(plan.transformed),
        one.mass_kg,
        one.price or 0.0,
        one.loss_w or 0.0,
    ]


@dataclass(frozen=True, slots=True)
class Refused:
    """A core that will not do, and why in words."""

    core: str
    why: str


@dataclass(frozen=True, slots=True)
class LoadedFit:
    """The plans as fitted and as built, best first, smallest core first; and the cores that will not do."""

    fitted: Fitted
    built: tuple[BuiltPlan, ...]
    refused: tuple[Refused, ...]

    @property
    def chosen(self) -> bool:
        """Whether plans stand on more than one core."""
        return len({one.design.core for one in self.built}) > 1


def on_core(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How) -> LoadedFit:
    """The plans on one core, each with the sag reserved that it needs.

    Wirings need more or less of it: what is sound at a small one is kept, and the others are sought with more.
    """
    ideal = request_of(asked, fit, weights)
    request = replace(ideal, sag=_contacts_sag(asked, fit))
    quiet = replace(how, relaxing=False, known=(), keep=lambda searched: None)
    sound, unsound = dict[PlanKind, BuiltPlan](), list[BuiltPlan]()
    found = fitted(request, quiet)
    for _ in range(ROUNDS):
        unlike = [plan for plan in found.plans if kind_of(plan.wiring) not in sound]
        built = [_built(asked, found.request, plan) for plan in unlike if not how.stop()]
        sound |= {kind_of(one.plan.wiring): one for one in built if not one.faults}
        unsound = [one for one in built if one.faults]
        harder = _reserving(request, unsound)
        if harder == request or how.stop():
            break
        request = harder
        found = fitted(request, quiet)
    finished = found.finished and not how.stop()
    found = replace(found, bound=bound(ideal), finished=finished)  # no plan needs fewer ratios, whatever its drop
    kept = built_front(sorted(sound.values(), key=lambda one: rank(one.plan)))
    if kept:
        return LoadedFit(replace(found, plans=tuple(one.plan for one in kept)), tuple(kept), ())
    if not finished:
        stopped = Refused(core_name(asked), "the search was stopped before a plan on it was found to be sound")
        return LoadedFit(replace(found, plans=()), (), (stopped,))
    codes = sorted({code for one in unsound for code in one.faults})
    why = f"its plans have faults: {', '.join(codes)}" if codes else "no turns leave the room needed at full load"
    return LoadedFit(replace(found, plans=()), (), (Refused(core_name(asked), why),))


def _reserving(request: Request, unsound: list[BuiltPlan]) -> Request:
    """The request with as much more sag, or hysteresis, reserved as the least demanding plan was found to need.

    Where copper does not go in, first with as many fewer turns as that seems to take: they drop less as well.
    """
    full = [one for one in unsound if FULL in one.faults]
    fewer = _with_fewer_turns(request, min(full, key=lambda one: one.crowding)) if full else request
    if fewer != request:
        return fewer
    sag, unsound = request.sag, [one for one in unsound if FULL not in one.faults]
    more = [one.sag for one in unsound if one.sag.share > sag.share or one.sag.always > sag.always]
    if more:
        least = min(more, key=lambda one: (one.share + one.always, one.share))
        sag = Sag(_spared(max(least.share, sag.share)), _spared(max(least.always, sag.always)))
        return replace(request, sag=sag)
    thin = min((one.thin_v for one in unsound if one.thin_v), default=Fraction(0))
    return replace(request, hysteresis=request.hysteresis + _spared(thin))


def _with_fewer_turns(request: Request, full: BuiltPlan) -> Request:
    """The request with fewer turns at most than a plan that fills the window; itself where it can have no fewer."""
    highest = max(turns(row, full.plan.values) for row in full.plan.wiring.highest)
    most = Fraction(floor(highest * min(FEWER, 1 / max(full.crowding, 1.0))))
    if most < max(request.turns.low, request.line_least, request.output_least):
        return request
    return replace(request, turns=Span(request.turns.low, most))


def _spared(share: Fraction) -> Fraction:
    return Fraction(ceil(share * SPARE * FINE), FINE)


def core_name(asked: Design) -> str:
    """The core of a request, as it is told."""
    core = asked.core
    if core is None or core.lamination is None or core.stack_mm is None:
        return "the core stated"
    return f"{core.lamination} stacked {float(core.stack_mm):g} mm"


def _contacts_sag(asked: Design, fit: Fit) -> Sag:
    """What contacts take of the load's volts wherever the line stands: every relay that can be in the way, closed."""
    load = load_ohm(asked)
    if load is None or fit.contact_ohm is None:
        return Sag()
    most = fit.relays_max + bool(asked.feeds)
    return Sag(always=Fraction(ceil(most * fit.contact_ohm / load * 2 * FINE), FINE))


def _built(asked: Design, request: Request, plan: Plan) -> BuiltPlan:
    """A plan wound, with thresholds for its drop, checked."""
    bare = bare_design(asked, request, plan)
    table = built_table(replace(bare, feeds=(), battery=None, coil_supply=None))
    if asked.feeds or asked.battery is not None or asked.coil_supply is not None:
        table = with_auxiliaries(asked, bare, table, rest_turns(request, plan))
    design = with_thresholds(table.design)
    checked = review(design)
    found = findings_in(checked, (*PROMISES, BLIND, THIN, *RATED))
    rated = ratings(checked.table)
    wireless = ["over-current" for one in rated.sections if one.wire is None]  # no wire is thick enough
    faults = [one.code for one in found if one.severity is Severity.FAULT or one.code in BARRED] + wireless
    return BuiltPlan(
        plan, design, rated, tuple(dict.fromkeys(faults)), _needed(checked.table, request.sag), _thin(found)
    )


def _thin(found: Sequence[Finding]) -> Fraction:
    """How much hysteresis two neighbours lack at most."""
    lacking = [
        shown.wanted_v - shown.overlap_v
        for one in found
        if one.code == THIN and isinstance(shown := one.witness, Overlap)
    ]
    return max(lacking, default=Fraction(0))


def _needed(table: ControlTable, reserved: Sag) -> Sag:
    """The sag that covers every band of a stage: near direct a share of all, else one of the difference to it."""
    drops = [(1 / row.ratio, 1 / row.full) for row in table.rows if row.ratio is not None and row.full is not None]
    near = [full / u - 1 for u, full in drops if abs(u - 1) <= NEAR_DIRECT]
    always = max([*near, reserved.always if near else Fraction(0)], default=Fraction(0))
    share = [(full - (1 + always) * u) / abs(u - 1) for u, full in drops if abs(u - 1) > NEAR_DIRECT]
    return Sag(max(share, default=Fraction(0)), always)
