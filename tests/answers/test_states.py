"""States: read twice, named, and too many to list."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapplan.answers.states import MOST_BLAMED, States, groups_of, in_winding_names, read_twice, states_of
from tapplan.design.file import load
from tapplan.errors import UsageError
from tapplan.network.turns import Kind
from tests.examples import ROOT, chain, design, pair

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


def test_rows_of_several_states_are_counted_as_so_many() -> None:
    (row, *_) = states_of(pair()).states
    single = States("x", (row, row))
    assert single.total_told == "2 relay states"
    grouped = States("x", (replace(row, count=4), replace(row, count=0), row))
    assert grouped.total_told == "5 relay states in 3 rows"
    twice = "; every row read a second time, by the walks of a graph: the same"
    assert replace(single, read_twice=True).total_told == f"2 relay states{twice}"
    assert States("x", ()).total_told == "0 relay states"


def test_the_states_of_the_pair_by_hand() -> None:
    """Line on A or, driven, C; output on B or C: 200, 227 and 258 turns above neutral."""
    rows = {one.energised: one for one in states_of(pair()).states}
    assert {name: (one.turns_out, one.turns_in, one.line_tap, one.output_tap) for name, one in rows.items()} == {
        (): (227, 200, "A", "B"),
        ("KL",): (227, 258, "C", "B"),
        ("KO",): (258, 200, "A", "C"),
        ("KL", "KO"): (258, 258, "C", "C"),
    }
    assert [one.ratio for one in rows.values()] == [one.turns_out / one.turns_in for one in rows.values()]
    assert rows["KL",].kind == "buck"
    assert rows[()].path == ("LINE", "KL.nc", "A", "B", "KO.nc", "OUT")
    assert {(one.why, one.blamed, one.any, one.count) for one in rows.values()} == {(None, None, None, None)}


def test_a_relay_that_makes_no_difference_is_named_in_its_group() -> None:
    idle = {"KL": ("LINE", "A", "C"), "KO": ("OUT", "B", "C"), "S": ("X", "Y", None)}
    made = design([("base", "N", "A", 200), ("one", "A", "B", 27), ("two", "B", "C", 31)], idle)
    rows = groups_of(made).states
    assert {(one.any, one.count) for one in rows} == {(("S",), 2)}
    assert len(rows) == 4


@pytest.mark.parametrize("more", [0, 1])
def test_contacts_are_blamed_where_few_enough_states_have_no_ratio(
    more: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a throw of KO at rest the output is on nothing in two of four states."""
    made = design(
        [("base", "N", "A", 200), ("one", "A", "C", 58)], {"KL": ("LINE", "A", "C"), "KO": ("OUT", None, "C")}
    )
    monkeypatch.setattr("tapplan.answers.states.MOST_BLAMED", 2 - more)
    rows = [one for one in states_of(made).states if one.ratio is None]
    assert [one.energised for one in rows] == [(), ("KL",)]
    assert {one.blamed is None for one in rows} == {bool(more)}
    assert all(one.why for one in rows)
    assert MOST_BLAMED == 256
