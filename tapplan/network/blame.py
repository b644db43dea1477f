"""Why a relay state has no ratio: the contacts to blame, and the loop or the gap they make.

Loops and ways are found by networkx, in the multigraph that reads every circuit a second time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import networkx as nx

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.graphs import Walk, WalkStep, multigraph, turns_along, walk
from tapplan.network.turns import Kind, NoGain, outcome


@dataclass(frozen=True, slots=True)
class Blame:
    """The contacts to blame, and in a sentence what they do: closed ones bridge, open ones leave a gap.

    `windings` are those that a loop of closed contacts bridges.
    """

    contacts: tuple[str, ...]
    told: str
    windings: tuple[str, ...] = ()


def blame(circuit: Circuit, closed: Closed) -> Blame | None:
    """What is to blame that this state has no ratio; None where it has one, or where no contact is to blame."""
    found = outcome(circuit, closed)
    if not isinstance(found, NoGain):
        return None
    graph = multigraph(circuit, closed)
    match found.kind:
        case Kind.SHORTED:
            return _short(circuit, graph)
        case Kind.FLOATING:
            return _gap(circuit, closed, _Island("output", circuit.output))
        case Kind.UNFED:
            return _gap(circuit, closed, _Island("line", circuit.line))
        case _:
            return None


# --- shorts ---


def _short(circuit: Circuit, graph: nx.MultiGraph) -> Blame | None:
    """The plainest loop of closed contacts that bridges turns, else the way that ties line to neutral."""
    loops = [loop for loop in _loops(graph) if _bridged(circuit, loop)]
    plainest = min(loops, key=lambda loop: (len(loop) - _windings(loop), len(loop)), default=None)
    if plainest is not None:
        turns = next(abs(turns) for turns in turns_along(circuit, plainest) if turns) * circuit.turn_unit
        told = f"{_told(circuit, plainest)}: {turns} turns bridged"
        return Blame(_contacts(circuit, plainest), told, _crossed(circuit, plainest))
    straight = walk(_contacts_only(graph), circuit.line, circuit.neutral)
    if straight is None:
        return None
    return Blame(_contacts(circuit, straight), f"{_told(circuit, straight)}: line tied to neutral")


def _loops(graph: nx.MultiGraph) -> Iterator[Walk]:
    """A basis of all loops: each edge outside a spanning tree, made of windings as far as it goes, closes one.

    Turns add up along loops, so that on one core some loop of a basis bridges turns where any loop does.
    """
    for low, high, key in graph.edges(keys=True):
        graph[low][high][key]["weight"] = int(key.startswith("contact"))
    tree = graph.edge_subgraph(nx.minimum_spanning_edges(graph, keys=True, data=False))
    for low, high, key in graph.edges(keys=True):
        if not tree.has_edge(low, high, key):
            yield _contacts_first([WalkStep(low, high, key), *(walk(tree, high, low) or [])])


def _bridged(circuit: Circuit, loop: Walk) -> bool:
    """Whether the turns along a loop do not cancel, all of them on one core."""
    return sum(turns != 0 for turns in turns_along(circuit, loop)) == 1


def _contacts_first(loop: Walk) -> Walk:
    """The same loop begun after a winding, so that its contacts are told in one stretch."""
    places = [number for number, step in enumerate(loop) if step.edge.startswith("winding")]
    start = places[-1] + 1 if places else 0
    return [*loop[start:], *loop[:start]]


def _windings(loop: Walk) -> int:
    return sum(step.edge.startswith("winding") for step in loop)


def _contacts_only(graph: nx.MultiGraph) -> nx.MultiGraph:
    return graph.edge_subgraph([edge for edge in graph.edges(keys=True) if edge[2].startswith("contact")])


def _contacts(circuit: Circuit, steps: Walk) -> tuple[str, ...]:
    numbers = [step.edge.split() for step in steps]
    return tuple(circuit.contacts[int(number)].label for kind, number in numbers if kind == "contact")


def _crossed(circuit: Circuit, steps: Walk) -> tuple[str, ...]:
    numbers = [step.edge.split() for step in steps]
    return tuple(circuit.sections[int(number)].name for kind, number in numbers if kind == "winding")


def _told(circuit: Circuit, steps: Walk) -> str:
    """Points and contacts in their order; the windings crossed in between stand in brackets, those at the end not."""
    last = max((number for number, step in enumerate(steps) if step.edge.startswith("contact")), default=-1)
    told = [circuit.points[steps[0].here]]
    for step in steps[: last + 1]:
        kind, number = step.edge.split()
        crossed = (
            circuit.contacts[int(number)].label if kind == "contact" else f"({circuit.sections[int(number)].name})"
        )
        told += [crossed, circuit.points[step.there]]
    return " ".join(told)


# --- gaps ---


@dataclass(frozen=True, slots=True)
class _Island:
    """A terminal that nothing feeds, with what hangs on it."""

    terminal: str
    point: int


def _gap(circuit: Circuit, closed: Closed, island: _Island) -> Blame:
    """The open contacts around what hangs on a terminal: closed, they would lead away from it."""
    graph = multigraph(circuit, closed)
    points = nx.node_connected_component(graph, island.point)
    around = tuple(
        contact.label
        for number, contact in enumerate(circuit.contacts)
        if number not in closed and (contact.com in points) != (contact.end in points)
    )
    name = circuit.points[island.point]
    if not around:
        return Blame((), f"no contact leads from the {island.terminal} {name}")
    return Blame(around, f"from the {island.terminal} {name} no closed contact leads on; open: {', '.join(around)}")
