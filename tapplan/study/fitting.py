"""From a mains range to plans: every wiring searched, the plans that meet the request, and why none does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import inf

from tapplan.study.arrangements import ARRANGEMENTS, Considered, considered, offers, wirings
from tapplan.study.engine import Effort, found_in
from tapplan.study.plans import Plan, best_plan
from tapplan.study.relaxing import Relaxation, nearest, relaxed
from tapplan.study.request import PlanBound, Request, bound
from tapplan.study.search import NEAR, Found, Stop
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring

BOXES = 1_500_000  # what a wiring may take unless the search is to go to the end; its best is then not proven
PROGRAMS = 25_000  # the same, of linear programs
ALL_PROGRAMS = 60_000  # what all wirings of an arrangement together may take
MIXED_PROGRAMS = 8_000  # the same where there are many that differ little
FEW_PROGRAMS = 250  # what each wiring may take when those are spent


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: wirings done and in all, and the most room of any plan so far, with a bound on all."""

    done: int
    of: int
    best: float | None = None
    bound: float | None = None


@dataclass(frozen=True, slots=True)
class Searched:
    """A wiring searched, by its place among those offered: the best turns, and a score nothing left exceeds."""

    place: int
    values: tuple[int, ...] | None
    open_score: float


@dataclass(frozen=True, slots=True)
class How:
    """How to search: when to stop, whom to tell how far it is, whether every wiring is searched to its end.

    Without `relaxing` an impossible request is not told its ways out. `known` are wirings searched before; `keep` is
    told each one that is searched.
    """

    stop: Stop = lambda: False
    watch: Callable[[Progress], None] = lambda progress: None
    to_the_end: bool = False
    relaxing: bool = True
    known: Sequence[Searched] = ()
    keep: Callable[[Searched], None] = lambda searched: None


@dataclass(frozen=True, slots=True)
class Fitted:
    """The answer to a request: the bound, the plans that meet it best first, and where there are none the nearest.

    `nearest` is the plan with the most room among those that serve the range at all, though not enough of it.
    `finished`: no wiring was left out; `explained`: nor was a way out, where there is no plan. `boxes` were looked
    at, or linear programs solved. `considered` says which wirings were.
    """

    request: Request
    bound: PlanBound | None
    plans: tuple[Plan, ...]
    nearest: Plan | None
    relaxations: tuple[Relaxation, ...]
    finished: bool
    boxes: int
    considered: Considered
    explained: bool = True


def fitted(request: Request, how: How | None = None) -> Fitted:
    """Every arrangement's best plans for a request, and those no other beats; fewest relays first.

    When told to stop the best so far is kept, marked as not proven.
    """
    how = how or How()
    least = bound(request)
    listed, best = wirings(request, how.stop), _Best(request)
    finished = least is None or least.ratios == 1 or _search_all(best, listed, least.ratios, how)
    good = [plan for plan in best.proven_or_not() if request.enough(plan.room)]
    answer = Fitted(request, least, (), None, (), finished, best.work, considered(request, len(listed)))
    if good or not finished or (least is not None and least.ratios == 1):
        ranked = sorted(good, key=rank)
        return replace(answer, plans=tuple(front(ranked)))
    if not how.relaxing:
        return answer
    near = None if least is None else nearest(request, how.stop)
    ways = tuple(relaxed(request, near, how.stop))
    return replace(answer, nearest=near, relaxations=ways, explained=not how.stop())


def rank(plan: Plan) -> tuple[Fraction, ...]:
    """Fewest relays and poles first, then the best; of equals the plainer arrangement."""
    plainness = list(ARRANGEMENTS).index(plan.arrangement)
    return (Fraction(plan.relays), Fraction(plan.poles), *plan.cost(plan.request.objective), Fraction(plainness))


@dataclass(frozen=True, slots=True)
class PlanKind:
    """Plans alike in arrangement, relays, poles, and points brought out."""

    arrangement: str
    relays: int
    poles: int
    points: int


