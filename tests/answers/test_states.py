"""States: read twice, named, and too many to list."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapplan.answers.states import in_winding_names, read_twice, states_of
from tapplan.design.file import load
from tapplan.errors import UsageError
from tapplan.network.turns import Kind
from tests.examples import ROOT, chain

DESIGNS = ROOT / "designs"
HUT = DESIGNS / "shepherds-hut.toml"


def test_states_read_twice_are_compared_row_by_row() -> None:
    design = load(HUT)
    found = states_of(design)
    assert read_twice(design, found).read_twice
    row = next(one for one in found.states if one.ratio is not None)
    others = tuple(one for one in found.states if one is not row)
    for wrong in (replace(row, ratio=row.ratio + 1), replace(row, kind=Kind.SHORTED.value)):
        with pytest.raises(RuntimeError, match="two readings of the state"):
            read_twice(design, replace(found, states=(*others, wrong)))


def test_states_beyond_the_most_relays_are_not_listed_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tapplan.answers.states.MOST_RELAYS_EACH", 3)
    assert len(states_of(chain(3)).states) == 8
    with pytest.raises(UsageError, match="4 relays, which have 2\\*\\*4 states; accepted: up to 3 relays"):
        states_of(chain(4))


def test_a_state_without_a_ratio_has_no_name_for_it() -> None:
    design = load(HUT)
    rows = in_winding_names(design, states_of(design)).as_json()["states"]
    assert {row["symbolic"] is None for row in rows if row["ratio"] is None} == {True}
    assert all(row["symbolic"] for row in rows if row["ratio"] is not None)


def test_what_is_to_blame_is_told_state_by_state_up_to_a_number_of_them(monkeypatch: pytest.MonkeyPatch) -> None:
    design = load(HUT)
    without = [one for one in states_of(design).states if one.ratio is None]
    assert without
    assert all(one.why and one.blamed for one in without)
    monkeypatch.setattr("tapplan.answers.states.MOST_BLAMED", len(without) - 1)
    assert all(one.blamed is None for one in states_of(design).states)
