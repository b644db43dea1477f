"""From a mains range to plans: every wiring searched, the plans that meet the request, and why none does."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.exact import Span
from tapplan.study.arrangements import wirings
from tapplan.study.plans import Plan, best_plan
from tapplan.study.request import PlanBound, Request, bound, narrowed, widened
from tapplan.study.search import NEAR, Stop, search
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring

TRIES = 6  # halvings of a relaxation
RELAXING_BOXES = 150_000  # what a relaxation may look at for each wiring
BOXES = 1_500_000  # what a wiring may take unless the search is to go to the end; its best is then not proven


@dataclass(frozen=True, slots=True)
class Relaxation:
    """A change to a request that makes it possible: of which key, from what to what; the least one found."""

    key: str
    now: str
    then: str


@dataclass(frozen=True, slots=True)
class How:
    """How to search: when to stop, whom to tell how far it is, whether every wiring is searched to its end.

    Without `relaxing` an impossible request is not told its ways out.
    """

    stop: Stop = lambda: False
    watch: Callable[[int, int], None] = lambda done, of: None
    to_the_end: bool = False
    relaxing: bool = True


@dataclass(frozen=True, slots=True)
class Fitted:
    """The answer to a request: the bound, the plans that meet it best first, and where there are none the nearest.

    `nearest` is the plan with the most room among those that serve the range at all, though not enough of it.
    `finished`: every wiring was searched to the end; `boxes` were looked at.
    """

    request: Request
    bound: PlanBound | None
    plans: tuple[Plan, ...]
    nearest: Plan | None
    relaxations: tuple[Relaxation, ...]
    finished: bool
    boxes: int


def fitted(request: Request, how: How | None = None) -> Fitted:
    """Every arrangement's best plans for a request, and those no other beats; fewest relays first.

    When told to stop the best so far is kept, marked as not proven.
    """
    how = how or How()
    least = bound(request)
    offered = [] if least is None or least.ratios == 1 else _enough_ratios(wirings(_lawful(request)), least)
    best = _best_of_each(request, offered, how)
    boxes = best.boxes
    finished = not how.stop()
    good = [plan for plan in best.plans.values() if request.enough(plan.room)]
    if good or not finished or (least is not None and least.ratios == 1):
        ranked = sorted(good, key=lambda plan: (plan.relays, *plan.cost(request.objective)))
        return Fitted(request, least, tuple(front(ranked)), None, (), finished, boxes)
    if not how.relaxing:
        return Fitted(request, least, (), None, (), finished, boxes)
    nearest = None if least is None else _nearest(request, wirings(_lawful(request)))
    return Fitted(request, least, (), nearest, tuple(_relaxed(request, nearest)), finished, boxes)


def _lawful(request: Request) -> Request:
    """With single moves wanted, only arrangements whose every step is one relay.

    Independent two-way selectors that use more ratios than a chain has always move two relays somewhere: in rising
    order the first selector alone is followed by the second alone (own derivation).
    """
    if not request.single_moves:
        return request
    chains = tuple(name for name in request.arrangements if name in ("line-chain", "output-chain"))
    return replace(request, arrangements=chains)


def _enough_ratios(offered: Iterable[Wiring], least: PlanBound) -> list[Wiring]:
    """Those wirings that can give as many ratios as any plan needs."""
    return [one for one in offered if len({None if rows.direct else rows for rows in one.states}) >= least.ratios]


@dataclass(frozen=True, slots=True)
class PlanKind:
    """Plans alike in arrangement, relays, and points brought out."""

    arrangement: str
    relays: int
    points: int


@dataclass(frozen=True, slots=True)
class _Best:
    """The best plan of each kind, and how many boxes were looked at for them."""

    plans: dict[PlanKind, Plan]
    boxes: int


def _best_of_each(request: Request, offered: list[Wiring], how: How) -> _Best:
    """The best plan of every arrangement with as many relays and taps."""
    best: dict[PlanKind, Plan] = {}
    boxes = 0
    for number, wiring in enumerate(offered):
        how.watch(number, len(offered))
        kind = PlanKind(wiring.arrangement, len(wiring.relays), wiring.points)
        most = float("inf") if how.to_the_end else BOXES
        found = search(Task(request, wiring, _score_to_reach(request, best.get(kind)), most_boxes=most), how.stop)
        boxes += found.boxes
        plan = best_plan(request, wiring, found.points, found.proven)
        if plan is not None and (
            kind not in best or plan.cost(request.objective) < best[kind].cost(request.objective)
        ):
            best[kind] = plan
        if how.stop():
            best = {kind: replace(plan, proven=False) for kind, plan in best.items()}
            break
    how.watch(len(offered), len(offered))
    return _Best(best, boxes)


def _score_to_reach(request: Request, best: Plan | None) -> float:
    """The least score worth finding: enough room, or as good as the best so far."""
    if request.objective in ("room", "moves"):
        room = request.needed if best is None or best.room is None else max(best.room, request.needed)
        return float(room) - NEAR
    if best is None or request.objective == "deviation":
        return -float("inf")  # a bound on the deviation is no deviation reached
    return -float(best.transformed) - NEAR


def front(plans: list[Plan]) -> list[Plan]:
    """The plans that no other beats in relays, taps, room, deviation and transformed power at once, in order."""

    def costs(plan: Plan) -> tuple[Fraction, ...]:
        room = Fraction(10**9) if plan.room is None else plan.room
        return Fraction(plan.relays), Fraction(plan.points), -room, plan.deviation, plan.transformed

    def beaten(plan: Plan) -> bool:
        own = costs(plan)
        others = [costs(other) for other in plans]
        return any(other != own and all(a <= b for a, b in zip(other, own, strict=True)) for other in others)

    different = {(plan.arrangement, plan.relays, plan.taps, plan.sections, plan.ratios): plan for plan in plans[::-1]}
    return [plan for plan in plans if plan in different.values() and not beaten(plan)]


def _nearest(request: Request, offered: list[Wiring]) -> Plan | None:
    """The plan with the most room of all, though it is not enough, among wirings of the most relays."""
    wanted = replace(request, objective="room")
    most = max((len(one.relays) for one in offered), default=0)
    best: Plan | None = None
    for wiring in offered:
        if len(wiring.relays) == most:
            least = -float("inf") if best is None or best.room is None else float(best.room)
            found = search(Task(wanted, wiring, least, any_room=True, most_boxes=RELAXING_BOXES))
            plan = best_plan(wanted, wiring, found.points, proven=False)
            if plan is not None and (best is None or plan.cost("room") < best.cost("room")):
                best = plan
    return best


def _possible(request: Request) -> bool:
    """Whether a plan is found at little expense; those with many ratios first."""
    least = bound(request)
    if least is None:
        return False
    if least.ratios == 1:
        return True
    offered = sorted(_enough_ratios(wirings(_lawful(request)), least), key=lambda one: -len(one.states))
    for wiring in offered:
        need = float(request.needed)
        task = Task(replace(request, objective="room"), wiring, need - NEAR, enough=need, most_boxes=RELAXING_BOXES)
        plan = best_plan(task.request, wiring, search(task).points, proven=False)
        if plan is not None and request.enough(plan.room):
            return True
    return False


def _relaxed(request: Request, nearest: Plan | None) -> Iterator[Relaxation]:
    """One of each kind that does: a wider window, a narrower range, less hysteresis, more relays; each worked out."""
    wider = _least(lambda share: _possible(widened(request, share)))
    if wider is not None:
        window = _outward(widened(request, wider).window)
        yield Relaxation("output.window_v", _span(request.window), _span(window))
    narrower = _least(lambda share: _possible(narrowed(request, share)))
    if narrower is not None:
        mains = _inward(narrowed(request, narrower).mains)
        yield Relaxation("mains.range_v", _span(request.mains), _span(mains))
    room = None if nearest is None else nearest.room
    if room is not None and 2 * request.noise < room < request.needed:
        left = Fraction((room - request.noise) * 100 // 1, 100)
        yield Relaxation("sensing.hysteresis_v", f"{float(request.hysteresis):g}", f"{float(left):g}")
    more = request.relays_max + 1
    if request.relays_exactly is None and _possible(replace(request, relays_max=more)):
        yield Relaxation("fit.relays_max", f"{request.relays_max}", f"{more}")


def _least(possible: Callable[[Fraction], bool]) -> Fraction | None:
    """The least share up to a half that makes a request possible, by halving, on the side that does."""
    low, high = Fraction(0), Fraction(1, 2)
    if not possible(high):
        return None
    for _ in range(TRIES):
        middle = (low + high) / 2
        low, high = (low, middle) if possible(middle) else (middle, high)
    return high


def _outward(span: Span) -> Span:
    return Span(Fraction(span.low * 10 // 1, 10), Fraction(-(-span.high * 10 // 1), 10))


def _inward(span: Span) -> Span:
    return Span(Fraction(-(-span.low * 10 // 1), 10), Fraction(span.high * 10 // 1, 10))


def _span(span: Span) -> str:
    return f"[{float(span.low):g}, {float(span.high):g}]"
