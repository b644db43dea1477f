"""What a pair of points reads with the load connected, worked by hand from the ampere-turns of an autotransformer."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.design.model import Sensing
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.loaded import loaded_ratio, loaded_sensed
from tests.examples import PAIR, TAPPED, design

F = Fraction
OHMS = {"base": F("0.9"), "one": F("0.12"), "two": F("0.2")}
LOAD = F(60)
BOOST: tuple[str, ...] = ()  # line on A at 200 turns, output on B at 227


def reading(high: str, low: str) -> Circuit:
    """The tapped stage with a winding of 20 turns in the air, S1 to S2, read from one point to another."""
    made = design((*TAPPED, ("sense", "S1", "S2", 20)), PAIR, sensing=Sensing(at=(high, low)))
    ohmic = (replace(one, resistance_ohm=OHMS.get(one.name, F(0))) for one in made.windings)
    return circuit_of(replace(made, windings=tuple(ohmic)))


def read(high: str, low: str) -> Fraction | None:
    made = reading(high, low)
    return loaded_sensed(made, made.state(BOOST), LOAD)


def output() -> Fraction:
    """g R / (R + r) with r = r_series + r_common (27/200)^2: the common winding carries 27/200 of the amperes."""
    seen = OHMS["one"] + OHMS["base"] * F(27, 200) ** 2
    return F(227, 200) * LOAD / (LOAD + seen)


def volts_per_turn() -> Fraction:
    """From the series winding: output less line is 27 turns of it, less the drop of the output's amperes."""
    amperes = output() / LOAD
    return (output() - 1 + OHMS["one"] * amperes) / 27


def test_line_and_output_against_neutral_read_themselves() -> None:
    assert read("LINE", "N") == 1
    assert read("OUT", "N") == output()
    made = reading("OUT", "N")
    assert loaded_ratio(made, made.state(BOOST), LOAD) == output()


def test_neither_end_at_neutral_is_one_less_the_other() -> None:
    assert read("OUT", "LINE") == output() - 1
    assert read("LINE", "OUT") == 1 - output()


def test_a_winding_in_the_air_reads_its_turns_of_the_loaded_core() -> None:
    """It carries nothing, so it reads the induced volts: fewer than 20 of 200, by the drop in the common winding."""
    found = read("S2", "S1")
    assert found == 20 * volts_per_turn()
    assert read("S1", "S2") == -20 * volts_per_turn()
    common_amperes = output() / LOAD * F(27, 200)
    assert 200 * volts_per_turn() == 1 - OHMS["base"] * common_amperes


def test_two_points_of_one_node_read_nothing() -> None:
    assert read("B", "OUT") == 0


def test_a_winding_in_the_air_has_no_volts_against_the_line() -> None:
    assert read("S1", "LINE") is None


def test_a_stage_without_sensed_points_has_no_such_reading() -> None:
    made = circuit_of(design(TAPPED, PAIR))
    with pytest.raises(ValueError, match="not a pair of points"):
        loaded_sensed(made, made.state(BOOST), LOAD)