@dataclass
class _Best:
    """The best plan of each kind so far, the most that others of the kind could score, and the work done."""

    request: Request
    plans: dict[PlanKind, Plan] = field(default_factory=dict)
    open_scores: dict[PlanKind, float] = field(default_factory=dict)
    work: int = 0

    def of(self, wiring: Wiring) -> Plan | None:
        """The best plan of a wiring's kind."""
        return self.plans.get(kind_of(wiring))

    def take(self, wiring: Wiring, found: Found) -> None:
        """What was found in a wiring."""
        kind = kind_of(wiring)
        self.work += found.boxes + found.programs
        self.open_scores[kind] = max(self.open_scores.get(kind, -inf), found.open_score)
        plan = best_plan(self.request, wiring, found.points)
        objective = self.request.objective
        if plan is not None and (kind not in self.plans or plan.cost(objective) < self.plans[kind].cost(objective)):
            self.plans[kind] = plan

    def left_out(self, wirings: Sequence[Wiring]) -> None:
        """Wirings that were not searched: of their kinds anything could be better."""
        for wiring in wirings:
            self.open_scores[kind_of(wiring)] = inf

    def proven_or_not(self) -> list[Plan]:
        """The best plans, each with the score that another of its kind could have."""
        return [_with_bound(plan, self.open_scores[kind]) for kind, plan in self.plans.items()]

    def progress(self, done: int, of: int) -> Progress:
        """How far the search is; rooms only where room is the objective."""
        rooms = [float(plan.room) for plan in self.plans.values() if plan.room is not None]
        if self.request.objective != "room" or not rooms:
            return Progress(done, of)
        open_room = max(self.open_scores.values(), default=-inf)
        return Progress(done, of, max(rooms), max(open_room, *rooms) if open_room < inf else None)


def kind_of(wiring: Wiring) -> PlanKind:
    """Of which kind the plans of a wiring are."""
    return PlanKind(wiring.arrangement, wiring.relays, len(wiring.poles), wiring.points)


def _with_bound(plan: Plan, open_score: float) -> Plan:
    reached = plan.score
    return replace(plan, open_score=open_score if open_score > reached + NEAR else -inf)


def _search_all(best: _Best, listed: list[Wiring], ratios: int, how: How) -> bool:
    """Every wiring with enough ratios searched, those known already taken as they are; whether none was left out."""
    known = {one.place: one for one in how.known}
    left = dict.fromkeys((one.arrangement for one in listed), ALL_PROGRAMS) | {"mixed": MIXED_PROGRAMS}
    place = -1
    for number, one in enumerate(listed):
        how.watch(best.progress(number, len(listed)))
        if how.stop() and place + 1 not in known:
            best.left_out(listed[number:])
            return False
        wiring = replace(one)  # whose states, very many with many relays, are forgotten with it
        if not offers(wiring, ratios):
            continue
        place += 1
        if place in known and (known[place].open_score == -inf or not how.to_the_end):
            before = known[place]
            best.take(wiring, Found(() if before.values is None else (before.values,), before.open_score, 0))
            continue
        found = found_in(_task(best, wiring), _effort(left[wiring.arrangement], how))
        best.take(wiring, found)
        left[wiring.arrangement] -= found.programs
        if not how.stop():
            how.keep(_searched(best.request, place, wiring, found))
    how.watch(best.progress(len(listed), len(listed)))
    return not how.stop()


def _effort(left: int, how: How) -> Effort:
    if how.to_the_end:
        return Effort(stop=how.stop)
    return Effort(max(min(PROGRAMS, left), FEW_PROGRAMS), BOXES, how.stop)


def _searched(request: Request, place: int, wiring: Wiring, found: Found) -> Searched:
    plan = best_plan(request, wiring, found.points)
    return Searched(place, None if plan is None else plan.values, found.open_score)


def _task(best: _Best, wiring: Wiring) -> Task:
    """The wiring with the least score worth finding: enough room, or as good as the best of its kind so far."""
    request, plan = best.request, best.of(wiring)
    if request.objective in ("room", "moves"):
        room = request.needed if plan is None or plan.room is None else max(plan.room, request.needed)
        return Task(request, wiring, float(room) - NEAR)
    if plan is None or request.objective == "deviation":
        return Task(request, wiring, -inf)  # a bound on the deviation is no deviation reached
    return Task(request, wiring, -float(plan.transformed) - NEAR)


def front(plans: list[Plan]) -> list[Plan]:
    """The plans that no other beats in relays, poles, taps, room, deviation and transformed power at once."""

    def costs(plan: Plan) -> tuple[Fraction, ...]:
        room = Fraction(10**9) if plan.room is None else plan.room
        sizes = (Fraction(plan.relays), Fraction(plan.poles), Fraction(plan.points))
        return (*sizes, -room, plan.deviation, plan.transformed)

    def beaten(plan: Plan) -> bool:
        own = costs(plan)
        others = [costs(other) for other in plans]
        return any(other != own and all(a <= b for a, b in zip(other, own, strict=True)) for other in others)

    different = {(plan.relays, plan.poles, plan.points, plan.ratios): plan for plan in plans[::-1]}
    return [plan for plan in plans if plan in different.values() and not beaten(plan)]
