"""The exact solver against worked cases; each names its source."""

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.design.model import Sensing
from tapplan.network.circuit import Position
from tapplan.network.states import each_state, state_of
from tapplan.network.turns import Gain, Kind, NoGain, outcome, sensed_ratio
from tests.examples import PAIR, TAPPED, circuit, design, pair


def gain(sections, changeovers, energised=(), **kwargs) -> Fraction | None:  # type: ignore[no-untyped-def]
    return state_of(circuit(design(sections, changeovers, **kwargs)), tuple(energised)).ratio


def test_wildi_example_11_1_eighty_percent_tap() -> None:
    """Wildi, Electrical Machines, Drives and Power Systems, ex. 11-1 (from memory): 80 % tap, 300 V in, 240 V out."""
    sections = (("common", "N", "OUT", 80), ("series", "OUT", "LINE", 20))
    assert 300 * gain(sections, {}) == 240


def test_tap_for_250_from_220_volts_of_2000_turns() -> None:
    """Course problem: 2000 turns in all, 220 V in, 250 V out; printed answer: tap at turn 1760."""
    sections = (("common", "N", "LINE", 1760), ("series", "LINE", "OUT", 240))
    assert 220 * gain(sections, {}) == 250


def test_600_volts_from_400_of_1000_turns() -> None:
    """Course problem: 240 V on 400 of 1000 turns gives 600 V."""
    sections = (("common", "N", "LINE", 400), ("series", "LINE", "OUT", 600))
    assert 240 * gain(sections, {}) == 600


@pytest.mark.parametrize(("aiding", "volts"), [(True, 150), (False, 90)])
def test_series_winding_aids_or_opposes(aiding: bool, volts: int) -> None:
    """Lessons in Electric Circuits, vol. II, ch. 9: 120 V and a 30 V winding give 150 V boosted, 90 V bucked."""
    series = ("secondary", "LINE", "OUT", 30) if aiding else ("secondary", "OUT", "LINE", 30)
    assert 120 * gain((("primary", "N", "LINE", 120), series), {}) == volts


def test_wildi_example_11_2_subtractive_connection() -> None:
    """Wildi ex. 11-2 (from memory): 600/120 V connected 120 -> 480 V: the windings oppose."""
    sections = (("high", "LINE", "OUT", 600), ("low", "LINE", "N", 120))
    assert abs(120 * gain(sections, {})) == 480


@pytest.mark.parametrize(
    ("start_volts", "printed"), [((7196, Fraction(-1, 20)), 7574.7), ((7196, Fraction(1, 160)), 7151.3)]
)
def test_series_winding_excited_by_the_output_node(start_volts: tuple[int, Fraction], printed: float) -> None:
    """A distribution power-flow library's note on regulators as autotransformers prints 7574.7 and 7151.3 V."""
    volts, tap = start_volts
    turns = abs(tap) * 1600
    series = ("series", "LINE", "OUT", turns) if tap < 0 else ("series", "OUT", "LINE", turns)
    found = volts * gain((("exciter", "N", "OUT", 1600), series), {})
    assert printed - 0.05 <= float(found) < printed + 0.05


def test_ternary_sections_of_ten_and_thirty_volts_give_nine_steps_of_ten() -> None:
    """H. Attia, IJECE 7(2), 2017, 576-583: 10 V and 30 V secondaries give -40 to +40 V in steps of 10."""
    sections = (("exciter", "N", "LINE", 230), ("s1", "S1", "F1", 10), ("s3", "S3", "F3", 30))
    links = {"P1": ("LINE", "S1", "F1"), "Q1": ("M", "S1", "F1"), "P3": ("M", "S3", "F3"), "Q3": ("OUT", "S3", "F3")}
    states = list(each_state(circuit(design(sections, links))))
    steps = sorted({(state.ratio - 1) * 230 for state in states if state.ratio is not None})
    assert len(states) == 16
    assert steps == [-40, -30, -20, -10, 0, 10, 20, 30, 40]


def test_three_shared_taps_give_four_ratios() -> None:
    """Taps 200/227/258 (own derivation, checked by ngspice too): 227/200, 129/100, 227/258, 1."""
    ratios = {state.energised: state.ratio for state in each_state(circuit(pair()))}
    assert ratios == {
        (): Fraction(227, 200),
        ("KO",): Fraction(129, 100),
        ("KL",): Fraction(227, 258),
        ("KL", "KO"): Fraction(1),
    }


@pytest.mark.parametrize("relay", [0, 1])
def test_a_bridged_changeover_shorts_the_section_between_its_throws(relay: int) -> None:
    made = circuit(pair())
    found = outcome(made, made.closed({relay: Position.BRIDGED}))
    assert found == NoGain(Kind.SHORTED, "closed contacts bridge turns of one core")


def test_a_relay_in_flight_closes_neither_throw() -> None:
    made = circuit(pair())
    assert outcome(made, made.closed({0: Position.FLIGHT})).kind is Kind.UNFED
    assert outcome(made, made.closed({1: Position.FLIGHT})).kind is Kind.FLOATING


