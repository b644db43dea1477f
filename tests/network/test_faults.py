"""Single faults of the tapped pair, each worked by hand: what opens, what stands wrong, what the line then sees."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.faults import Fault, closed_under, edited, single_faults, wiring_faults
from tapplan.network.symbolic import symbolic_ratio
from tapplan.network.turns import Kind, outcome
from tests.examples import PAIR, TAPPED, design

F = Fraction
STAGE = circuit_of(
    design(TAPPED, PAIR)
)  # taps A at 200 turns, B at 227, C at 258; KL: LINE to A or C, KO: OUT to B or C


def seen(fault: Fault, *driven: str, stage: Circuit = STAGE) -> tuple[Kind, Fraction | None]:
    circuit = edited(stage, fault)
    found = outcome(circuit, closed_under(circuit, [fault], driven))
    return found.kind, getattr(found, "ratio", None)


def test_every_part_that_can_fail_is_there_in_the_order_of_the_file() -> None:
    of_relays = ("stuck-rest", "stuck-driven", "nc-open", "no-open", "com-open", "bridged")
    assert [(one.part, one.fault) for one in single_faults(STAGE)] == [
        *((relay, fault) for relay in ("KL", "KO") for fault in of_relays),
        *((winding, "open") for winding in ("base", "one", "two")),
        *((point, "lead-open") for point in ("N", "A", "B", "C")),
    ]


def test_a_pole_without_a_throw_cannot_have_it_open_or_bridged() -> None:
    single = circuit_of(design(TAPPED, {"KL": ("LINE", "A", None), "KO": ("OUT", None, "C")}))
    found = {(one.part, one.fault) for one in single_faults(single)}
    assert {fault for part, fault in found if part == "KL"} == {"stuck-rest", "stuck-driven", "nc-open", "com-open"}
    assert {fault for part, fault in found if part == "KO"} == {"stuck-rest", "stuck-driven", "no-open", "com-open"}


@pytest.mark.parametrize(
    ("fault", "driven", "ratio"),
    [
        ("stuck-rest", ("KL",), F(227, 200)),  # the line stays on A
        ("stuck-driven", (), F(227, 258)),  # the line stands on C
        ("nc-open", ("KL",), F(227, 258)),  # does not matter while driven
        ("no-open", (), F(227, 200)),
    ],
)
def test_an_armature_or_a_contact_that_fails_as_the_relay_stands(
    fault: str, driven: tuple[str, ...], ratio: Fraction
) -> None:
    assert seen(Fault("KL", fault, 0, None if "stuck" in fault else 1), *driven)[1] == ratio  # type: ignore[arg-type]


@pytest.mark.parametrize(("fault", "driven"), [("nc-open", ()), ("no-open", ("KL",)), ("com-open", ())])
def test_a_contact_that_does_not_close_leaves_the_stage_unfed(fault: str, driven: tuple[str, ...]) -> None:
    assert seen(Fault("KL", fault, 0, 1), *driven) == (Kind.UNFED, None)  # type: ignore[arg-type]


@pytest.mark.parametrize("driven", [(), ("KL",)])
def test_a_relay_on_both_throws_shorts_the_58_turns_between_them(driven: tuple[str, ...]) -> None:
    assert seen(Fault("KL", "bridged", 0, 1), *driven)[0] is Kind.SHORTED


def test_a_winding_turned_round_bucks_instead() -> None:
    """The output then stands at 200 - 27 = 173 turns."""
    assert seen(Fault("one", "reversed"))[1] == F(173, 200)
    assert seen(Fault("two", "reversed"), "KL", "KO")[1] == 1
    assert seen(Fault("two", "reversed"), "KO")[1] == F(196, 200)


@pytest.mark.parametrize("winding", ["base", "one", "two"])
def test_shorted_turns_short_the_core_whatever_the_relays_do(winding: str) -> None:
    for driven in ((), ("KL",), ("KO",), ("KL", "KO")):
        assert seen(Fault(winding, "shorted-turns"), *driven)[0] is Kind.SHORTED


def test_shorted_turns_of_one_core_are_no_short_of_another() -> None:
    """Two cores: a loop on the second, which nothing feeds and whose winding carries nothing."""
    sections = (("a", "N", "A", (200, "one")), ("b", "A", "B", (27, "one")), ("far", "P", "Q", (50, "two")))
    two = circuit_of(design(sections, {}, terminals=("A", "N", "B")))
    for winding, core in (("a", "one"), ("b", "one"), ("far", "two")):
        made = edited(two, Fault(winding, "shorted-turns"))
        assert two.cores[made.sections[-1].core] == core
        assert made.sections[-1].start == made.sections[-1].finish
    assert seen(Fault("a", "shorted-turns"), stage=two)[0] is Kind.SHORTED


def test_two_leads_swapped_are_two_taps_swapped() -> None:
    """A and B: the line stands on 227 turns, the output on 200."""
    assert seen(Fault("A", "leads-swapped", other="B"))[1] == F(200, 227)


def test_a_lead_that_is_off_takes_its_contacts_with_it() -> None:
    assert seen(Fault("A", "lead-open"))[0] is Kind.UNFED
    assert seen(Fault("A", "lead-open"), "KL")[1] == F(227, 258)


def test_what_a_repair_can_leave_is_every_pair_of_leads_and_every_winding_twice() -> None:
    found = list(wiring_faults(STAGE))
    assert len([one for one in found if one.fault == "leads-swapped"]) == 6
    assert [one.part for one in found if one.fault == "reversed"] == ["base", "one", "two"]
    assert [one.part for one in found if one.fault == "shorted-turns"] == ["base", "one", "two"]


def test_an_open_winding_leaves_no_ratio_in_winding_names_where_line_or_output_hangs() -> None:
    """Without `one` the output's tap hangs; without `base` all of it does; without `two` nothing is missed."""
    closed = STAGE.state(())
    for winding in ("one", "base"):
        assert symbolic_ratio(edited(STAGE, Fault(winding, "open")), closed) is None
    kept = symbolic_ratio(edited(STAGE, Fault("two", "open")), closed)
    assert kept is not None
    assert kept.subs({one: {"base": 200, "one": 27}[one.name] for one in kept.free_symbols}) == F(227, 200)
