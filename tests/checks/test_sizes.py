"""How bad a witness is: the measures read type by type are those of its fields, and no type is left out."""

from __future__ import annotations

from dataclasses import fields
from fractions import Fraction
from typing import Any

from tapplan.checks.sizes import sizes
from tapplan.checks.witnesses.counted import BrokenInCounts
from tapplan.checks.witnesses.states import LoosePoint
from tests.checks.seeds import found_in_all

F = Fraction


def plainly(witness: Any) -> dict[str, Fraction]:
    """The same by the names of fields."""
    held = {field.name: getattr(witness, field.name) for field in fields(witness)}
    held = {name: value for name, value in held.items() if value is not None}
    found = {"time": held.get("lasts_ms"), "error": held.get("worst_pct"), "current": held.get("current_a"),
             "flux": held.get("flux_t")}  # fmt: skip
    if "factor" in held:
        found["factor"] = abs(held["factor"] - 1)
    if {"from_v", "to_v"} <= held.keys():
        found["stretch"] = held["to_v"] - held["from_v"]
    if {"output_v", "limit_v"} <= held.keys():
        found["excess"] = abs(held["output_v"] - held["limit_v"])
    if "width_mm" in held:
        found["excess"] = held.get("build_mm", held.get("turn_mm", F(0))) - held["width_mm"]
    return {what: size for what, size in found.items() if size is not None}


def test_every_measure_a_witness_has_is_read() -> None:
    seen = set()
    for _, one in found_in_all():
        if not isinstance(one.witness, BrokenInCounts):
            assert sizes(one.witness) == plainly(one.witness), one
            seen |= sizes(one.witness).keys()
    assert seen == {"time", "factor", "error", "current", "flux", "stretch", "excess"}


def test_what_breaks_in_counts_is_as_bad_as_what_breaks() -> None:
    broken = [one.witness for _, one in found_in_all() if isinstance(one.witness, BrokenInCounts)]
    assert broken
    assert all(sizes(one) == plainly(one.case) for one in broken)


def test_a_loose_end_has_no_size() -> None:
    assert sizes(LoosePoint(points=("X",))) == {}
