"""Several designs in one call: the line that each finding stands at, how many are sound, what could not be judged."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.answers.checked import Checked, FileVerdict, checked, judged_file, unjudged_file
from tapplan.answers.findings import FindingRow
from tapplan.answers.verdict import AcceptedRow, PromiseRow, Verdict
from tapplan.checks.finding import Severity
from tapplan.checks.witnesses.file import PastLimit
from tapplan.checks.witnesses.states import Undriven
from tapplan.design.model import Accept
from tapplan.errors import DesignError, Problem
from tests.examples import design

RESTS_ON = Undriven(energised=("K",))
STAGE = replace(
    design(
        [("long", "N", "A", 200), ("long one", "A", "B", 27)],
        {"K": ("OUT", "A", "B"), "KB": ("X", "A", "B")},
        bands=[("low", ("K",), 180, 230), ("low end", (), 220, 270)],
    ),
    accept=(
        Accept(code="idle-relay", reason="spare"),
        Accept(code="idle-relay", where='relay "KB"', reason="spare"),
        Accept(code="idle-relay", reason="to be had"),
    ),
)
# Only the lines of the headers count here, so that each table has its place by hand.
TEXT = """format = 1

[mains]
[[winding]]
name = "long"
[[winding]]
name = "long one"
[[relay]]
name = "K"
[[relay]]
name = "KB"
[[band]]
name = "low"
[[band]]
name = "low end"
[limits]
move_gap_ms = 1
[[accept]]
[[accept]]
[[accept]]
"""
LINES = {line: number for number, line in enumerate(TEXT.splitlines(), 1)}


def row(where: str, witness: Any = RESTS_ON, severity: Severity = Severity.FAULT) -> FindingRow:
    return FindingRow(severity, "idle-relay", where, "so it is", witness)


def verdict(*found: FindingRow, held: bool = True, accepted: tuple[AcceptedRow, ...] = ()) -> Verdict:
    return Verdict(
        title="x",
        sound=held,
        told="Sound." if held else "Not sound.",
        promises=(PromiseRow("chatter", held, None, None, None),),
        findings=found,
        traits=(),
        accepted=accepted,
    )


def line(where: str, text: str = TEXT, witness: Any = RESTS_ON) -> int:
    (placed,) = judged_file("x.toml", text, STAGE, verdict(row(where, witness))).placed
    return placed.line


@pytest.mark.parametrize(
    ("where", "header"),
    [
        ('band "low"', 12),
        ('band "low end"', 14),
        ('bands "low end" and "low"', 14),
        ('"low" to "low end"', 12),
        ('relay "KB"', 10),
        ('relay "K"', 8),
        ("contact KB.no", 10),
        ("contact K.nc", 8),
        ('winding "long one"', 6),
        ('winding "long"', 4),
        ('feed "low"', 3),
        ('relay "low"', 3),
        ('winding "low"', 3),
        ("the mains range", 3),
        ("accept[1]", 18),
        ("accept[3]", 20),
    ],
)
def test_a_finding_stands_at_the_header_of_what_its_place_names_first(where: str, header: int) -> None:
    """What is in quotes without a word before it is a band; a relay may be named by its contact; else the mains."""
    assert line(where) == header


def test_of_two_names_that_begin_at_one_letter_the_longer_is_meant() -> None:
    """Relay `K` is found in `K-2` as well, a letter of which ends its name."""
    relays = (replace(STAGE.relays[0], name="K"), replace(STAGE.relays[1], name="K-2"))
    for order in (relays, relays[::-1]):
        made = replace(STAGE, relays=order)
        (placed,) = judged_file("x.toml", TEXT, made, verdict(row("contact K-2.no"))).placed
        assert placed.line == (10 if order is relays else 8)


def test_a_name_in_quotes_is_no_relay_by_itself() -> None:
    """The band that is called "K" has not the relay's line, though the letters are the same."""
    made = replace(STAGE, bands=(replace(STAGE.bands[0], name="K"), *STAGE.bands[1:]))
    (placed,) = judged_file("x.toml", TEXT, made, verdict(row('band "K"'))).placed
    assert placed.line == 12


