"""What is worse from tick to tick: by code, where it was not there before or was milder."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from tapplan.checks import ticked
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.ticked import IN_TIME, worse_at_ticks
from tapplan.checks.witnesses.states import LoosePoint

NOTE, WARNING, FAULT = Severity.NOTE, Severity.WARNING, Severity.FAULT


def worse(monkeypatch: pytest.MonkeyPatch, before: Sequence[Severity], after: Sequence[Severity]) -> list[str]:
    """What is told of findings of one code, numbered, found with the times stated and at ticks."""
    found = {
        name: [Finding("loose-end", one, str(place), LoosePoint(points=("X",))) for place, one in enumerate(many)]
        for name, many in (("stated", before), ("ticks", after))
    }
    made: Any = type("Made", (), {"table": "stated"})
    monkeypatch.setattr(ticked, "review_of", lambda table: table)
    monkeypatch.setattr(ticked, "at_ticks", lambda program, tick_ms: "ticks" if tick_ms == 20 else "stated")
    monkeypatch.setattr(ticked, "findings_in", lambda table, codes: found[table] if codes == IN_TIME else [])
    return [one.where for one in worse_at_ticks(made, 20)]


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ([], [], []),
        ([], [NOTE], ["0"]),
        ([NOTE], [], []),
        ([NOTE], [NOTE], []),
        ([NOTE], [WARNING], ["0"]),
        ([WARNING], [FAULT], ["0"]),
        ([NOTE], [FAULT], ["0"]),
        ([FAULT], [WARNING], []),
        ([WARNING], [NOTE], []),
        ([WARNING, FAULT, NOTE], [FAULT], []),
        ([NOTE, WARNING], [NOTE, FAULT, WARNING], ["1"]),
        ([], [WARNING, FAULT, FAULT], ["1"]),
    ],
)
def test_the_gravest_of_a_code_is_held_against_the_gravest_before(
    monkeypatch: pytest.MonkeyPatch, before: list[Severity], after: list[Severity], told: list[str]
) -> None:
    assert worse(monkeypatch, before, after) == told
