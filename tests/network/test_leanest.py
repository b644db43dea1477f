"""Of each ratio the states with the fewest relays driven, against going through all states one by one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from tapplan.design.model import Design
from tapplan.network.bulk import solve_all
from tapplan.network.circuit import circuit_of
from tapplan.network.states import each_state
from tests.examples import add_in, chain, pair, two_sided_ladder, wirings


def plainly(made: Design, most: int) -> list[int]:
    """By kind and ratio, those of the fewest relays, the first so many of them in counting order."""
    alike: dict[object, list[tuple[int, int]]] = {}
    for number, state in enumerate(each_state(circuit_of(made))):
        if state.ratio is not None:
            alike.setdefault((state.kind, state.ratio), []).append((len(state.energised), number))
    kept = []
    for found in alike.values():
        fewest = min(driven for driven, _ in found)
        kept += [number for driven, number in sorted(found) if driven == fewest][:most]
    return sorted(kept)


STAGES = {"pair": pair(), "chain": chain(6), "ladder": two_sided_ladder(3), "add-in": add_in(4)}


@pytest.mark.parametrize("most", [1, 2, 8])
@pytest.mark.parametrize("name", STAGES)
def test_each_ratio_keeps_its_fewest_relays(name: str, most: int) -> None:
    assert sorted(solve_all(circuit_of(STAGES[name])).leanest(most)) == plainly(STAGES[name], most)


@settings(max_examples=25)
@given(wirings())
def test_random_wirings_too(made: Design) -> None:
    assert sorted(solve_all(circuit_of(made)).leanest(2)) == plainly(made, 2)
