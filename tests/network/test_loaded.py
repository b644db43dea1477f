"""The loaded ratio against hand calculations; `tests/engines` holds it against ngspice as well."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from tapplan.network.circuit import circuit_of
from tapplan.network.loaded import loaded_ratio
from tapplan.network.states import each_state
from tests.examples import PAIR, TAPPED, design


def with_ohms(made, ohms, contact=0):  # type: ignore[no-untyped-def]
    return replace(
        made,
        windings=tuple(
            replace(w, resistance_ohm=Fraction(str(ohm))) for w, ohm in zip(made.windings, ohms, strict=True)
        ),
        relays=tuple(replace(r, contact_ohm=Fraction(str(contact))) for r in made.relays),
    )


def test_series_resistance_divides_with_the_load() -> None:
    """A direct state: only the contacts stand between line and output, so 10 / (10 + 2 * 0.25)."""
    made = with_ohms(design(TAPPED, PAIR), (0, 0, 0), contact="0.25")
    circuit = circuit_of(made)
    assert loaded_ratio(circuit, circuit.state(("KL", "KO")), Fraction(10)) == Fraction(20, 21)


def test_boost_drop_is_the_copper_loss_referred_to_the_output() -> None:
    """Winding resistances seen from the output: R = sum R_k (I_k / I_out)^2, then g * R_load / (R_load + R).

    Taps 200 and 227: with I_out = 1 the series section carries 1, the common one 27/200; own derivation from
    ampere-turn balance (domain formula n_L I_in = n_O I_out).
    """
    made = with_ohms(design(TAPPED, PAIR), ("0.9", "0.12", "0.2"))
    circuit = circuit_of(made)
    seen = Fraction("0.12") + Fraction("0.9") * Fraction(27, 200) ** 2
    expected = Fraction(227, 200) * 60 / (60 + seen)
    assert loaded_ratio(circuit, circuit.state(()), Fraction(60)) == expected


@given(st.lists(st.integers(0, 30), min_size=3, max_size=3), st.integers(0, 5), st.integers(1, 500))
def test_a_load_never_lifts_the_output_and_an_ideal_stage_does_not_drop(
    ohms: list[int], contact: int, load: int
) -> None:
    made = with_ohms(design(TAPPED, PAIR), ohms, contact)
    circuit = circuit_of(made)
    for state in each_state(circuit):
        found = loaded_ratio(circuit, circuit.state(state.energised), Fraction(load))
        assert found is not None
        assert 0 < found <= state.ratio
        if not any(ohms) and not contact:
            assert found == state.ratio


def test_parallel_sections_without_resistance_still_have_one_answer() -> None:
    sections = (("a", "N", "T", 100), ("b", "N", "T", 100), ("c", "T", "OUT", 10))
    made = design(sections, {}, terminals=("T", "N", "OUT"))
    circuit = circuit_of(made)
    assert loaded_ratio(circuit, frozenset(), Fraction(50)) == Fraction(11, 10)
