"""How fast faults are isolated, and thousands of closed loops: `python -m tests.benchmarks.repair [--loops N]`.

The alternative beside the dictionary is the network equations solved in complex numbers for every case.
"""

from __future__ import annotations

import sys
from random import Random
from time import perf_counter

from rich.console import Console
from rich.table import Table

from tapplan.bench.defects import HEALTHY, pulled
from tapplan.bench.dictionary import Dictionary, Setup
from tapplan.bench.isolation import Isolation, Reading
from tapplan.bench.plan import plan
from tapplan.bench.predictions import Bench
from tapplan.bench.tree import forks, tree
from tapplan.control.table import ControlTable, control_table
from tapplan.network.faults import closed_under, edited
from tapplan.network.flow import flows, stated_impedances
from tests.bench.loops import printed, run
from tests.bench.stages import table
from tests.examples import SHIPPED, two_sided_ladder


def dictionary(shown: Table, stage: ControlTable) -> None:
    """Six relays, every single fault in 60 conditions, and each of them solved on its own."""
    isolation = Isolation(stage)
    chosen = isolation.measures[:: max(len(isolation.measures) // 60, 1)][:60]
    began = perf_counter()
    made = Dictionary(Bench(stage), isolation.hypotheses, chosen, Setup())
    ours = perf_counter() - began
    count = len(made.hypotheses) * len(chosen)
    shown.add_row(f"dictionary, {len(made.hypotheses)} hypotheses x {len(chosen)} conditions", f"{ours:.2f} s", "1")
    sample, began = 200, perf_counter()
    random = Random(1)
    for _ in range(sample):
        hypothesis = random.choice(isolation.hypotheses)
        hits = [one.contact for one in hypothesis if one.contact is not None]
        circuit = stage.circuit
        for hit in hits:
            circuit = edited(circuit, hit) if hit.fault not in ("open", "shorted-turns") else circuit
        closed = closed_under(circuit, hits, pulled(hypothesis, frozenset(circuit.relays[:3])))
        flows(circuit, [closed], stated_impedances(stage.design, circuit))
    theirs = (perf_counter() - began) / sample * count
    shown.add_row(f"each solved on its own (from {sample})", f"{theirs:.1f} s", f"{theirs / ours:.0f}")


def steps(shown: Table, stage: ControlTable, name: str) -> None:
    """The next measurement, the tree, and pairs after three readings."""
    isolation = Isolation(stage)
    began = perf_counter()
    found = isolation.diagnosis()
    shown.add_row(f"{name}: first measurement, dictionary and all", f"{perf_counter() - began:.2f} s", "")
    if found.next is not None:
        isolation.add(Reading(found.next.entry.measure, found.next.leaves[0].readings[0].low))
        began = perf_counter()
        isolation.diagnosis()
        shown.add_row(f"{name}: next measurement", f"{perf_counter() - began:.3f} s", "")
    began = perf_counter()
    made = tree(isolation)
    told = f"mean {made.mean:.1f}, worst {made.worst}, {len(list(forks(made.root)))} steps"
    shown.add_row(f"{name}: whole tree", f"{perf_counter() - began:.2f} s", told)
    began = perf_counter()
    page = plan(Isolation(stage))
    told = f"{len(page.lines)} lines catch {page.lines[-1].caught:.1%}"
    shown.add_row(f"{name}: plan for a page, dictionary and all", f"{perf_counter() - began:.2f} s", told)


def pairs(shown: Table, stage: ControlTable, name: str) -> None:
    """Two faults at once: three readings of a healthy stage, and what is left."""
    began = perf_counter()
    isolation = Isolation(stage, Setup(two=True))
    for measure in isolation.measures[:3]:
        span = isolation.bench.predicted(HEALTHY, measure)[0]
        isolation.add(Reading(measure, span.low))
    shown.add_row(
        f"{name}: {len(isolation.hypotheses)} with pairs, 3 readings", f"{perf_counter() - began:.2f} s", ""
    )


def loops(count: int) -> None:
    """Closed loops against simulated boards: shipped designs, random ones, and with one reading replaced."""
    for told, wrong, drawn in (
        ("shipped", False, False),
        ("random", False, True),
        ("one wrong reading", True, False),
    ):
        print(f"\n{told}")
        printed(run(count, 1, wrong=wrong, drawn=drawn))


def main() -> None:
    """Measures and prints one table, or runs closed loops."""
    if "--loops" in sys.argv:
        loops(int(sys.argv[sys.argv.index("--loops") + 1]))
        return
    shown = Table("what", "measured", "ratio, or how much", title="isolating faults")
    dictionary(shown, control_table(two_sided_ladder(3)))
    for path in SHIPPED:
        steps(shown, table(path), path.stem)
    steps(shown, control_table(two_sided_ladder(4)), "eight relays")
    pairs(shown, control_table(two_sided_ladder(3)), "six relays")
    Console(width=110).print(shown)


if __name__ == "__main__":
    main()
