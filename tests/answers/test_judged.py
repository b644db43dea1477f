"""Each figure of `rate` is held against a limit that some finding knows, or marked as information."""

from __future__ import annotations

import pytest

from tapplan.answers.columns import ColumnKind, fields_of
from tapplan.answers.judged import JUDGED, ROWS
from tapplan.answers.rate import Rated
from tapplan.checks.rules import CODES
from tests.checks.seeds import found_in_all


@pytest.mark.parametrize("part", ROWS)
def test_every_figure_stands_in_the_table_once(part: str) -> None:
    figures = [
        field.key
        for field in fields_of(ROWS[part])
        if field.column.kind in (ColumnKind.NUMBER, ColumnKind.ENDS) and not field.column.for_people
    ]
    listed = [one.key for one in JUDGED[part]]
    assert sorted(listed) == sorted(figures)
    assert len(figures) >= 1


def test_every_part_of_the_answer_is_there() -> None:
    """Beside the heat, which repeats the bands for people, and the findings."""
    assert set(ROWS) - {"states"} == set(Rated.parts()) - {"findings"}
    assert set(JUDGED) == set(ROWS)


def test_each_code_named_is_one_that_defects_bring_about() -> None:
    named = {one.code for held in JUDGED.values() for one in held if one.code is not None}
    met = {one.code for _, one in found_in_all()}
    assert named <= met
    assert named <= set(CODES)
    assert len(named) == 15
    assert all(one.by for held in JUDGED.values() for one in held)