def test_a_broken_limit_stands_at_the_limits_and_what_has_no_table_at_the_first_line() -> None:
    past = PastLimit(value=Fraction(2), unit="ms", limit=Fraction(1), side="over", lasts_ms=None)
    assert line('band "low"', witness=past) == LINES["[limits]"] == 16
    assert line('band "low"', "", past) == 1
    assert line('band "low"', "") == 1
    assert line("accept[2]", "") == 1
    assert line("the mains range", "") == 1


def test_an_acceptance_stands_at_the_table_with_its_code_its_place_and_its_reason() -> None:
    rows = tuple(
        AcceptedRow(Severity.NOTE, "idle-relay", where, "so it is", RESTS_ON, reason)
        for where, reason in (('relay "K"', "spare"), ('relay "KB"', "spare"), ('relay "K"', "to be had"))
    )
    placed = judged_file("x.toml", TEXT, STAGE, verdict(accepted=rows)).accepted
    # The first of "spare" has no place, so it sets apart the relay KB too.
    assert [one.line for one in placed] == [18, 18, 20]
    named = replace(STAGE, accept=STAGE.accept[1:])
    (only,) = judged_file("x.toml", TEXT, named, verdict(accepted=rows[1:2])).accepted
    assert (only.line, only.accepted) == (18, rows[1])
    (none,) = judged_file("x.toml", "", named, verdict(accepted=rows[1:2])).accepted
    assert none.line == 1


def test_a_file_that_was_judged_has_its_verdict_and_counts_its_findings() -> None:
    found = verdict(row("x"), row("y", severity=Severity.NOTE), held=False)
    one = judged_file("x.toml", TEXT, STAGE, found)
    assert (one.design, one.verdict, one.told, one.counts) == ("x.toml", found, "Not sound.", "1 fault, 1 note")
    assert [each.finding for each in one.placed] == list(found.findings)
    assert one.faults == found.findings[:1]
    assert judged_file("x.toml", TEXT, STAGE, verdict()).counts == "none"


def unread() -> FileVerdict:
    return unjudged_file(DesignError("bad.toml", (Problem("mains", "nothing", "a table", line=3),)))


def test_a_file_that_could_not_be_judged_says_why() -> None:
    one = unread()
    assert (one.design, one.verdict, one.told, one.counts, one.placed) == (
        "bad.toml", None, "cannot be judged", "", (),
    )  # fmt: skip
    assert one.error == "bad.toml:3: mains: found nothing; accepted: a table"
    assert [each.line for each in one.problems] == [3]
    assert one.faults == ()


def of(*held: bool | None) -> Checked:
    return checked([unread() if one is None else judged_file("x", TEXT, STAGE, verdict(held=one)) for one in held])


@pytest.mark.parametrize(
    ("held", "title", "told", "sound", "wrong"),
    [
        ((), "0 designs", "0 of 0 designs are sound", True, False),
        ((True,), "1 design", "1 of 1 design is sound", True, False),
        ((False,), "1 design", "0 of 1 design is sound", False, True),
        ((True, True), "2 designs", "2 of 2 designs are sound", True, False),
        ((True, False, False), "3 designs", "1 of 3 designs are sound", False, True),
        ((None,), "1 design", "0 of 1 design is sound; 1 could not be judged", False, False),
        ((True, None), "2 designs", "1 of 2 designs are sound; 1 could not be judged", False, False),
        ((None, False), "2 designs", "0 of 2 designs are sound; 1 could not be judged", False, True),
    ],
)
def test_of_several_designs_those_that_are_sound_are_counted(
    held: tuple[bool | None, ...], title: str, told: str, sound: bool, wrong: bool
) -> None:
    """All are sound where each was judged and none has a broken promise; one that was not judged breaks none."""
    found = of(*held)
    assert (found.title, found.told, found.sound, found.wrong) == (title, told, sound, wrong)
    assert len(found.errors) == sum(one is None for one in held)
