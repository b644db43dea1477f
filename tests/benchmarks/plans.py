"""How fast turns are chosen, and how that grows; CP-SAT beside it: `python -m tests.benchmarks.plans`.

With `--agree N`, N random requests for each arrangement are put to both, and every optimum must be the same.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from fractions import Fraction
from math import floor
from random import Random
from time import perf_counter

from rich.console import Console
from rich.table import Table

from tapplan.exact import Span
from tapplan.study.fitting import How, fitted
from tapplan.study.free import examined
from tapplan.study.plans import best_plan
from tapplan.study.request import Request
from tapplan.study.search import search
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring
from tests.engines.cp_sat import possible
from tests.engines.test_cp_sat import ARRANGEMENTS, agrees, case
from tests.study.requests import asked, offered

F = Fraction
PATIENCE = 120  # seconds for each answer of CP-SAT
MOST_BOXES = 8_000_000
CLASSIC = asked((145, 285), (198, 242), hysteresis=F(3), turns=Span(F(200), F(1000)), relays_max=2)


def timed(request: Request, wiring: Wiring) -> tuple[float, int, Fraction | None]:
    """Seconds, boxes and the most room of one wiring, proven unless that takes too many boxes."""
    began = perf_counter()
    found = search(Task(request, wiring, float(request.needed), most_boxes=MOST_BOXES))
    plan = best_plan(request, wiring, found.points)
    return perf_counter() - began, found.boxes, None if plan is None else plan.room


def classic(table: Table) -> None:
    """Two relays on both sides, beside CP-SAT."""
    request = replace(CLASSIC, arrangements=("both-sides",))
    began = perf_counter()
    plans = fitted(request, How(to_the_end=True)).plans
    ours = perf_counter() - began
    table.add_row(f"both sides, every tie, {len(plans)} plans proven", f"{ours:.2f} s", "")
    wiring = next(one for one in offered("both-sides", 2) if one.unknowns == 4)
    for top in (60, 120, 250, 500, 1000):
        sized = replace(request, turns=Span(F(200 if top > 200 else 2), F(top)), hysteresis=F(0))
        seconds, _, room = timed(sized, wiring)
        theirs, verdict = _second_opinion(sized, wiring, room or F(0))
        table.add_row(f"four taps, to {top} turns: optimum and proof", f"{seconds:.2f} s", "1")
        table.add_row(f"CP-SAT, told the optimum: {verdict}", f"{theirs:.1f} s", f"{theirs / seconds:.0f}")


def _second_opinion(request: Request, wiring: Wiring, room: Fraction) -> tuple[float, str]:
    """Seconds CP-SAT takes to see that the room, to the millivolt, is possible and a millivolt more is not."""
    below = F(floor(room * 1000), 1000)
    began = perf_counter()
    try:
        same = possible(request, wiring, below, PATIENCE) is not None
        proven = possible(request, wiring, below + F(1, 1000), PATIENCE) is None
        verdict = "agrees" if same and proven else "DIFFERS"
    except RuntimeError as error:
        verdict = str(error)
    return perf_counter() - began, verdict


def growth(table: Table) -> None:
    """With turns, taps and relays."""
    for top in (250, 500, 1000, 2000, 4000):
        request = replace(CLASSIC, turns=Span(F(200), F(top)))
        wiring = next(one for one in offered("both-sides", 2) if one.unknowns == 4)
        seconds, boxes, _ = timed(request, wiring)
        table.add_row(f"both sides, four taps, to {top} turns", f"{seconds:.2f} s", _amount(boxes))
    for relays in (2, 3, 4):
        request = replace(CLASSIC, mains=Span(F(165), F(270)))
        wiring = next(one for one in offered("line-chain", relays) if one.unknowns == relays + 2)
        seconds, boxes, _ = timed(request, wiring)
        table.add_row(f"chain of {relays} relays, {relays + 2} taps", f"{seconds:.2f} s", _amount(boxes))
    for relays in (1, 2, 3):
        wiring = next(one for one in offered("add-in", relays) if one.unknowns == relays + 2)
        request = replace(CLASSIC, mains=Span(F(190), F(240)) if relays == 1 else Span(F(150), F(285)))
        seconds, boxes, _ = timed(request, wiring)
        table.add_row(f"{relays} sections added or skipped", f"{seconds:.2f} s", _amount(boxes))


def _amount(boxes: int) -> str:
    return f"{boxes:,} boxes" if boxes < MOST_BOXES else f"not proven in {boxes:,} boxes"


def free(table: Table) -> None:
    """Every wiring of two and three relays on five taps."""
    for relays in (2, 3):
        began = perf_counter()
        found = examined.__wrapped__(relays)
        seconds = perf_counter() - began
        named = f"free wiring, {relays} relays: {found.wirings:,} wirings, {len(found.kept)} kept"
        table.add_row(named, f"{seconds:.2f} s", f"{found.states / seconds / 1e6:.0f} M states/s")


def agreement(count: int) -> None:
    """Both optimisers on random requests; raises where they differ."""
    for arrangement in ARRANGEMENTS:
        random = Random(f"{arrangement} whole")
        found = [agrees(*case(arrangement, random)) for _ in range(count)]
        print(f"{arrangement}: {count} requests, the same answer; {sum(found)} have a plan")


def orders(table: Table) -> None:
    """The most room by orders of ratios, with proof unless it says so; boxes beside it where they end."""
    coast = replace(CLASSIC, noise=F(1), turns=Span(F(200), F(500)))
    jobs = (("both-sides", 3), ("both-sides", 4), ("both-sides", 5), ("add-in", 3), ("add-in", 4), ("trees", 3))
    for name, relays in jobs:
        request = replace(coast, arrangements=(name,), relays_max=relays, relays_exactly=relays, two_pole_max=2)
        began = perf_counter()
        plans = fitted(request, How(to_the_end=True)).plans
        seconds = perf_counter() - began
        best = max(plans, key=lambda plan: plan.room or 0)
        table.add_row(f"{name}, {relays} relays, every tie: {float(best.room or 0):.3f} V", f"{seconds:.2f} s", "")
        if (name, relays) == ("add-in", 3):
            boxes, _, _ = timed(request, best.wiring)
            table.add_row("its best wiring by boxes", f"{boxes:.2f} s", f"{boxes / seconds:.1f}")
    six = replace(coast, arrangements=("both-sides",), relays_max=6, relays_exactly=6)
    began = perf_counter()
    best = max(fitted(six).plans, key=lambda plan: plan.room or 0)
    gap = 0.0 if best.proven else best.open_score / best.score - 1
    seconds = perf_counter() - began
    table.add_row(f"both-sides, 6 relays: {float(best.room or 0):.3f} V, gap {gap:.1%}", f"{seconds:.2f} s", "")


def main() -> None:
    """Measures and prints one table, or the agreement."""
    if "--agree" in sys.argv:
        agreement(int(sys.argv[sys.argv.index("--agree") + 1]))
        return
    for measure in (orders, classic, growth, free):
        table = Table("what", "measured", "ratio, or how much", title=(measure.__doc__ or "").strip())
        measure(table)
        Console(width=110).print(table)


if __name__ == "__main__":
    main()
