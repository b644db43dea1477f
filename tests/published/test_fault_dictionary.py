"""The fault dictionary of plan S1, worked out by a program that is not part of this project.

Cells are the ratio in bands 1 to 4; None: no ratio ("open", or a path through an unexcited section). The row of the
top tap's lead is left out: that program opens each contact's own wire to the tap, tapplan the one lead between the
winding and the point where the contacts meet, so that in band 3 the load still hangs straight on the line.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.checks.faulted import FaultRow, fault_table, never_survived
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.network.turns import Gain
from tests.published.test_six_plans import PLANS, design_of

F = Fraction
B1, B2, ONE, B4 = F(64, 49), F(8, 7), F(1), F(7, 8)

DICTIONARY: dict[tuple[str, str], tuple[Fraction | None, ...]] = {
    ("RI", "stuck-rest"): (ONE, B4, ONE, B4),
    ("RI", "stuck-driven"): (B1, B2, B1, B2),
    ("RO", "stuck-rest"): (B1, B1, ONE, ONE),
    ("RO", "stuck-driven"): (B2, B2, B4, B4),
    ("RI", "nc-open"): (B1, B2, None, None),
    ("RI", "no-open"): (None, None, ONE, B4),
    ("RO", "nc-open"): (None, B2, None, B4),
    ("RO", "no-open"): (B1, None, ONE, None),
    ("T343", "lead-open"): (None, None, ONE, B4),
    ("T392", "lead-open"): (B1, None, ONE, None),
    ("N-T343", "open"): (None, None, ONE, None),
    ("T343-T392", "open"): (None, None, ONE, None),
    ("T392-T448", "open"): (None, B2, ONE, None),
}


def ratio(row: FaultRow) -> Fraction | None:
    return row.outcome.ratio if isinstance(row.outcome, Gain) else None


@pytest.fixture(scope="module")
def table() -> list[FaultRow]:
    return fault_table(review(design_of(PLANS["S1"], bands=True)))


@pytest.mark.parametrize("fault", DICTIONARY, ids=" ".join)
def test_the_dictionary(table: list[FaultRow], fault: tuple[str, str]) -> None:
    rows = {row.row.name: ratio(row) for row in table if (row.fault.part, row.fault.fault) == fault}
    assert [rows[f"state {band}"] for band in (1, 2, 3, 4)] == list(DICTIONARY[fault])


def test_every_part_fault_and_band_has_its_row(table: list[FaultRow]) -> None:
    """2 relays with 6 faults each, 3 sections, 6 points with leads (N, three taps, and no terminal of its own)."""
    pairs = {(row.fault.part, row.fault.fault) for row in table}
    assert len(table) == 4 * len(pairs)
    assert {part for part, fault in pairs if fault == "lead-open"} == {"N", "T343", "T392", "T448"}
    assert len(pairs) == 2 * 6 + 3 + 4 + 4  # and four ways in which the reading can be wrong


def test_the_worst_comes_first_and_bridged_relays_are_never_survived(table: list[FaultRow]) -> None:
    assert [row.fault.fault for row in table[:8]] == ["bridged"] * 8
    never = {(one.part, one.fault) for one in never_survived(table)}
    assert {("RI", "bridged"), ("RO", "bridged"), ("RI", "com-open"), ("RO", "com-open")} <= never


def test_findings_name_shorts_and_overvoltages() -> None:
    """RI stuck driven: 64/49 in band 3, whose hold reaches 250.27 V: 326.9 V."""
    found = findings(design_of(PLANS["S1"], bands=True))
    shorts = [one.where for one in found if one.code == "stuck-short"]
    assert shorts == ["RI bridged", "RO bridged"]
    over = {one.where: one.witness for one in found if one.code == "stuck-overvoltage"}
    witness = over["RI stuck-driven"]
    assert witness.ratio == B1
    assert witness.input_v == F("250.27")
    assert witness.output_v == B1 * F("250.27")