def test_commons_on_the_winding_ends_short_in_two_of_four_codes() -> None:
    """A reversing pair with its commons on the section's ends: equal throws short the section (own derivation)."""
    sections = (("exciter", "N", "LINE", 150), ("section", "S", "F", 24))
    links = {"KS": ("S", "LINE", "OUT"), "KF": ("F", "LINE", "OUT")}
    kinds = {state.energised: (state.kind, state.ratio) for state in each_state(circuit(design(sections, links)))}
    assert kinds[()] == (Kind.SHORTED, None)
    assert kinds["KS", "KF"] == (Kind.SHORTED, None)
    assert kinds[("KF",)] == (Kind.BOOST, Fraction(29, 25))
    assert kinds[("KS",)] == (Kind.BUCK, Fraction(21, 25))


def test_parallel_sections_of_equal_turns_are_no_short() -> None:
    sections = (("a", "N", "T", 100), ("b", "N", "T", 100), ("c", "T", "OUT", 10))
    assert gain(sections, {}, terminals=("T", "N", "OUT")) == Fraction(11, 10)


def test_parallel_sections_of_unequal_turns_are_a_short() -> None:
    sections = (("a", "N", "T", 100), ("b", "N", "T", 99), ("c", "T", "OUT", 10))
    assert state_of(circuit(design(sections, {}, terminals=("T", "N", "OUT"))), ()).kind is Kind.SHORTED


def test_line_tied_to_neutral_is_a_short() -> None:
    made = circuit(design(TAPPED, {"K": ("LINE", "A", "N"), "KO": ("OUT", "B", "C")}))
    found = state_of(made, ("K",)).outcome
    assert found == NoGain(Kind.SHORTED, "closed contacts tie line to neutral")


def test_two_cores_in_cascade_multiply() -> None:
    """A second core excited across part of the first: 200:100 and then 50:80, so 0.5 * 1.6."""
    sections = (
        ("first", "N", "LINE", (200, "one")),
        ("second", "N", "MID", (100, "one")),
        ("third", "N", "MID", (50, "two")),
        ("fourth", "N", "OUT", (80, "two")),
    )
    found = state_of(circuit(design(sections, {})), ()).outcome
    assert found == Gain(Kind.BUCK, Fraction(4, 5), Fraction(160), Fraction(200))


def test_an_unexcited_core_in_the_path_leaves_the_output_undetermined() -> None:
    """A section of a core that nothing excites is a choke; its voltage depends on the load."""
    sections = (("exciter", "N", "LINE", (200, "one")), ("choke", "LINE", "OUT", (40, "two")))
    assert state_of(circuit(design(sections, {})), ()).kind is Kind.UNDETERMINED


def test_a_loop_through_two_cores_is_no_short() -> None:
    sections = (("one", "N", "LINE", (200, "a")), ("two", "N", "LINE", (90, "b")), ("tap", "N", "OUT", (45, "b")))
    assert gain(sections, {}) == Fraction(1, 2)


def test_the_kinds_without_a_ratio() -> None:
    make = {"K": ("LINE", None, "A")}
    assert state_of(circuit(design(TAPPED, make, terminals=("LINE", "N", "C"))), ()).kind is Kind.UNFED
    loose = {"K": ("OUT", None, "A")}
    assert state_of(circuit(design(TAPPED, loose, terminals=("C", "N", "OUT"))), ()).kind is Kind.FLOATING
    dead = {"K": ("OUT", "N", "A")}
    assert state_of(circuit(design(TAPPED, dead, terminals=("C", "N", "OUT"))), ()).kind is Kind.DEAD


def test_line_straight_to_output_without_turns_is_a_bypass() -> None:
    links = {"K": [("LINE", "OUT", "B"), ("OUT", None, "C")]}
    made = circuit(design(TAPPED, links))
    assert state_of(made, ()).outcome == Gain(Kind.BYPASS, Fraction(1), None, None)
    assert state_of(made, ("K",)).ratio == Fraction(258, 227)


def test_a_reversed_secondary_gives_a_negative_ratio() -> None:
    sections = (("primary", "N", "LINE", 200), ("secondary", "OUT", "N", 50))
    found = state_of(circuit(design(sections, {})), ())
    assert (found.kind, found.ratio) == (Kind.REVERSED, Fraction(-1, 4))


def test_sensed_points_read_their_share_of_the_input() -> None:
    sections = (*TAPPED, ("sense", "S1", "S2", 20))
    made = circuit(design(sections, PAIR, sensing=Sensing(at=("S2", "S1"))))
    state = made.state(("KL",))
    assert sensed_ratio(made, state, outcome(made, state)) == Fraction(20, 258)


@given(st.lists(st.integers(1, 500), min_size=4, max_size=4))
def test_pair_identity(taps: list[int]) -> None:
    """Line on one common, output on another: the four ratios by size satisfy g1 g4 = g2 g3, whatever the turns.

    And stepping in order of size always moves both relays exactly once.
    """
    sections = [(f"w{i}", "N", f"T{i}", turns) for i, turns in enumerate(taps)]
    links = {"KL": ("LINE", "T0", "T1"), "KO": ("OUT", "T2", "T3")}
    states = list(each_state(circuit(design(sections, links))))
    ordered = sorted(states, key=lambda state: -(state.ratio or 0))
    ratios = [state.ratio or Fraction(0) for state in ordered]
    assert ratios[0] * ratios[3] == ratios[1] * ratios[2]
    if len(set(ratios)) == 4:
        moves = [len(set(a.energised) ^ set(b.energised)) for a, b in itertools.pairwise(ordered)]
        assert moves == [1, 2, 1]
