"""How fast, side by side with the alternative, as ratios: `python -m tests.benchmarks`.

Nothing here is asserted; figures belong to the machine they were measured on. Times are the best of several.
"""

from __future__ import annotations

import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from time import perf_counter

import networkx as nx
from rich.console import Console
from rich.table import Table

from tapplan.checks.margins import growths, margins, sharings
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.checks.samples import samples
from tapplan.design.file import load
from tapplan.design.model import Design, Sensing
from tapplan.network.bulk import solve_all
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import each_state, energised_of, grouped_states, state_of
from tests.examples import SHIPPED, add_in, chain, two_sided_ladder


def best(action: Callable[[], object], times: int = 3) -> float:
    """Seconds of the quickest run."""
    taken = []
    for _ in range(times):
        start = perf_counter()
        action()
        taken.append(perf_counter() - start)
    return min(taken)


def by_graph(circuit: Circuit, energised: tuple[str, ...]) -> float | None:
    """The plain alternative: a networkx graph a state, turns summed along a search from neutral."""
    graph = nx.Graph()
    for section in circuit.sections:
        graph.add_edge(section.start, section.finish, turns=section.turns, start=section.start)
    for number in circuit.state(energised):
        contact = circuit.contacts[number]
        graph.add_edge(contact.com, contact.end, turns=0, start=contact.com)
    turns = {circuit.neutral: 0}
    for low, high in nx.bfs_edges(graph, circuit.neutral):
        edge = graph[low][high]
        turns[high] = turns[low] + (edge["turns"] if edge["start"] == low else -edge["turns"])
    if circuit.line not in turns or circuit.output not in turns:
        return None
    return turns[circuit.output] / turns[circuit.line]


def states_in_bulk(table: Table) -> None:
    circuit = circuit_of(add_in(16))
    sample = [energised_of(circuit, number) for number in range(0, 2**16, 257)]
    graph_rate = len(sample) / best(lambda: [by_graph(circuit, one) for one in sample])
    exact_rate = len(sample) / best(lambda: [state_of(circuit, one) for one in sample])
    bulk_rate = 2**16 / best(lambda: solve_all(circuit).kinds_and_ratios())
    table.add_row("2^16 states, networkx graph a state", f"{graph_rate:,.0f} states/s", "1")
    table.add_row(
        "the same, exact solver one by one", f"{exact_rate:,.0f} states/s", f"{exact_rate / graph_rate:.1f}"
    )
    table.add_row("the same, in bulk", f"{bulk_rate:,.0f} states/s", f"{bulk_rate / graph_rate:,.0f}")
    large = circuit_of(add_in(20))
    seconds = best(lambda: solve_all(large).kinds_and_ratios())
    tracemalloc.start()
    solve_all(large).kinds_and_ratios()
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    told = f"{2**20 / seconds:,.0f} states/s, peak {peak:.0f} MiB"
    table.add_row("2^20 states in bulk", told, f"{2**20 / seconds / graph_rate:,.0f}")


def circuits_in_groups(table: Table) -> None:
    for name, circuit in (
        ("40-relay chain", circuit_of(chain(40))),
        ("24-relay two-sided ladder", circuit_of(two_sided_ladder(12))),
    ):
        rows = len(list(grouped_states(circuit)))
        seconds = best(lambda circuit=circuit: list(grouped_states(circuit)))  # type: ignore[misc]
        table.add_row(f"{name}, grouped", f"{rows} circuits in {seconds * 1000:.0f} ms", "")
    small = circuit_of(chain(8))
    each, grouped = best(lambda: list(each_state(small))), best(lambda: list(grouped_states(small)))
    table.add_row(
        "8-relay chain, grouped against each",
        f"{grouped * 1000:.1f} ms, {each * 1000:.1f} ms",
        f"{each / grouped:.1f}",
    )


def proofs(table: Table) -> None:
    """The exact proof against a million random draws, and whole checks of larger stages."""
    reviewed = review(load(next(file for file in SHIPPED if file.stem == "ridge-dispensary")))
    drawn = best(lambda: samples(reviewed, 1_000_000, 1))
    exact = best(lambda: (margins(reviewed), sharings(reviewed), growths(reviewed)), 9)
    table.add_row("10^6 random draws, vectorised", f"{drawn * 1000:.0f} ms", "1")
    table.add_row("exact proof of the same table", f"{exact * 1000:.2f} ms", f"{drawn / exact:.0f}")
    for name, made in (("6 relays", many_bands()), ("12 relays", long_chain())):
        bands, found = len(review(made).table.rows), findings(made)
        seconds = best(lambda made=made: findings(made))  # type: ignore[misc]
        table.add_row(f"check, {name}, {bands} bands, {len(found)} findings", f"{seconds:.2f} s", "")


def many_bands() -> Design:
    """Six add-in sections, a narrow window: twelve bands, most moves of several relays."""
    made = add_in(6)
    return replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(157), Fraction(234))),
        output=replace(made.output, window_v=(Fraction(225), Fraction(236))),
        sensing=Sensing(error_pct=Fraction(1, 5), noise_v=Fraction(1, 2), hysteresis_v=Fraction(1)),
    )


def long_chain() -> Design:
    """A chain of twelve relays that choose one of thirteen taps for the output."""
    made = chain(12)
    steps = [replace(one, turns=Fraction(12)) if one.name != "base" else one for one in made.windings]
    return replace(
        made,
        windings=tuple(steps),
        terminals=replace(made.terminals, line="T6"),
        mains=replace(made.mains, range_v=(Fraction(190), Fraction(282))),
        output=replace(made.output, window_v=(Fraction(224), Fraction(236))),
        sensing=Sensing(error_pct=Fraction(1, 10), noise_v=Fraction(1), hysteresis_v=Fraction(2)),
    )


def cold_starts(table: Table) -> None:
    """Whole processes, against the time Python takes to import numpy."""

    def process(*arguments: str) -> float:
        return best(lambda: subprocess.run([sys.executable, *arguments], capture_output=True, check=False), 9)

    base = process("-c", "import numpy")
    table.add_row('python -c "import numpy"', f"{base * 1000:.0f} ms", "1")
    design = str(next(file for file in SHIPPED if file.stem == "ridge-dispensary"))
    for arguments in (["at", design, "200"], ["table", design], ["table", design, "--json"], ["check", design]):
        seconds = process("-m", "tapplan", *arguments)
        words = " ".join(Path(word).name for word in arguments)
        table.add_row(f"tapplan {words}", f"{seconds * 1000:.0f} ms", f"{seconds / base:.2f}")


def main() -> None:
    """Measures and prints one table."""
    table = Table("what", "measured", "ratio", title="tapplan benchmarks")
    for measure in (states_in_bulk, circuits_in_groups, proofs, cold_starts):
        measure(table)
        table.add_section()
    Console(width=110).print(table)


main()
