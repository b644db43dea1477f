"""What is to blame that a state has no ratio: the loop by hand, and for random wirings that it is one."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.model import Design
from tapplan.network.blame import Blame, blame
from tapplan.network.circuit import circuit_of
from tapplan.network.turns import Gain, Kind, outcome, potentials, shorts_turns
from tests.examples import PAIR, TAPPED, closed_sets, design, wirings

BRIDGE = {"KL": ("LINE", "A", None), "KO": ("OUT", "B", None), "KS": ("A", None, "B")}


def blamed(changeovers: dict[str, object], driven: tuple[str, ...]) -> Blame | None:
    circuit = circuit_of(design(TAPPED, changeovers))
    return blame(circuit, circuit.state(driven))


def test_a_closed_loop_is_named_with_the_turns_it_bridges() -> None:
    """Contact KS from A to B: 27 turns of section "one" lie between them."""
    assert blamed(BRIDGE, ("KS",)) == Blame(("KS.no",), "A KS.no B: 27 turns bridged", ("one",))


def test_a_loop_through_two_contacts_is_told_in_one_stretch() -> None:
    """Line from B, output from A, and both on one point: "B", KL, LINE, KX, OUT, KO, "A" around 27 turns."""
    found = blamed({"KL": ("LINE", "B", None), "KO": ("OUT", "A", None), "KX": ("LINE", None, "OUT")}, ("KX",))
    assert found is not None
    assert set(found.contacts) == {"KL.nc", "KX.no", "KO.nc"}
    assert found.told in (
        "B KL.nc LINE KX.no OUT KO.nc A: 27 turns bridged",
        "A KO.nc OUT KX.no LINE KL.nc B: 27 turns bridged",
    )


def test_a_line_tied_to_neutral_is_named() -> None:
    found = blamed({"KL": ("LINE", "A", "N"), "KO": ("OUT", "B", None)}, ("KL",))
    assert found == Blame(("KL.no",), "LINE KL.no N: line tied to neutral")


def test_what_hangs_loose_is_named_with_the_contacts_that_would_lead_on() -> None:
    assert blamed({"KL": ("LINE", "A", None), "KO": ("OUT", None, "B")}, ()) == Blame(
        ("KO.no",), "from the output OUT no closed contact leads on; open: KO.no"
    )
    assert blamed({"KL": ("LINE", None, "A"), "KO": ("OUT", "B", None)}, ()) == Blame(
        ("KL.no",), "from the line LINE no closed contact leads on; open: KL.no"
    )
    assert blamed({"KL": ("LINE", "A", None)}, ()) == Blame((), "no contact leads from the output OUT")


def test_a_sound_state_blames_nothing() -> None:
    assert blamed(PAIR, ()) is None


@settings(max_examples=200, deadline=None)
@given(st.data(), wirings())
def test_the_contacts_blamed_are_the_loop_or_stand_open(data: st.DataObject, made: Design) -> None:
    """For random wirings: the contacts named and the windings are by themselves a short; at a gap all are open."""
    circuit = circuit_of(made)
    closed = data.draw(closed_sets(circuit))
    found, told = outcome(circuit, closed), blame(circuit, closed)
    if isinstance(found, Gain):
        assert told is None
        return
    assert told is not None
    numbers = {one.label: number for number, one in enumerate(circuit.contacts)}
    if found.kind is Kind.SHORTED:
        assert all(numbers[label] in closed for label in told.contacts)
        only = frozenset(numbers[label] for label in told.contacts)
        assert outcome(circuit, only).kind is Kind.SHORTED
        assert shorts_turns(potentials(circuit, only)) is told.told.endswith("turns bridged")
    else:
        assert all(numbers[label] not in closed for label in told.contacts)
