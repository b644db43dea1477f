"""What the readings of a board say: every row as it was found, and a sentence for everything that is open."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from rich.console import Console

from tapplan.answers.learn import MOST_SHOWN, Lesson, UnprobedRow, header, lesson
from tapplan.bench.continuity import contacts
from tapplan.bench.distances import Unclear
from tapplan.bench.heights import KnownWinding
from tapplan.bench.learned import Learned, learned
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.control.table import control_table
from tapplan.pages.screens import learn as screen
from tests.bench.test_learned import TEST, continuity, ratios
from tests.examples import chain, pair

F = Fraction
FINE = Meter(F(1, 10), F(1, 100), F(1), F(1))


def board(*, wound: bool = True) -> Learned:
    """The pair: 200, 27 and 31 turns, KL and KO; with 20 turns wound on, or without."""
    stage = control_table(pair())
    volts = ratios(stage, 20)[: None if wound else -1]
    return learned(pair(), [*continuity(stage), *volts], FINE, KnownWinding(*TEST, F(20)) if wound else None)


def shown(answer: Lesson) -> str:
    console = Console(width=400, no_color=True)
    with console.capture() as captured:
        console.print(screen.screen(answer, 400))
    return captured.get()


def test_a_settled_board_gives_its_poles_and_its_whole_turns() -> None:
    found = board()
    answer = lesson(found, "the pair")
    assert answer.settled
    assert not answer.wrong
    assert answer.wirings_told == ""
    assert answer.turns_told == []
    (wiring,) = answer.wirings
    assert {name: [(one.com, one.nc, one.no) for one in poles] for name, poles in wiring.items()} == {
        relay.name: [(pole.com, pole.nc, pole.no) for pole in relay.poles] for relay in pair().relays
    }
    assert [one.turns for one in answer.sections] == [200, 27, 31]
    for one, turns in zip(answer.sections, (200, 27, 31), strict=True):
        assert abs(one.share - F(turns, 258)) < F(1, 1000)
        assert one.share_within.low <= F(turns, 258) <= one.share_within.high
        assert one.turns_within[0] <= turns <= one.turns_within[1]
        assert one.turns_told == f"{turns} ({one.turns_within[0]} to {one.turns_within[1]})"
    text = shown(answer)
    assert "Contacts" in text
    assert "Wiring 1" not in text
    assert text.rstrip().endswith("Nothing is open.")


def test_without_a_winding_of_known_turns_only_shares_are_known() -> None:
    found = board(wound=False)
    answer = lesson(found, "the pair")
    assert answer.measured
    assert not answer.known_turns
    assert [(one.turns, one.turns_within, one.turns_told) for one in answer.sections] == [(None, None, None)] * 3
    assert answer.turns_told == [
        "A few turns of known number, wound on and measured (--test-winding), would give turns."
    ]
    assert header(found, "board.txt") == (
        "# Found again by `tapplan bench --learn board.txt`: compare with the board before use.",
        "# Turns are relative: no winding of known turns was measured.",
    )
    assert header(board(), "board.txt") == header(found, "board.txt")[:1]


def test_several_wirings_are_counted_and_the_telling_reading_is_asked_for() -> None:
    stage = control_table(chain(2))
    rest = [one for one in continuity(stage, every_state=False) if not one.measure.condition.coils]
    found = Learned(contacts(rest, stage.circuit.relays), None, stage.circuit.relays)
    answer = lesson(found, "x")
    count = len(found.contacts.wirings)
    assert count > 1
    assert answer.wrong
    assert header(found, "y")[1] == f"# One of {count} wirings that explain the readings."
    assert len(header(found, "y")) == 2  # nothing is said of turns where none were measured
    assert answer.wirings_told in (
        f"{count} wirings explain the readings.",
        f"{count} wirings explain the readings, at least.",
    )
    for whole in (True, False):
        told = replace(answer, whole=whole).wirings_told
        assert told.endswith("readings." if whole else "at least.")
    one, settling = found.contacts.settling, answer.settling
    assert one is not None
    assert settling is not None
    assert (settling.between, settling.joined_in, settling.of) == (one.ends, one.joined, one.of)
    driven_told = " and ".join(sorted(one.coils)) or "no coil"
    assert settling.told == (
        f"Open: with {driven_told} driven, {one.ends[0]} and {one.ends[1]} are joined in {one.joined} of {one.of} "
        "wirings."
    )
    assert replace(settling, coils=()).told.startswith("Open: with no coil driven,")
    assert replace(settling, coils=("KA", "KB")).told.startswith("Open: with KA and KB driven,")
    text = shown(answer)
    assert text.count("\nWiring ") == min(count, MOST_SHOWN)
    assert settling.told in text
    assert answer.turns_told == ["No volts on a small source were read, so no turns are known."]
    assert text.rstrip().endswith("Not settled yet.")


def test_what_is_open_is_told_in_its_own_sentence() -> None:
    found = board()
    turns = found.turns
    assert turns is not None
    open_still = replace(found, turns=replace(turns, unclear=(Unclear("B", "P"),), unused=("X to Y",)))
    answer = lesson(open_still, "x")
    assert answer.turns_told == [
        "Not used, for its source stands on points that nothing else placed: X to Y",
        "Open: on which side B lies. Measure volts between B and P.",
    ]
    assert [UnprobedRow(relay="KL", driven=driven, between=("A", "B")).told for driven in (True, False)] == [
        "Open: with KL driven, A to B was never measured.",
        "Open: with KL at rest, A to B was never measured.",
    ]
    clashing = replace(answer, clashes=(("A", "B"),))
    assert clashing.clashes_told == ["The volts that A and B show fit no wiring found yet."]
    assert clashing.clashes_told[0] in shown(clashing)
    lost = replace(answer, idle=("KX",), unplaced=("Q",))
    assert lost.left_told == ["Open: no contact of KX was found.", "Open: Q is on no winding and no contact."]
    assert all(told in shown(lost) for told in lost.left_told)


def test_the_next_reading_stands_in_the_words_of_a_reading_and_in_a_sentence() -> None:
    source = Condition("low", frozenset({"K1"}), ("LINE", "N"), F(3))
    answer = lesson(board(), "x", Measure(source, "volts", ("T1", "T 2")))
    assert answer.next is not None
    assert (answer.next.condition, answer.next.measure) == ("low 3 V on LINE N coils K1", 'volts T1 "T 2"')
    assert answer.next.reading == f"{answer.next.condition}: {answer.next.measure}"
    assert f"Next: {answer.next.reading}\n{answer.next.asked}" in shown(answer)
    assert "between T1 and T 2" in answer.next.asked


@pytest.mark.parametrize("relays", [(), ("KL",)])
def test_no_wiring_says_why(relays: tuple[str, ...]) -> None:
    answer = replace(lesson(board(), "x"), relays=relays, wirings=(), settled=False)
    start = "No wiring of one or two" if relays else "No coil was driven"
    assert answer.wirings_told.startswith(start)
    text = shown(answer)
    assert start in text
    assert "Contacts" not in text


def test_a_relay_without_a_contact_is_named_all_the_same() -> None:
    answer = lesson(board(), "x")
    bare = replace(answer, wirings=({"KL": (), "KO": answer.wirings[0]["KO"]},))
    assert screen.NO_CONTACT in next(line for line in shown(bare).splitlines() if "KL" in line)
