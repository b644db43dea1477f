"""The answer to a request: its ratios alone, or plans wound on a core, the smallest that carries the load."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.rules import PROMISES, findings_in
from tapplan.design.limb import gross_mm2, mean_turn_mm, window_mm2
from tapplan.design.materials import LAMINATIONS, Lamination
from tapplan.design.model import STACK_RATIO, Core, Design, Fit
from tapplan.design.sense.service import ANY_CORE
from tapplan.study.fitting import How, fitted
from tapplan.study.loaded import BuiltPlan, LoadedFit, Refused, core_name, on_core
from tapplan.study.plans import Plan
from tapplan.study.request import InletWeight, Request, Sag, request_of
from tapplan.study.written import designed

HOPELESS = 0.3  # of the power through the core: cores that by the rule of thumb carry less are not tried
# Square centimetres for the root of a watt: "Calculation of an auto transformer" (public, scribd 297259131).
THUMB_CM2 = 1.3
CROWDED = 1.2  # times what the window takes
USUAL_SAG = Sag(Fraction(3, 100), Fraction(2, 1000))  # for which kinds of plans are tried on all cores
STACK_STEP = 5  # mm
LITTLE = 0.02  # by what share a larger core must be better in something
LARGER = (1.25, 1.6, 2.0)  # times the iron of the smallest core that will do: what else is offered


def to_be_built(design: Design, fit: Fit) -> bool:
    """Whether a request says enough of core and load for plans to be wound."""
    core = design.core
    if design.output.load_va is None or core is None or fit.taps:
        return False
    return bool(fit.cores) or mean_turn_mm(core) is not None


def answered(asked: Design, fit: Fit, weights: tuple[InletWeight, ...], how: How | None = None) -> LoadedFit:
    """The plans of a request, wound where it says enough of core and load; their ratios alone where it does not."""
    how = how or How()
    if to_be_built(asked, fit):
        return fitted_loaded(replace(asked, fit=fit), fit, weights, how)
    request = request_of(asked, fit, weights)
    found = fitted(request, how)
    if asked.sensing.at == "input":
        return LoadedFit(found, (), ())
    well = [one for one in found.plans if not how.stop() and _reads_well(replace(asked, fit=fit), request, one)]
    return LoadedFit(replace(found, plans=tuple(well), finished=found.finished and not how.stop()), (), ())


def _reads_well(asked: Design, request: Request, plan: Plan) -> bool:
    """Whether a plan that is read elsewhere than at the input keeps every promise, with the thresholds placed."""
    found = findings_in(review(designed(asked, request, plan)), PROMISES)
    return not any(one.severity is Severity.FAULT for one in found)


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
        chosen = smallest_core(asked, sizes, alike, how)
        refused = list(chosen.refused)
        if chosen.core is not None:
            found = on_core(replace(asked, core=chosen.core), fit, weights, how)
            found = replace(found, refused=(*refused, *found.refused))
            return _with_larger(found, asked, _larger(sizes, chosen.core), alike, how)
        if how.stop():
            break
    nothing = fitted(request_of(replace(asked, core=sizes[-1]), fit, weights), replace(how, relaxing=False))
    if how.stop():
        stopped = Refused("the cores not tried", "the search was stopped before one was found that carries the load")
        return LoadedFit(replace(nothing, plans=(), finished=False), (), (*refused, stopped))
    largest = Refused(core_name(replace(asked, core=sizes[-1])), "not even the largest core carries the load")
    return LoadedFit(replace(nothing, plans=()), (), (*refused, largest))


def _larger(sizes: list[Core], least: Core) -> list[Core]:
    """A few cores with more iron than the smallest that will do, each a step larger."""
    after = sizes[sizes.index(least) + 1 :]
    steps = [next((one for one in after if _iron(one) >= share * _iron(least)), None) for share in LARGER]
    return list(dict.fromkeys(one for one in steps if one is not None))


def _iron(core: Core) -> float:
    """The volume of iron, as cores are ordered by, in mm3."""
    sheets = (one.sheet_mm2 for one in LAMINATIONS if one.key == core.lamination)
    return float(next(sheets, Fraction(0)) * (core.stack_mm or 0))


def _with_larger(found: LoadedFit, asked: Design, larger: list[Core], fit: Fit, how: How) -> LoadedFit:
    """The same with plans on larger cores that leave more room, or cost or lose less, by more than a little."""
    built = list(found.built)
    for core in larger:
        if how.stop():
            break
        built += [one for one in on_core(replace(asked, core=core), fit, (), how).built if _worth(one, built)]
    plans, finished = tuple(one.plan for one in built), found.fitted.finished and not how.stop()
    return replace(found, fitted=replace(found.fitted, plans=plans, finished=finished), built=tuple(built))


def _worth(one: BuiltPlan, built: list[BuiltPlan]) -> bool:
    """Whether no plan on a smaller core, with as few relays, has about as much room at about its cost and loss."""

    def as_good(other: BuiltPlan) -> bool:
        room, cost, loss = (_or_nothing(each) for each in (one.plan.room, one.price, one.loss_w))
        return (
            other.plan.relays <= one.plan.relays
            and _or_nothing(other.plan.room) >= room * (1 - LITTLE)
            and _or_nothing(other.price) <= cost * (1 + LITTLE)
            and _or_nothing(other.loss_w) <= loss * (1 + LITTLE)
        )

    return not any(map(as_good, built))


def _or_nothing(amount: Fraction | float | None) -> float:
    return 0.0 if amount is None else float(amount)


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
class SmallestCore:
    """The smallest core that carries a load, None where none does, and those that do not."""

    core: Core | None
    refused: tuple[Refused, ...]


def smallest_core(asked: Design, sizes: list[Core], fit: Fit, how: How) -> SmallestCore:
    """By halving, then, for windows differ, by trying every smaller one that by its window could hold the copper."""
    refused: list[Refused] = []
    best, crowding = -1, 0.0
    tried: set[int] = set()

    def does(place: int) -> bool:
        """Tries one core."""
        nonlocal best, crowding
        tried.add(place)
        found = on_core(replace(asked, core=sizes[place]), fit, (), how)
        refused.extend(found.refused)
        if found.built:
            best, crowding = place, min(one.crowding for one in found.built)
        return bool(found.built)

    low, high = 0, len(sizes) - 1
    while low <= high and not how.stop():
        middle = (low + high) // 2
        low, high = (low, middle - 1) if does(middle) else (middle + 1, high)
    for place in range(best):
        if place in tried or how.stop() or _crowded(sizes[place], sizes[best], crowding):
            continue
        if does(place):
            break
    return SmallestCore(None if best < 0 else sizes[best], tuple(refused))


def _crowded(core: Core, known: Core, crowding: float) -> bool:
    """Whether the copper that fills so much of a known core's window is surely too much for another's.

    The turns go as one over the area of iron, the wire is the same.
    """
    return crowding * _iron_and_window(known) / _iron_and_window(core) > CROWDED


def _iron_and_window(core: Core) -> float:
    """The product of the areas of iron and window, in mm4."""
    return float((gross_mm2(core) or 1) * (window_mm2(core) or 1))


def thumb_va(area_mm2: float) -> float:
    """What a core of so much gross area carries by the rule of thumb: (area in cm2 / 1.3)^2 VA."""
    return (area_mm2 / 100 / THUMB_CM2) ** 2


def core_sizes(asked: Design, fit: Fit) -> list[Core]:
    """The cores to choose from, by the volume of their iron; the one stated where there is no choice."""
    if asked.core is None:
        return []
    if not fit.cores:
        return [asked.core]
    plates = [one for one in LAMINATIONS if fit.cores == (ANY_CORE,) or one.key in fit.cores]
    sized = [(plate, stack) for plate in plates for stack in _stacks(plate, fit)]
    hopeless = HOPELESS * _transformed_va(asked)
    sized = [one for one in sized if thumb_va(float(one[0].leg_mm * one[1])) >= hopeless]
    sized.sort(key=lambda one: (one[0].sheet_mm2 * one[1], one[0].key))
    core = replace(
        asked.core,
        area_mm2=None,
        window_mm2=None,
        window_mm=None,
        leg_mm=None,
        mean_turn_mm=None,
        path_mm=None,
        mass_kg=None,
    )
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
