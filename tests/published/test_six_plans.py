"""Six plans computed elsewhere (`six_plans.json`): every ratio and relay code, and the inner thresholds' limits."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.rules import findings
from tapplan.control.serving import served
from tapplan.design.model import Design, Sensing
from tapplan.network.circuit import circuit_of
from tapplan.network.states import each_state, state_of
from tests.examples import design

PLANS: dict[str, Any] = json.loads((Path(__file__).parent / "six_plans.json").read_text(), parse_float=str)


def exact(value: Any) -> Fraction:
    return Fraction(str(value))


def design_of(plan: dict[str, Any], bands: bool = False) -> Design:
    drives: dict[str, list[tuple[str, str, str]]] = {name: [] for name in plan["drives_order"]}
    for relay in plan["relays"].values():
        drives[relay["drive"]].append((relay["common"], relay["NC"], relay["NO"]))
    rows: list[tuple[Any, ...]] = []
    if bands:
        rows = [(f"state {s['k']}", energised(plan, s), *holds(plan, s)) for s in plan["states"]]
    return design(
        [(f"{low}-{high}", low, high, turns) for low, high, turns in plan["windings"]],
        drives,
        terminals=("IN", "N", "OUT"),
        mains=(plan["Vnom"], exact(plan["Va"]), exact(plan["Vb"])),
        window=(plan["Vnom"], *map(exact, plan["window"])),
        sensing=Sensing(error_pct=100 * exact(plan["e"])),
        bands=rows,
    )


def energised(plan: dict[str, Any], state: dict[str, Any]) -> tuple[str, ...]:
    return tuple(name for name, bit in zip(plan["drives_order"], state["code"], strict=True) if bit == "1")


def holds(plan: dict[str, Any], state: dict[str, Any]) -> tuple[Fraction, Fraction]:
    """The plan's thresholds, the outermost by tapplan's own rule: d_1 <= (1-e) Vmin, u_n >= (1+e) Vmax."""
    low, high = exact(state["threshold_fall"]), exact(state["threshold_rise"])
    error = exact(plan["e"])
    if state["k"] == 1:
        low = min(low, (1 - error) * exact(plan["Va"]))
    if state["k"] == len(plan["states"]):
        high = max(high, (1 + error) * exact(plan["Vb"]))
    return low, high


@pytest.mark.parametrize("name", PLANS)
def test_every_ratio_of_every_plan(name: str) -> None:
    plan = PLANS[name]
    circuit = circuit_of(design_of(plan))
    for state in plan["states"]:
        assert state_of(circuit, energised(plan, state)).ratio == Fraction(state["gain"])


@pytest.mark.parametrize(("name", "duplicates"), [("S3", 4), ("S6", 7)])
def test_duplicate_states_as_the_plans_count_them(name: str, duplicates: int) -> None:
    """S6: 16 codes, 9 gains, 7 duplicates. S3: codes 001, 010, 011 and 101 repeat the taps of others."""
    ratios = [state.ratio for state in each_state(circuit_of(design_of(PLANS[name])))]
    assert len(ratios) - len(set(ratios)) == duplicates


@pytest.mark.parametrize("name", PLANS)
def test_the_plans_thresholds_keep_the_window_by_our_checks(name: str) -> None:
    """Printed to 0.01 V; no gap, no chatter, and nothing outside the window beyond that rounding."""
    found = [f for f in findings(design_of(PLANS[name], bands=True)) if f.severity is Severity.FAULT]
    assert {f.code for f in found} <= {"out-of-window"}
    for one in found:
        assert one.witness.output_v is not None
        assert one.witness.limit_v is not None
        assert abs(one.witness.output_v - one.witness.limit_v) < Fraction(5, 100)


@pytest.mark.parametrize("name", PLANS)
def test_printed_thresholds_lie_inside_the_room_we_compute(name: str) -> None:
    plan = PLANS[name]
    made = design_of(plan)
    circuit = circuit_of(made)
    cent = Fraction(1, 100)
    for state in plan["states"]:
        one = served(made, circuit, state_of(circuit, energised(plan, state)))
        assert one is not None
        if state["k"] < len(plan["states"]):
            assert exact(state["threshold_rise"]) <= one.highest_keep + cent
        if state["k"] > 1:
            assert exact(state["threshold_fall"]) >= one.lowest_keep - cent
