"""Plans as they will be built: core, wires and windings of battery and coils, and the drop of full load reserved.

The drop depends on the wires, these on the currents, these on the turns; so turns are chosen for a sag, the stage is
wound, and the sag it needs is held against the one assumed, until no plan needs more. What is answered has been
checked and rated at full load.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor, sqrt

from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.rules import PROMISES, RATED, findings_in
from tapplan.control.drop import load_ohm
from tapplan.control.table import ControlTable
from tapplan.design.materials import LAMINATIONS, Lamination, lamination
from tapplan.design.model import STACK_RATIO, Core, Design, Fit, Winding
from tapplan.design.sense.service import ANY_CORE
from tapplan.rating.built import built_table
from tapplan.rating.carried import carried
from tapplan.rating.rated import Ratings, ratings
from tapplan.study.fitting import Fitted, How, PlanKind, fitted, front, kind_of, rank
from tapplan.study.plans import Plan, turns
from tapplan.study.request import InletWeight, Request, Sag, request_of
from tapplan.study.written import bare_design, with_thresholds

ROUNDS = 6
# What would only be a warning in a design that exists: a new one has no need of it.
BARRED = frozenset(("window-full", "over-current", "over-load", "hot", "cutout-trips", "charger-reach"))
# Of the power through the core: cores that by the rule of thumb (area in cm2 / 1.3)^2 VA carry less are not tried (a
# public calculation of an autotransformer, 11.52 cm2 and 78.5 W).
HOPELESS = 0.3
CROWDED = 1.2  # times the share of the window that is allowed
USUAL_SAG = Sag(Fraction(3, 100), Fraction(2, 1000))  # for which kinds of plans are tried on all cores
NEAR_DIRECT = Fraction(2, 100)  # how far from 1 a ratio counts as direct, where sag is told
SPARE = Fraction(102, 100)  # by how much more sag is reserved than a plan was found to need
STACK_STEP = 5  # mm
FEED_DROPS = (0.03, 0.06, 0.1)  # shares of a feed's volts that its load is thought to take
PULL_IN = 1.05  # how much more than its pull-in volts a coil supply gives at its lowest (common practice, no source)
FINE = 10**6


@dataclass(frozen=True, slots=True)
class BuiltPlan:
    """A plan wound on its core: the design as it will be written, its ratings, and the codes that bar it."""

    plan: Plan
    design: Design
    ratings: Ratings
    faults: tuple[str, ...]
    sag: Sag

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


@dataclass(frozen=True, slots=True)
class Refused:
    """A core that will not do, and why in words."""

    core: str
    why: str


@dataclass(frozen=True, slots=True)
class LoadedFit:
    """The answer for one core: the plans as fitted and as built, best first; and the cores that will not do."""

    fitted: Fitted
    built: tuple[BuiltPlan, ...]
    refused: tuple[Refused, ...]


def to_be_built(design: Design, fit: Fit) -> bool:
    """Whether a request says enough of core and load for plans to be wound."""
    core = design.core
    if design.output.load_va is None or core is None or fit.taps:
        return False
    wound = core.mean_turn_mm is not None or (core.lamination is not None and core.stack_mm is not None)
    return bool(fit.cores) or wound


def answered(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How | None = None) -> LoadedFit:
    """The plans of a request, wound where it says enough of core and load; their ratios alone where it does not."""
    how = how or How()
    if to_be_built(asked, fit):
        return fitted_loaded(replace(asked, fit=fit), fit, weights, how)
    return LoadedFit(fitted(request_of(asked, fit, weights), how), (), ())


def fitted_loaded(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How) -> LoadedFit:
    """The smallest core that carries it, and the plans on it; where one core is stated, on that."""
    sizes = core_sizes(asked, fit)
    if not sizes:
        return _no_core(asked, fit, weights, how)
    if len(sizes) == 1:
        return on_core(replace(asked, core=sizes[0]), fit, weights, how)
    refused: list[Refused] = []
    for plan in _templates(replace(asked, core=sizes[-1]), fit, weights, how):
        alike = replace(fit, arrangements=(plan.arrangement,), relays=Fraction(plan.relays))
        chosen = _smallest(asked, sizes, alike, how)
        refused = list(chosen.refused)
        if chosen.core is not None:
            found = on_core(replace(asked, core=chosen.core), fit, weights, how)
            return replace(found, refused=(*refused, *found.refused))
    nothing = fitted(request_of(replace(asked, core=sizes[-1]), fit, weights), replace(how, relaxing=False))
    largest = Refused(_core_name(replace(asked, core=sizes[-1])), "not even the largest core carries the load")
    return LoadedFit(replace(nothing, plans=()), (), (*refused, largest))


def _no_core(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How) -> LoadedFit:
    """The answer where all cores to choose from are far too small, or none can be stacked as wanted."""
    turnless = replace(fit, cores=(), total_turns=fit.total_turns or (Fraction(1), Fraction(1)))
    bare = fitted(request_of(replace(asked, core=None), turnless, weights), replace(how, relaxing=False))
    why = "far too small for the load, or not to be stacked within stack_ratio"
    return LoadedFit(replace(bare, plans=()), (), (Refused(", ".join(fit.cores), why),))


def _templates(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How) -> list[Plan]:
    """Plans of the kinds to try on all cores, the fewest relays first: those with room for a usual sag."""
    request = replace(request_of(asked, fit, weights), sag=USUAL_SAG)
    plans = fitted(request, replace(how, relaxing=False)).plans
    return list({(plan.arrangement, plan.relays): plan for plan in reversed(plans)}.values())[::-1]


@dataclass(frozen=True, slots=True)
class _Smallest:
    """The smallest core that carries a load, None where none does, and those that do not."""

    core: Core | None
    refused: tuple[Refused, ...]


def _smallest(asked: Design, sizes: list[Core], fit: Fit, how: How) -> _Smallest:
    """By halving, then, for windows differ, by trying every smaller one that by its window could hold the copper."""
    refused: list[Refused] = []
    best, fill = -1, 0.0
    tried: set[int] = set()

    def does(place: int) -> bool:
        """Tries one core."""
        nonlocal best, fill
        tried.add(place)
        found = on_core(replace(asked, core=sizes[place]), fit, (), how)
        refused.extend(found.refused)
        if found.built:
            best, fill = place, min(one.fill or 0.0 for one in found.built)
        return bool(found.built)

    low, high = 0, len(sizes) - 1
    while low <= high and not how.stop():
        middle = (low + high) // 2
        low, high = (low, middle - 1) if does(middle) else (middle + 1, high)
    for place in range(best):
        if place in tried or how.stop() or _crowded(sizes[place], sizes[best], fill):
            continue
        if does(place):
            break
    return _Smallest(None if best < 0 else sizes[best], tuple(refused))


def _crowded(core: Core, known: Core, fill: float) -> bool:
    """Whether the copper that fills so much of a known core's window is surely too much for another's.

    The turns go as one over the area of iron, the wire is the same.
    """
    share = fill * _iron_and_window(known) / _iron_and_window(core)
    return share > CROWDED * float(core.fill)


def _iron_and_window(core: Core) -> float:
    """The product of the areas of iron and window, in mm4."""
    plate = lamination(core.lamination or "")
    return float(plate.leg_mm * (core.stack_mm or 1) * plate.window_mm2) if plate is not None else 1.0


def core_sizes(asked: Design, fit: Fit) -> list[Core]:
    """The cores to choose from, by the volume of their iron; the one stated where there is no choice."""
    if asked.core is None:
        return []
    if not fit.cores:
        return [asked.core]
    plates = [one for one in LAMINATIONS if fit.cores == (ANY_CORE,) or one.key in fit.cores]
    sized = [(plate, stack) for plate in plates for stack in _stacks(plate, fit)]
    hopeless = HOPELESS * _transformed_va(asked)
    sized = [one for one in sized if (float(one[0].leg_mm * one[1]) / 100 / 1.3) ** 2 >= hopeless]
    sized.sort(key=lambda one: (one[0].leg_mm * one[1] * one[0].path_mm, one[0].key))
    core = replace(asked.core, area_mm2=None, window_mm2=None, mean_turn_mm=None, path_mm=None, mass_kg=None)
    return [replace(core, lamination=plate.key, stack_mm=stack) for plate, stack in sized]


def _transformed_va(asked: Design) -> float:
    """The least power that passes through the core: all of it from a battery, else what the ends of the range ask."""
    load, mains, window = float(asked.output.load_va or 0), asked.mains.span, asked.output.window
    if asked.feeds:
        return load
    return load * max(0.0, 1 - float(mains.low / window.low), 1 - float(window.high / mains.high))


def _stacks(plate: Lamination, fit: Fit) -> Iterator[Fraction]:
    least, most = (plate.leg_mm * share / STACK_STEP for share in fit.stack_ratio or STACK_RATIO)
    for number in range(ceil(least), floor(most) + 1):
        yield Fraction(number * STACK_STEP)


def on_core(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How) -> LoadedFit:
    """The plans on one core, each with the sag reserved that it needs.

    Wirings need more or less of it: what is sound at a small one is kept, and the others are sought with more.
    """
    request = request_of(asked, fit, weights)
    quiet = replace(how, relaxing=False, known=(), keep=lambda searched: None)
    sag, sound, unsound = _contacts_sag(asked, fit), dict[PlanKind, BuiltPlan](), list[BuiltPlan]()
    found = fitted(replace(request, sag=sag), quiet)
    for _ in range(ROUNDS):
        built = [_built(asked, found.request, plan) for plan in found.plans if kind_of(plan.wiring) not in sound]
        sound |= {kind_of(one.plan.wiring): one for one in built if not one.faults}
        unsound = [one for one in built if one.faults]
        more = [one.sag for one in unsound if one.sag.share > sag.share or one.sag.always > sag.always]
        if not more or how.stop():
            break
        least = min(more, key=lambda one: (one.share + one.always, one.share))
        sag = Sag(_spared(max(least.share, sag.share)), _spared(max(least.always, sag.always)))
        found = fitted(replace(request, sag=sag), quiet)
    plans = front(sorted((one.plan for one in sound.values()), key=rank))
    kept = tuple(sound[kind_of(plan.wiring)] for plan in plans)
    if kept:
        return LoadedFit(replace(found, plans=tuple(plans)), kept, ())
    codes = sorted({code for one in unsound for code in one.faults})
    why = f"its plans have faults: {', '.join(codes)}" if codes else "no turns leave the room needed at full load"
    return LoadedFit(replace(found, plans=()), (), (Refused(_core_name(asked), why),))


def _spared(share: Fraction) -> Fraction:
    return Fraction(ceil(share * SPARE * FINE), FINE)


def _core_name(asked: Design) -> str:
    core = asked.core
    if core is None or core.lamination is None or core.stack_mm is None:
        return "the core stated"
    return f"{core.lamination} x {float(core.stack_mm):g} mm"


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
        table = _with_auxiliaries(asked, bare, table, _rest_turns(request, plan))
    design = with_thresholds(table.design)
    checked = review(design)
    found = findings_in(checked, (*PROMISES, *RATED))
    faults = tuple(dict.fromkeys(one.code for one in found if one.severity is Severity.FAULT or one.code in BARRED))
    return BuiltPlan(plan, design, ratings(checked.table), faults, _needed(checked.table, request.sag))


def _needed(table: ControlTable, reserved: Sag) -> Sag:
    """The sag that covers every band of a stage: near direct a share of all, else one of the difference to it."""
    drops = [(1 / row.ratio, 1 / row.full) for row in table.rows if row.ratio is not None and row.full is not None]
    near = [full / u - 1 for u, full in drops if abs(u - 1) <= NEAR_DIRECT]
    always = max([*near, reserved.always if near else Fraction(0)], default=Fraction(0))
    share = [(full - (1 + always) * u) / abs(u - 1) for u, full in drops if abs(u - 1) > NEAR_DIRECT]
    return Sag(max(share, default=Fraction(0)), always)


def _rest_turns(request: Request, plan: Plan) -> int:
    """The turns under the output with all coils off."""
    place = plan.ratios.index(Fraction(1)) if request.rest == "direct" else len(plan.ratios) - 1
    code = plan.codes[place]
    for rows, codes in plan.wiring.states.items():
        if code in codes:
            return turns(rows.output, plan.values)
    raise AssertionError("a plan's codes are those of its wiring")


def _with_auxiliaries(asked: Design, bare: Design, table: ControlTable, rest: int) -> ControlTable:
    """The stage with windings for the feeds, the battery and the coils; sized by the volts per turn of the bands."""
    found = carried(table)
    least = float(min(found.per_turn.min(), found.loaded_per_turn.min()))
    made = table
    for drop in FEED_DROPS:
        sized = _sizes(asked, least, rest, drop)
        more = tuple(
            Winding(name=name, ends=(f"{name} 1", f"{name} 2"), turns=Fraction(count), core=bare.windings[0].core)
            for name, count in sized.items()
        )
        made = built_table(replace(bare, windings=(*bare.windings, *more)))
        if not asked.feeds or "feed-out-of-window" not in {
            one.code for one in findings_in(review(with_thresholds(made.design)), ["feed-out-of-window"])
        }:
            break
    return made


def _sizes(asked: Design, least: float, rest: int, drop: float) -> dict[str, int]:
    """The turns of each winding that is named beside the stage's own."""
    window, sized = asked.output.window, dict[str, int]()
    for feed in asked.feeds:
        low, high = (float(end) for end in feed.volts_v)
        most, fewest = low * (1 - drop) * rest / float(window.low), high * rest / float(window.high)
        sized[feed.winding] = max(round((most + fewest) / 2), 1)
    battery, supply = asked.battery, asked.coil_supply
    if battery is not None and battery.winding not in sized:
        wanted = float((battery.cyclic_v or battery.float_v)[1] + battery.drop_v)
        sized[battery.winding] = ceil(wanted / sqrt(2) / least)
    if supply is not None and supply.winding not in sized:
        coil = float(asked.fit.coil_v) if asked.fit is not None and asked.fit.coil_v is not None else 0.0
        wanted = coil * float(supply.pick_up_pct) / 100 * PULL_IN
        peak = (wanted + float(supply.drop_v)) / sqrt(2) if supply.rectified else wanted
        sized[supply.winding] = max(ceil(peak / least), 1)
    return sized
