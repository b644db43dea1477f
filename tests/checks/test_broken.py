"""The stage with one thing broken, standing by standing: against a stage broken in other terms."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from tapplan.checks.broken import broken, known_faults, whole
from tapplan.checks.faulted import fault_table
from tapplan.checks.review import Review, review
from tapplan.control.misreading import Misreading
from tapplan.control.moves import energised_in
from tapplan.design.file import load
from tapplan.network.turns import Gain
from tests.examples import SHIPPED
from tests.outside.broken import broken_stage, copper_of

EACH = pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)


@cache
def reviewed(path: Path) -> Review:
    return review(load(path))


@EACH
def test_every_fault_in_every_standing_does_what_a_stage_broken_apart_does(path: Path) -> None:
    one, stage, shorted = reviewed(path), copper_of(path.read_text(encoding="utf-8")), 0
    for fault in known_faults(one):
        apart = broken_stage(stage, fault.part, fault.fault)
        for node, found in zip(one.decisions.nodes, broken(one, fault), strict=True):
            energised = energised_in(one.table, node.standing)
            expected = apart.outcome(energised)
            assert (found.outcome.ratio if isinstance(found.outcome, Gain) else None) == expected.ratio, fault
            assert (found.outcome.kind.value == "shorted") == (expected.kind == "shorted"), fault
            if expected.kind != "shorted":
                assert found.sensed == apart.read(energised), fault
            shorted += expected.kind == "shorted"
    assert shorted


@EACH
def test_the_fault_table_and_the_page_know_the_same_faults(path: Path) -> None:
    one = reviewed(path)
    assert {row.fault for row in fault_table(one)} == set(known_faults(one))
    assert len(known_faults(one)) == len(set(known_faults(one)))
    copper_first = [isinstance(fault, Misreading) for fault in known_faults(one)]
    assert copper_first == sorted(copper_first)


@EACH
def test_with_nothing_broken_it_is_the_table(path: Path) -> None:
    one = reviewed(path)
    for node in one.decisions.nodes[:-1]:
        row = one.table.rows[node.standing.number]  # type: ignore[union-attr]
        found = whole(one, node.standing)
        assert found.outcome == row.state.outcome
        assert found.sensed == row.sensed
        assert found.closed == one.circuit.state(row.energised)


def test_a_reading_that_is_off_is_off_by_its_factor() -> None:
    one = reviewed(SHIPPED[0])
    standing = one.decisions.nodes[0].standing
    healthy = whole(one, standing).sensed or 0
    read = {
        fault.fault: next(broken(one, fault)).sensed for fault in known_faults(one) if isinstance(fault, Misreading)
    }
    assert read == {
        "scaled-high": healthy * 11 / 10,
        "scaled-low": healthy * 9 / 10,
        "lost": 0,
        "frozen": healthy,
    }
