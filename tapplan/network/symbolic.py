"""The ratio of a state in winding names, such as (common + lower)/(common + lower + upper).

Every winding becomes a positive symbol of its own name; with several cores the volts per turn are solved for
as well, from the line and from every closed loop.
"""

from __future__ import annotations

from dataclasses import dataclass

import sympy

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.graphs import Walk, WalkStep, multigraph, walk


@dataclass(frozen=True, slots=True)
class _Volts:
    """What line and output stand at against neutral, in the volts per turn of the cores."""

    line: sympy.Expr
    output: sympy.Expr
    per_turn: list[sympy.Symbol]


def symbols(circuit: Circuit) -> tuple[sympy.Symbol, ...]:
    """One positive symbol a winding, in the order of the file."""
    return tuple(sympy.Symbol(section.name, positive=True) for section in circuit.sections)


def symbolic_ratio(circuit: Circuit, closed: Closed) -> sympy.Expr | None:
    """Output over line in winding names, or None when line or output is not joined to neutral.

    Loops are taken as written: a state whose loops cancel only for particular turns keeps the constraint
    among its equations, and the ratio is given for turns that satisfy it.
    """
    graph = multigraph(circuit, closed)
    to_line = walk(graph, circuit.neutral, circuit.line)
    to_output = walk(graph, circuit.neutral, circuit.output)
    if to_line is None or to_output is None:
        return None
    per_turn = [sympy.Symbol(f"volts per turn of {core}") for core in circuit.cores]
    line, output = (_volts(circuit, steps, per_turn) for steps in (to_line, to_output))
    if len(circuit.cores) == 1:
        return sympy.factor(sympy.cancel(output / line)) if line != 0 else None
    return _several_cores(circuit, closed, _Volts(line, output, per_turn))


def _several_cores(circuit: Circuit, closed: Closed, volts: _Volts) -> sympy.Expr | None:
    inlet = sympy.Symbol("line volts")
    equations = [volts.line - inlet, *_loops(circuit, closed, volts.per_turn)]
    solved = sympy.solve(equations, volts.per_turn, dict=True)
    if not solved:
        return None
    ratio = sympy.cancel(volts.output.subs(solved[0]) / inlet)
    unfixed = set(volts.per_turn) & ratio.free_symbols
    return None if unfixed or inlet in ratio.free_symbols else sympy.factor(ratio)


def _loops(circuit: Circuit, closed: Closed, per_turn: list[sympy.Symbol]) -> list[sympy.Expr]:
    """The volts around each loop that ties different cores together; loops of one core alone are left out.

    In a state without a short, those cancel for the design's own turns.
    """
    graph = multigraph(circuit, closed)
    forest = graph.copy()
    loops = []
    for low, high, key in list(graph.edges(keys=True)):
        forest.remove_edge(low, high, key)
        back = walk(forest, high, low)
        if back is None:
            forest.add_edge(low, high, key=key, **graph[low][high][key])
            continue
        around = _volts(circuit, [WalkStep(low, high, key), *back], per_turn)
        if len(set(per_turn) & around.free_symbols) > 1:
            loops.append(around)
    return loops


def _volts(circuit: Circuit, steps: Walk, per_turn: list[sympy.Symbol]) -> sympy.Expr:
    """The volts gained along a walk."""
    named = symbols(circuit)
    total: sympy.Expr = sympy.Integer(0)
    for step in steps:
        kind, number = step.edge.split()
        if kind == "winding":
            section = circuit.sections[int(number)]
            sign = 1 if section.start == step.here else -1
            total += sign * named[int(number)] * per_turn[section.core]
    return total
