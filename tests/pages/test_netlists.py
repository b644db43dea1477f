"""The deck for a circuit simulator, element by element: winding of N turns, contacts by their coils, the ends."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Design
from tapplan.network.circuit import circuit_of
from tapplan.pages.netlists import spice
from tests.examples import design, pair

F = Fraction


def deck(made: Design, *energised: str) -> list[str]:
    return spice(made, circuit_of(made), energised).splitlines()


def of(lines: list[str], begins: str) -> list[str]:
    return [line for line in lines if line.startswith(begins)]


def test_the_head_names_design_relays_and_nodes() -> None:
    lines = deck(pair(), "KL")
    assert lines[0] == "* example"
    assert lines[1].startswith(f"* design {fingerprint(pair())}, tapplan ")
    assert lines[2] == "* relays driven: KL"
    assert deck(pair())[2] == "* relays driven: none"
    assert set(lines[3].removeprefix("* nodes: ").split("; ")) == {
        "p_line is LINE", "0 is N", "p_a is A", "p_b is B", "p_c is C", "p_out is OUT",
    }  # fmt: skip
    assert lines[4] == "VLINE p_line 0 DC 0 AC 230"
    assert not of(lines, "RGROUND")
    assert of(lines, "RLEAK") == [f"RLEAK{place} {node} 0 1e9" for place, node in enumerate(
        ("p_a", "p_b", "p_c", "p_line", "p_out"), 1)]  # fmt: skip
    assert lines[-1] == ".end"


def test_a_winding_is_its_turns_squared_in_microhenry_coupled_to_the_others_of_its_core() -> None:
    """200, 27 and 31 turns: 40,000, 729 and 961 uH; without a resistance stated a millionth of an ohm."""
    lines = deck(pair())
    assert [line.split() for line in of(lines, "LW")] == [
        ["LW1", "w1", "0", "0.04"], ["LW2", "w2", "p_a", "0.000729"], ["LW3", "w3", "p_b", "0.000961"],
    ]  # fmt: skip
    assert [line.split() for line in of(lines, "RW")] == [
        ["RW1", "p_a", "w1", "1e-06"], ["RW2", "p_b", "w2", "1e-06"], ["RW3", "p_c", "w3", "1e-06"],
    ]  # fmt: skip
    assert of(lines, "KW") == ["KW1_2 LW1 LW2 1", "KW1_3 LW1 LW3 1", "KW2_3 LW2 LW3 1"]
    windings = (replace(pair().windings[0], resistance_ohm=F("2.5")), pair().windings[1],
                replace(pair().windings[2], core="other"))  # fmt: skip
    apart = deck(replace(pair(), windings=windings))
    assert of(apart, "KW") == ["KW1_2 LW1 LW2 1"]
    assert of(apart, "RW1") == ["RW1 p_a w1 2.5"]


def test_half_turns_count_as_half() -> None:
    made = replace(pair(), windings=(replace(pair().windings[0], turns=F("200.5")), *pair().windings[1:]))
    assert of(deck(made), "LW1") == [f"LW1 w1 0 {200.5**2 * 1e-6:.12g}"]


@pytest.mark.parametrize("energised", [(), ("KL",), ("KO",), ("KL", "KO")])
def test_a_contact_conducts_by_its_coil_and_throw(energised: tuple[str, ...]) -> None:
    """A thousandth of an ohm closed, a millionth of a millionth of a siemens open; NO closes above half a volt."""
    lines = deck(pair(), *energised)
    assert of(lines, "B") == [
        "B1 p_line p_a I=(v(p_line)-v(p_a))*(v(coil_kl) > 0.5 ? 1e-12 : 1000)",
        "B2 p_line p_c I=(v(p_line)-v(p_c))*(v(coil_kl) > 0.5 ? 1000 : 1e-12)",
        "B3 p_out p_b I=(v(p_out)-v(p_b))*(v(coil_ko) > 0.5 ? 1e-12 : 1000)",
        "B4 p_out p_c I=(v(p_out)-v(p_c))*(v(coil_ko) > 0.5 ? 1000 : 1e-12)",
    ]
    assert of(lines, "VCOIL") == [
        f"VCOIL_KL coil_kl 0 {int('KL' in energised)}", f"VCOIL_KO coil_ko 0 {int('KO' in energised)}",
    ]  # fmt: skip


def test_a_contact_with_an_ohm_stated_has_it_and_one_to_neutral_no_node_of_its_own() -> None:
    relays = (replace(pair().relays[0], contact_ohm=F(1, 4)), pair().relays[1])
    assert of(deck(replace(pair(), relays=relays)), "B1")[0].endswith("> 0.5 ? 1e-12 : 4)")
    grounded = design([("w", "N", "A", 9)], {"K": ("OUT", "N", "A")}, terminals=("A", "N", "OUT"))
    assert of(deck(grounded), "B1") == ["B1 p_out 0 I=(v(p_out)-0)*(v(coil_k) > 0.5 ? 1e-12 : 1000)"]


def test_the_run_is_at_the_middle_of_the_frequencies_and_prints_the_output() -> None:
    made = replace(pair(), mains=replace(pair().mains, frequency_hz=(F(49), F(52)), nominal_v=F("115.5")))
    lines = deck(made)
    assert lines[-3:] == [".ac lin 1 50.5 50.5", ".print ac vm(p_out) vp(p_out)", ".end"]
    assert of(lines, "VLINE") == ["VLINE p_line 0 DC 0 AC 115.5"]
    assert [line for line in lines if not re.match(r"[*.A-Z]", line)] == []
