"""How fast, side by side with the alternative, as ratios: `python -m tests.benchmarks`.

Nothing here is asserted; figures belong to the machine they were measured on. Times are the best of several.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import sqrt
from pathlib import Path
from time import perf_counter

import networkx as nx
import numpy as np
from rich.console import Console
from rich.table import Table

from tapplan.checks.growths import growths
from tapplan.checks.margins import margins, sharings
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.checks.samples import samples
from tapplan.control.decisions import decisions
from tapplan.control.equations import equations
from tapplan.control.longest import longest_stays
from tapplan.control.program import program
from tapplan.control.standing import InRow
from tapplan.control.table import control_table, derived_table
from tapplan.design.file import load
from tapplan.design.model import Design, Sensing
from tapplan.network.bulk import solve_all
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.flow import Impedances, flows
from tapplan.network.load import Load, load_current
from tapplan.network.states import each_state, energised_of, grouped_states, state_of
from tapplan.pages.firmware import c_header
from tapplan.pages.report import report
from tests.examples import SHIPPED, add_in, chain, long_chain, many_bands, narrow_chain, two_sided_ladder
from tests.outside import rule


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
    exact = best(lambda: (margins(reviewed), sharings(reviewed)), 9)
    limits = best(lambda: growths(reviewed), 9)
    table.add_row("10^6 random draws, vectorised", f"{drawn * 1000:.0f} ms", "1")
    table.add_row("exact proof of the same table", f"{exact * 1000:.2f} ms", f"{drawn / exact:.0f}")
    table.add_row("how far each tolerance may grow", f"{limits * 1000:.2f} ms", f"{drawn / limits:.0f}")
    for name, made in (("6 relays", many_bands()), ("12 relays", long_chain())):
        bands, found = len(review(made).table.rows), findings(made)
        seconds = best(lambda made=made: findings(made))  # type: ignore[misc]
        table.add_row(f"check, {name}, {bands} bands, {len(found)} findings", f"{seconds:.2f} s", "")


def loaded_network(table: Table) -> None:
    """All states of a six-relay stage under a constant-power load at a thousand inputs, against a plain loop."""
    made = add_in(6)
    circuit = circuit_of(made)
    states = [circuit.state(state.energised) for state in each_state(circuit)]
    impedances = Impedances(tuple(0.5 + 0j for _ in circuit.sections), tuple(0.02 for _ in circuit.contacts), (0j,))
    load, inputs = Load(500.0, 230.0, 0.9, "power"), np.linspace(160, 280, 1000)

    def batched() -> object:
        output = flows(circuit, states, impedances).output(circuit)
        opened, behind = output[:, 0, None] * inputs, np.asarray(-output[:, 1, None])
        return opened - behind * load_current(load, opened, behind)

    def plain(count: int) -> object:
        found = []
        for number in range(count):
            output = flows(circuit, [states[number % 64]], impedances).output(circuit)[0]
            opened, behind = output[0] * inputs[number], -output[1]
            volts = opened
            for _ in range(20):
                volts = opened - behind * np.conj(500.0 * complex(0.9, -sqrt(0.19)) / volts)
            found.append(volts)
        return found

    slow = best(lambda: plain(200)) / 200
    quick = best(batched) / (len(states) * len(inputs))
    table.add_row("loaded output, a solve and a loop a point", f"{1 / slow:,.0f} points/s", "1")
    table.add_row("the same, all states and inputs at once", f"{1 / quick:,.0f} points/s", f"{slow / quick:,.0f}")
    if shutil.which("ngspice"):
        each = best(lambda: subprocess.run(["ngspice", "-b"], input=b"* x\nV1 1 0 1\nR1 1 0 1\n.op\n.end\n",
                                           capture_output=True, check=False), 5)  # fmt: skip
        named = "one ngspice process a point (start-up alone)"
        table.add_row(named, f"{1 / each:,.0f} points/s", f"{each / quick:,.0f}")


def controllers(table: Table) -> None:
    """One decision looked up against the rule read out of the table each time; and what hands the controller over."""
    made = many_bands()
    control = control_table(made)
    compiled = decisions(control)
    literal = rule.Table(
        tuple(
            rule.Row(row.name, row.ratio or Fraction(0), Fraction(1), (row.hold.low, row.hold.high))
            for row in control.rows
        ),
        at_input=True,
        nominal=made.output.nominal_v,
        away_sensed=Fraction(1),
    )
    readings = [Fraction(number, 7) for number in range(7 * 150, 7 * 240)]
    names = [row.name for row in control.rows]

    def looked_up() -> None:
        for reading in readings:
            compiled.decided(InRow(3), reading)

    def read_out() -> None:
        for reading in readings[::10]:
            rule.decide(literal, names[3], reading)

    slow, quick = 10 * best(read_out) / len(readings), best(looked_up) / len(readings)
    table.add_row("a decision, the rule read from the table", f"{slow * 1e6:.1f} us", "1")
    table.add_row("the same, looked up in the compiled controller", f"{quick * 1e6:.2f} us", f"{slow / quick:.0f}")
    table.add_row("compiling it, twelve bands", f"{best(lambda: decisions(control)) * 1000:.1f} ms", "")
    eight = narrow_chain()
    control = control_table(eight)
    table.add_row(
        f"8 relays, {len(control.rows)} bands: export --to c", f"{best(lambda: c_header(program(control))):.2f} s", ""
    )
    table.add_row("the same: export --to logic", f"{best(lambda: equations(program(control)), 1):.2f} s", "")
    twelve = replace(
        add_in(12), sensing=Sensing(error_pct=Fraction(1), noise_v=Fraction(1), hysteresis_v=Fraction(3))
    )
    wide = replace(twelve, mains=replace(twelve.mains, range_v=(Fraction(150), Fraction(240))))
    table.add_row("bands of 12 add-in sections", f"{best(lambda: derived_table(wide), 1):.2f} s", "")


def reports(table: Table) -> None:
    """The whole page from a design at hand, nothing known of it before; against that of two relays."""
    base = 0.0
    for name, made in (
        ("2 relays", load(next(file for file in SHIPPED if file.stem == "ridge-dispensary"))),
        ("8 relays, a chain", narrow_chain()),
        ("12 relays, a chain", long_chain()),
        ("6 relays, add-in sections", many_bands()),
    ):
        seconds = best(lambda made=made: _page(made))  # type: ignore[misc]
        base = base or seconds
        told = f"{len(review(made).table.rows)} bands, {len(_page(made).encode()) / 1000:.0f} kB"
        table.add_row(f"report, {name}: {told}", f"{seconds:.2f} s", f"{seconds / base:.1f}")


def _page(made: Design) -> str:
    longest_stays.cache_clear()  # what was found for the times of relays is kept for the next design
    return report(review(made))


def cold_starts(table: Table) -> None:
    """Whole processes, against the time Python takes to import numpy."""

    def process(*arguments: str) -> float:
        return best(lambda: subprocess.run([sys.executable, *arguments], capture_output=True, check=False), 9)

    base = process("-c", "import numpy")
    table.add_row('python -c "import numpy"', f"{base * 1000:.0f} ms", "1")
    design = str(next(file for file in SHIPPED if file.stem == "ridge-dispensary"))
    calls = [["at", design, "200"], ["table", design], ["table", design, "--json"]]
    calls += [["check", design], ["rate", design]]
    for arguments in calls:
        seconds = process("-m", "tapplan", *arguments)
        words = " ".join(Path(word).name for word in arguments)
        table.add_row(f"tapplan {words}", f"{seconds * 1000:.0f} ms", f"{seconds / base:.2f}")


def main() -> None:
    """Measures and prints one table."""
    table = Table("what", "measured", "ratio", title="tapplan benchmarks")
    for measure in (states_in_bulk, circuits_in_groups, loaded_network, controllers, reports, proofs, cold_starts):
        measure(table)
        table.add_section()
    Console(width=110).print(table)


if __name__ == "__main__":
    main()
