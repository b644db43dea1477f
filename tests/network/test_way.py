"""Where the current's way goes through the windings, on stages small enough to trace by finger."""

from __future__ import annotations

import pytest

from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.paths import way
from tests.examples import TAPPED, design


def taps_of(made: Circuit) -> tuple[str | None, str | None]:
    found = way(made, made.state(()))
    assert found is not None
    return found.line_tap, found.output_tap


def stage(**relays: tuple[str, str, str]) -> Circuit:
    return circuit_of(design(TAPPED, relays))


def test_the_way_enters_and_leaves_the_winding_at_the_taps_that_the_relays_join() -> None:
    """Line on A, output on B: 27 turns are crossed."""
    assert taps_of(stage(KL=("LINE", "A", "C"), KO=("OUT", "B", "C"))) == ("A", "B")
    assert taps_of(stage(KL=("LINE", "C", "A"), KO=("OUT", "A", "C"))) == ("C", "A")


@pytest.mark.parametrize("second", [("OUT", "B", "C"), ("B", "OUT", "C"), ("LINE", "B", "C"), ("B", "LINE", "C")])
def test_a_line_straight_to_the_output_stands_on_the_tap_that_another_contact_joins(
    second: tuple[str, str, str],
) -> None:
    """KD joins line and output; whichever of them the other relay joins to B, from either side, both stand on B."""
    assert taps_of(stage(KD=("LINE", "OUT", "X"), KT=second)) == ("B", "B")


def test_the_tap_may_lie_behind_two_contacts() -> None:
    found = stage(KD=("LINE", "OUT", "X"), KM=("OUT", "M", "X"), KT=("C", "M", "X"))
    assert taps_of(found) == ("C", "C")


def test_a_line_straight_to_the_output_with_no_winding_joined_stands_on_no_tap() -> None:
    assert taps_of(stage(KD=("LINE", "OUT", "X"))) == (None, None)


def test_a_winding_that_only_an_open_contact_would_join_is_no_tap() -> None:
    assert taps_of(stage(KD=("LINE", "OUT", "X"), KT=("OUT", "X", "B"))) == (None, None)


def test_a_winding_joined_to_something_else_is_no_tap() -> None:
    """KE joins the dead point E to A, but nothing joins E to the line."""
    assert taps_of(stage(KD=("LINE", "OUT", "X"), KE=("E", "A", "X"))) == (None, None)
    assert taps_of(stage(KD=("LINE", "OUT", "X"), KE=("A", "E", "X"), KT=("E", "B", "X"))) == (None, None)
