"""A second reading of the circuit with networkx: paths and cycles of a multigraph instead of union by parts.

It shares with `turns` the circuit, the algebra of `spaces` and the final classification, and finds turns and
loops its own way; the tests hold the two against each other (and both against plain node equations, which
share nothing), and the symbolic ratios walk these paths.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import networkx as nx

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.spaces import LoopSpace, Vector, extended
from tapplan.network.turns import Outcome, TerminalTurns, classify


@dataclass(frozen=True, slots=True)
class WalkStep:
    """From one point to the next, over the edge with this key."""

    here: int
    there: int
    edge: str


Walk = list[WalkStep]


def multigraph(circuit: Circuit, closed: Closed) -> nx.MultiGraph:
    """Windings and closed contacts as edges keyed by name; a winding carries `section`, its index."""
    graph: nx.MultiGraph = nx.MultiGraph()
    graph.add_nodes_from(range(len(circuit.points)))
    for number in closed:
        contact = circuit.contacts[number]
        graph.add_edge(contact.com, contact.end, key=f"contact {number}", section=None)
    for number, section in enumerate(circuit.sections):
        graph.add_edge(section.start, section.finish, key=f"winding {number}", section=number)
    return graph


def walk(graph: nx.MultiGraph, low: int, high: int) -> Walk | None:
    """A path crossing the fewest windings, or None when the points are not joined."""

    def weight(_low: int, _high: int, edges: dict[str, dict[str, int | None]]) -> int:
        return min(1 if edge["section"] is None else 1000 for edge in edges.values())

    try:
        points = nx.dijkstra_path(graph, low, high, weight=weight)
    except nx.NetworkXNoPath:
        return None
    return [WalkStep(a, b, min(graph[a][b])) for a, b in itertools.pairwise(points)]


def turns_along(circuit: Circuit, steps: Walk) -> Vector:
    """The turns gained along a walk, one entry a core."""
    gained = [0] * len(circuit.cores)
    for step in steps:
        kind, number = step.edge.split()
        if kind == "winding":
            section = circuit.sections[int(number)]
            gained[section.core] += section.turns if section.start == step.here else -section.turns
    return tuple(gained)


def loop_space(circuit: Circuit, graph: nx.MultiGraph) -> LoopSpace:
    """The space of loop turns: for every edge outside a spanning forest, the loop it closes."""
    forest: nx.MultiGraph = nx.MultiGraph()
    forest.add_nodes_from(graph)
    chosen = set()
    for part in nx.connected_components(graph):
        for low, high in nx.bfs_edges(graph, min(part)):
            key = min(graph[low][high])
            forest.add_edge(low, high, key=key, **graph[low][high][key])
            chosen.add(key)
    space: LoopSpace = ()
    for low, high, key in graph.edges(keys=True):
        if key not in chosen:
            back = walk(forest, high, low) or []
            space = extended(space, turns_along(circuit, [WalkStep(low, high, key), *back]))
    return space


def outcome_by_paths(circuit: Circuit, closed: Closed) -> Outcome:
    """What the stage does with these contacts closed, from networkx paths and loops."""
    graph = multigraph(circuit, closed)
    to_line = walk(graph, circuit.neutral, circuit.line)
    to_output = walk(graph, circuit.neutral, circuit.output)
    contacts = nx.Graph((low, high) for low, high, key in graph.edges(keys=True) if key.startswith("contact"))
    contacts.add_nodes_from(circuit.terminals)
    return classify(
        circuit.turn_unit,
        loop_space(circuit, graph),
        TerminalTurns(
            None if to_line is None else turns_along(circuit, to_line),
            None if to_output is None else turns_along(circuit, to_output),
            nx.has_path(contacts, circuit.line, circuit.output),
        ),
    )
