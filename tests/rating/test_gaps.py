"""What stands across open contacts, in stages whose volts are worked out by hand; `tests/engines` asks an engine."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.design.model import Design, Feed, Pole, Relay
from tapplan.network.circuit import Circuit, Contact, circuit_of
from tapplan.network.states import state_of
from tapplan.rating.fed import fed
from tapplan.rating.gaps import LastingState, gap
from tests.examples import design

F = Fraction


def contact_of(circuit: Circuit, label: str) -> Contact:
    return next(one for one in circuit.contacts if one.label == label)


def test_two_points_of_a_winding_that_floats_stand_apart_by_its_turns() -> None:
    """20 of 200 turns at 230 V, though nothing ties either of the throws to neutral."""
    made = design((("main", "N", "LINE", 200), ("apart", "P", "Q", 20)), {"K": ("OUT", "P", "Q")})
    circuit = circuit_of(made)
    found = gap(circuit, contact_of(circuit, "K.nc"), [LastingState("rest", circuit.state(()), 230.0)])
    assert found.known
    assert found.volts == pytest.approx(23)


def test_a_floating_winding_on_a_core_that_nothing_drives_has_no_volts() -> None:
    sections = (("main", "N", "LINE", 200), ("apart", "P", "Q", (20, "other")))
    circuit = circuit_of(design(sections, {"K": ("OUT", "P", "Q")}))
    found = gap(circuit, contact_of(circuit, "K.nc"), [LastingState("rest", circuit.state(()), 230.0)])
    assert found.known
    assert found.volts == 0


def test_points_of_two_windings_that_float_are_not_known() -> None:
    sections = (("main", "N", "LINE", 200), ("one", "P", "A", 20), ("two", "Q", "B", 20))
    circuit = circuit_of(design(sections, {"K": ("OUT", "P", "Q")}))
    found = gap(circuit, contact_of(circuit, "K.nc"), [LastingState("rest", circuit.state(()), 230.0)])
    assert not found.known


def sensed_beside_a_feed() -> Design:
    """A sense transformer of its own core stays on the line while an inverter drives the other core."""
    sections = (
        ("low", "N", "T", 100),
        ("high", "T", "TOP", 100),
        ("battery", "B1", "B2", 10),
        ("lower", "N", "M", (300, "sense")),
        ("upper", "M", "LINE", (300, "sense")),
    )
    made = design(sections, {"KL": ("LINE", "TOP", "FREE")}, terminals=("LINE", "N", "TOP"))
    joins = Relay(name="KJ", poles=(Pole(com="M", no="T"),))
    return replace(made, relays=(*made.relays, joins))


def test_mains_that_come_back_drive_their_own_core_beside_a_feed() -> None:
    """Half the mains on one side, 100 of the 10 turns' 24 V on the other: they keep no step, and add."""
    made = sensed_beside_a_feed()
    circuit = circuit_of(made)
    feed = Feed(name="inverter", winding="battery", volts_v=(F(20), F(24)), energised=("KL",))
    running = fed(made, circuit, feed, state_of(circuit, ("KL",)))
    assert not running.inlet_live
    state = LastingState("feed", circuit.state(("KL",)), 230.0, running)
    found = gap(circuit, contact_of(circuit, "KJ.no"), [state])
    assert found.volts == pytest.approx(230 / 2 + 24 / 10 * 100)
