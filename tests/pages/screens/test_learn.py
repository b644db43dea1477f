"""A board found again, on a screen: each part from a lesson made by hand, there or left out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from tapplan.answers.learn import MOST_SHOWN, Lesson, PoleRow, SectionRow, SettlingRow, UnprobedRow, WantedRow
from tapplan.exact import Span
from tapplan.pages.screens.learn import NO_CONTACT, screen
from tests.pages.screens.test_verdict import lines

F = Fraction
WIRING = {"K": (PoleRow(relay="K", com="OUT", nc="LINE", no="A"),)}
SECTION = SectionRow(
    ends=("N", "A"), low="N", high="A", share=F(1), share_within=Span(F(1), F(1)), share_told="1.000", turns=None,
    turns_within=None, turns_told=None,
)  # fmt: skip
LESSON = Lesson(
    title="x", relays=("K",), wires=(), wirings=(WIRING,), settling=None, sections=(SECTION,), unclear=(),
    unprobed=(), clashes=(), unused=(), idle=(), unplaced=(), next=None, settled=True, whole=True, measured=True,
    known_turns=True,
)  # fmt: skip


def shown(**parts: Any) -> list[str]:
    return [" ".join(line.split()) for line in lines(screen(replace(LESSON, **parts), 0))]


def test_a_settled_board_by_hand() -> None:
    assert shown() == [
        "Wiring found again: x",
        "", "Contacts", "relay common at rest driven", "K OUT LINE A",
        "", "Sections", "from to share of the pair fed", "N A 1.000",
        "", "Nothing is open.",
    ]  # fmt: skip


def test_sections_are_shown_where_volts_were_read_and_else_it_is_said_that_none_were() -> None:
    told = "No volts on a small source were read, so no turns are known."
    without = shown(measured=False, sections=())
    assert "Sections" not in without
    assert without[-4:] == ["", told, "", "Nothing is open."]
    assert told not in shown()
    unknown = shown(known_turns=False)
    assert unknown[unknown.index("N A 1.000") + 1].startswith("A few turns of known number")


def test_wirings_are_numbered_from_one_where_there_are_several() -> None:
    several = shown(wirings=(WIRING, WIRING), settled=False)
    assert [line for line in several if line.startswith("Wiring ")] == [
        "Wiring found again: x",
        "Wiring 1",
        "Wiring 2",
    ]
    assert several[1] == "2 wirings explain the readings."
    assert "Contacts" not in several
    many = shown(wirings=(WIRING,) * (MOST_SHOWN + 1))
    assert f"Wiring {MOST_SHOWN}" in many
    assert f"Wiring {MOST_SHOWN + 1}" not in many


def test_without_a_relay_or_a_wiring_nothing_is_said_of_contacts() -> None:
    settling = SettlingRow(coils=("K",), between=("A", "B"), joined_in=1, of=2)
    undriven = shown(relays=(), settling=settling)
    assert undriven[1:3] == ["", "No coil was driven in any reading, so no contact can be told from a wire."]
    unexplained = shown(wirings=(), settling=settling)
    assert unexplained[1].startswith("No wiring of one or two changeovers a relay explains the readings")
    for text in (undriven, unexplained):
        assert "Contacts" not in text
        assert settling.told not in text
    assert settling.told in shown(settling=settling)


def test_what_is_joined_never_measured_and_to_be_read_next_has_its_lines() -> None:
    unprobed = tuple(UnprobedRow(relay=f"K{number}", driven=True, between=("A", "B")) for number in range(6))
    wanted = WantedRow(reading="rest: ohms A B", condition="rest", measure="ohms A B", asked="Measure A to B.")
    text = shown(wires=(("A", "B"), ("C", "D", "E")), unprobed=unprobed, next=wanted)
    assert text[1:3] == ["Always joined, one point: A, B", "Always joined, one point: C, D, E"]
    assert [line for line in text if line.endswith("was never measured.")] == [
        f"Open: with K{number} driven, A to B was never measured." for number in range(MOST_SHOWN)
    ]
    assert text[-3:] == ["Nothing is open.", "Next: rest: ohms A B", "Measure A to B."]


def test_clashes_and_what_nothing_places_stand_over_the_end() -> None:
    clashes = tuple((f"P{number}", "Q") for number in range(6))
    text = shown(clashes=clashes, idle=("KX",), unplaced=("R",), settled=False)
    assert text[-8:] == [
        *(f"The volts that P{number} and Q show fit no wiring found yet." for number in range(MOST_SHOWN)),
        "Open: no contact of KX was found.", "Open: R is on no winding and no contact.", "", "Not settled yet.",
    ]  # fmt: skip


def test_a_relay_without_a_contact_is_named_beside_one_that_has_some() -> None:
    text = shown(relays=("K", "KX"), wirings=({**WIRING, "KX": ()},))
    assert text[text.index("K OUT LINE A") + 1] == f"KX {NO_CONTACT}"
