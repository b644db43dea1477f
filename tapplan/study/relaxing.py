"""Why no plan meets a request: the nearest there is, and changes of the request that make it possible, each tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.exact import Span
from tapplan.study.arrangements import offers, wirings
from tapplan.study.engine import Effort, found_in
from tapplan.study.plans import Plan, best_plan
from tapplan.study.request import Request, bound, narrowed, widened
from tapplan.study.search import NEAR, Stop
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring, never

TRIES = 6  # halvings of a relaxation
LITTLE = Effort(programs=4000, boxes=150_000)  # what a relaxation may take for each wiring


@dataclass(frozen=True, slots=True)
class Relaxation:
    """A change to a request that makes it possible: of which key, from what to what; the least one found."""

    key: str
    now: str
    then: str


def nearest(request: Request, stop: Stop = never) -> Plan | None:
    """The plan with the most room of all, though it is not enough, among wirings of the most relays.

    When told to stop, among those searched by then.
    """
    wanted = replace(request, objective="room")
    best: Plan | None = None
    for wiring in _of_most_relays(request, stop):
        if stop():
            break
        least = -float("inf") if best is None or best.room is None else float(best.room)
        found = found_in(Task(wanted, wiring, least, any_room=True), replace(LITTLE, stop=stop))
        plan = best_plan(wanted, wiring, found.points)
        if plan is not None and (best is None or plan.cost("room") < best.cost("room")):
            best = plan
    return best


def _of_most_relays(request: Request, stop: Stop) -> list[Wiring]:
    """The wirings of the most relays that any has which gives two ratios; when told to stop, those found by then."""
    listed = wirings(request, stop)
    for relays in sorted({one.relays for one in listed}, reverse=True):
        found = [one for one in listed if one.relays == relays and not stop() and offers(one, 2)]
        if found:
            return found
    return []


def possible(request: Request, stop: Stop = never) -> bool:
    """Whether a plan is found at little expense, before it is told to stop; those with many ratios first."""
    least = bound(request)
    if least is None or stop():
        return False
    if least.ratios == 1:
        return True
    offered = [one for one in wirings(request, stop) if not stop() and offers(one, least.ratios)]
    offered.sort(key=lambda one: -len(one.states))
    for wiring in offered:
        need = float(request.needed)
        task = Task(replace(request, objective="room"), wiring, need - NEAR, enough=need)
        plan = best_plan(task.request, wiring, found_in(task, replace(LITTLE, stop=stop)).points)
        if plan is not None and request.enough(plan.room):
            return True
        if stop():
            break
    return False


def relaxed(request: Request, nearest: Plan | None, stop: Stop = never) -> Iterator[Relaxation]:
    """One of each kind that does: a wider window, a narrower range, less hysteresis, more relays; each worked out.

    When told to stop, those found by then; what they change may not be the least that does.
    """
    wider = least_share(lambda share: possible(widened(request, share), stop))
    if wider is not None:
        window = outward(widened(request, wider).window)
        yield Relaxation("output.window_v", written(request.window), written(window))
    narrower = least_share(lambda share: possible(narrowed(request, share), stop))
    if narrower is not None:
        mains = inward(narrowed(request, narrower).mains)
        yield Relaxation("mains.range_v", written(request.mains), written(mains))
    room = None if nearest is None else nearest.room
    if room is not None and 2 * request.noise < room < request.needed:
        left = Fraction((room - request.noise) * 100 // 1, 100)
        yield Relaxation("sensing.hysteresis_v", f"{float(request.hysteresis):g}", f"{float(left):g}")
    more = request.relays_max + 1
    if request.relays_exactly is None and possible(replace(request, relays_max=more), stop):
        yield Relaxation("fit.relays_max", f"{request.relays_max}", f"{more}")


def least_share(possible: Callable[[Fraction], bool]) -> Fraction | None:
    """The least share up to a half that makes a request possible, by halving, on the side that does."""
    low, high = Fraction(0), Fraction(1, 2)
    if not possible(high):
        return None
    for _ in range(TRIES):
        middle = (low + high) / 2
        low, high = (low, middle) if possible(middle) else (middle, high)
    return high


def outward(span: Span) -> Span:
    """Ends at tenths of a volt, none inside the span."""
    return Span(Fraction(span.low * 10 // 1, 10), Fraction(-(-span.high * 10 // 1), 10))


def inward(span: Span) -> Span:
    """Ends at tenths of a volt, none outside the span."""
    return Span(Fraction(-(-span.low * 10 // 1), 10), Fraction(span.high * 10 // 1, 10))


def written(span: Span) -> str:
    """As a file has it."""
    return f"[{float(span.low):g}, {float(span.high):g}]"
