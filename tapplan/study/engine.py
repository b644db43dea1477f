"""One wiring searched: by the orders of its ratios where it has a structure to lean on, else box by box.

For room the orders decide, with proof. For another objective turns that leave enough room are bettered step by step;
boxes, or a bound on any ladder, say how much better others could be.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from tapplan.study.leastoff import least_deviation
from tapplan.study.nearby import improved
from tapplan.study.plans import Plan, plan_of
from tapplan.study.roomsearch import RoomSearch, Structure, structure_of
from tapplan.study.search import NEAR, Found, Stop, search
from tapplan.study.task import Task

STARTS = 4  # plans of growing room from which others are looked for
START_PROGRAMS = 3000
TIE_BOXES = 80_000
BETTERED_BOXES = 200_000
MOST_CHOICES = 300_000
SMALL = 4  # unknowns that boxes can settle


@dataclass(frozen=True, slots=True)
class Effort:
    """How much one wiring may take: linear programs where orders are searched, boxes elsewhere; and when to stop."""

    programs: float = inf
    boxes: float = inf
    stop: Stop = lambda: False


def found_in(task: Task, effort: Effort) -> Found:
    """The best turns of a wiring."""
    structure = structure_of(task.request, task.wiring)
    if structure is None or _few_choices(task):
        return _boxed(task, effort)
    if task.any_room or task.request.objective in ("room", "moves"):
        return _roomiest(task, structure, effort)
    if task.request.fixed_taps:
        return _boxed(task, effort)
    return _bettered(task, structure, effort)


def _few_choices(task: Task) -> bool:
    """Whether every choice from the taps of a winding that exists is soon tried."""
    taps = len(task.request.fixed_taps)
    return 0 < taps**task.wiring.unknowns <= MOST_CHOICES if taps else False


def _boxed(task: Task, effort: Effort) -> Found:
    return search(task.limited(effort.boxes), effort.stop)


def _roomiest(task: Task, structure: Structure, effort: Effort) -> Found:
    """The most room, and with few unknowns everything that leaves as much."""
    least = max(task.least, 0.0)  # neighbours that do not meet are no plan near to any
    run = RoomSearch(task.request, task.wiring, structure, least, effort.stop, enough=task.enough)
    found = run.run(effort.programs)
    if not found.plans:
        return Found((), found.open_room, 0, found.programs)
    best = found.plans[-1]
    if task.wiring.unknowns > SMALL or task.any_room or task.enough < inf:
        return Found((best.values,), found.open_room, 0, found.programs)
    same = search(task.with_least(_room(best) - NEAR).limited(TIE_BOXES), effort.stop)
    points = tuple(dict.fromkeys((best.values, *same.points)))
    return Found(points, found.open_room, same.boxes, found.programs)


def _room(plan: Plan) -> float:
    return inf if plan.room is None else float(plan.room)


def _bettered(task: Task, structure: Structure, effort: Effort) -> Found:
    """The best of another objective, begun at plans that leave enough room."""
    request = task.request
    start = RoomSearch(request, task.wiring, structure, float(request.needed) - NEAR, effort.stop)
    found = start.run(min(START_PROGRAMS, effort.programs))
    values = improved(task, [plan.values for plan in found.plans[-STARTS:]], effort.stop)
    if values is None:
        return Found((), inf if found.open_room > -inf else -inf, 0, found.programs)
    plan = plan_of(request, task.wiring, values)
    if plan is None:
        return _boxed(task, effort)
    bound = _best_score(task)
    reached = -float(plan.cost(request.objective)[0])
    if task.wiring.unknowns > SMALL:
        return Found((values,), bound if bound > reached + NEAR else -inf, 0, found.programs)
    boxed = search(task.with_least(reached - NEAR).limited(min(BETTERED_BOXES, effort.boxes)), effort.stop)
    points = tuple(dict.fromkeys((values, *boxed.points)))
    left = min(boxed.open_score, bound)
    return Found(points, left if left > reached + NEAR else -inf, boxed.boxes, found.programs)


def _best_score(task: Task) -> float:
    """A score that no plan of the wiring exceeds."""
    request = task.request
    if request.objective == "deviation":
        return -least_deviation(request, len(task.wiring.states))
    first, last = float(request.first_least), float(request.last_most)
    return -max(0.0, 1 - 1 / first, 1 - last)
