"""Free wiring against wirings tried one by one with the network's own solver, and what it finds that has no name."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

import networkx as nx

from tapplan.design.model import Relay, Terminals, Winding
from tapplan.network.circuit import circuit_of
from tapplan.network.states import each_state
from tapplan.study.free import EDGES, FIRST_TAP, POINTS, TAPS, TIES, UNCLEAN, _settled, examined
from tapplan.study.plans import ratio_of
from tests.study.requests import asked, file_of

F = Fraction


def by_graph(edges: list[tuple[int, int]]) -> tuple[int, int] | None:
    """The taps that line and output stand on, by connected components; None when unclean."""
    graph = nx.Graph()
    graph.add_nodes_from(range(len(POINTS)))
    graph.add_edges_from(edges)
    taps = set(range(FIRST_TAP, FIRST_TAP + TAPS))
    parts = [component & taps for component in nx.connected_components(graph)]
    on = [nx.node_connected_component(graph, side) & taps for side in (0, 1)]
    if any(len(part) > 1 for part in parts) or any(len(part) != 1 for part in on):
        return None
    return min(on[0]) - FIRST_TAP, min(on[1]) - FIRST_TAP


def test_one_and_two_edges_join_what_a_graph_says() -> None:
    clean = 0
    for tie, extra in enumerate(TIES):
        settled = _settled(tie)
        pairs = combinations(range(len(EDGES)), 2)
        for one, two, three in [(a, b, c) for a, b in pairs for c in (0, (a + b) % len(EDGES))]:
            closed = [edge for place in (one, two, three) if (edge := EDGES[place]) is not None]
            expected = by_graph(closed + ([] if extra is None else [extra]))
            found = int(settled[one, two, three])
            assert (None if found == UNCLEAN else divmod(found, TAPS)) == expected
            clean += expected is not None
    assert clean > 100


def test_two_relays_have_no_more_than_one_selector_a_side() -> None:
    """The classic: two relays give four ratios, from three taps or four, and nothing else gives more than a chain."""
    assert sorted((wiring.unknowns, len(wiring.states)) for wiring in examined(2).kept) == [(3, 4), (4, 4)]


def test_three_relays_give_seven_pairs_of_taps_where_both_sides_share_a_selector() -> None:
    """Line and output each choose a tap of their own or a joint, and the joint one of two taps: six ratios of three
    relays, where two separate chains have six as well but on five taps, and move otherwise."""
    most = max(len(wiring.states) for wiring in examined(3).kept)
    shared = [wiring for wiring in examined(3).kept if len(wiring.states) == most]
    assert most == 7
    assert sorted(wiring.unknowns for wiring in shared) == [3, 4]


def test_no_state_of_a_wiring_kept_is_unclean() -> None:
    for relays in (2, 3):
        for wiring in examined(relays).kept:
            assert sum(len(codes) for codes in wiring.states.values()) == 2**relays


def test_the_count_is_that_of_the_relays_that_can_be_made() -> None:
    """9 points for the common, and two of the 8 others or none for the throws: 9 (8 choose 2, and 8) = 324 relays."""
    assert examined(2).wirings == 3 * (324 * 323 // 2)
    assert examined(3).wirings == 3 * (324 * 323 * 322 // 6)
    assert examined(3).states == 8 * examined(3).wirings


def test_states_of_a_wiring_are_those_of_its_circuit() -> None:
    """The rows of turns against the network solver on the same wiring as a design."""
    for wiring in (*examined(2).kept, *examined(3).kept):
        values = (97, 131, 170, 211, 257)[: wiring.unknowns]
        at = sorted((value, tap.point) for tap, value in zip(wiring.taps, values, strict=True))
        points = [(0, "N"), *at]
        made = replace(
            file_of(asked((180, 280), (200, 240))),
            windings=tuple(
                Winding(name=f"w{high}", ends=(low, high), turns=F(above - below))
                for (below, low), (above, high) in pairwise(points)
            ),
            relays=tuple(
                Relay(name=f"K{n}", com=one.com, nc=one.rest, no=one.driven) for n, one in enumerate(wiring.poles)
            ),
            terminals=Terminals(line=wiring.line, neutral="N", output=wiring.output),
        )
        solved = {frozenset(state.energised): state.ratio for state in each_state(circuit_of(made))}
        told = {
            frozenset(f"K{relay}" for relay in code): ratio_of(rows, values)
            for rows, codes in wiring.states.items()
            for code in codes
        }
        assert solved == told
