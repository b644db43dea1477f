"""The compiled controller as data: nodes, coils and orders of one relay on two bands, by hand from its holds."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tapplan.answers.decisions import Compiled, compiled
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Design
from tests.examples import ROOT, design

SECTIONS = [("base", "N", "LINE", 200), ("more", "LINE", "A", 20)]


def stage() -> Design:
    """Boost kept from 180 to 230.5 V, straight from 220 to 270 V; nothing is said of a backup."""
    return design(
        SECTIONS,
        {"K": ("OUT", "LINE", "A"), "S": ("X", "LINE", "A")},
        bands=[("boost", ("K", "S"), 180, "230.5"), ("straight", (), 220, 270)],
    )


def cuts(answer: Compiled, row: str) -> list[tuple[str, bool]]:
    (node,) = (one for one in answer.nodes if one.row == row)
    return [(one.mark, one.above) for one in node.cuts]


def test_a_row_is_left_below_its_hold_and_just_above_it_for_the_neighbour_that_holds_what_is_read() -> None:
    """Ends belong to a hold: boost goes at less than 180 V, at more than 230.5 V, and beyond 270 V nothing holds."""
    answer = compiled(control_table(stage()))
    assert [one.row for one in answer.nodes] == ["boost", "straight", "away"]
    boost, straight, _ = answer.nodes
    assert cuts(answer, "boost") == [("180", False), ("461/2", True), ("270", True)]
    assert boost.answers == ("away", "boost", "straight", "away")
    assert boost.marks == "180, 230.5, 270"
    assert cuts(answer, "straight") == [("180", False), ("220", False), ("270", True)]
    assert straight.answers == ("away", "boost", "straight", "away")


def test_every_node_has_one_answer_more_than_cuts_and_every_standing_its_coils_in_the_order_of_the_file() -> None:
    answer = compiled(control_table(stage()))
    assert {len(one.answers) - len(one.cuts) for one in answer.nodes} == {1}
    assert answer.coils == {"boost": ("K", "S"), "straight": (), "away": ()}
    turned = replace(stage(), relays=stage().relays[::-1])
    assert compiled(control_table(turned)).coils["boost"] == ("S", "K")


def test_orders_are_those_of_the_moves_that_have_one() -> None:
    assert compiled(control_table(stage())).orders == ()
    made = load(ROOT / "designs" / "ridge-dispensary.toml")
    assert compiled(control_table(made)).orders == ()
    ordered = replace(made, sequence=replace(made.sequence, order="safest"))
    answer = compiled(control_table(ordered))
    orders = {(one.old, one.new): one.order for one in answer.orders}
    assert orders["boost 1", "direct"] == ("KL", "KO")
    assert orders["direct", "boost 1"] == ("KO", "KL")
    assert ("boost 2", "boost 1") not in orders


@pytest.mark.parametrize("part", ["nodes", "orders"])
def test_the_rule_is_told_without_the_name_of_its_form(part: str) -> None:
    answer = compiled(control_table(stage()))
    told: Any = answer.told()
    whole: Any = answer.as_json()
    assert whole["to"] == "decisions"
    assert "to" not in told
    assert set(told) == {"nodes", "coils", "orders"}
    assert answer.rows(part) == getattr(answer, part)
    assert answer.parts() == ("nodes", "orders")
    assert told["nodes"][0]["cuts"][1] == {"mark": "461/2", "above": True}
