"""The measures of a witness by hand, and where one stands on the curve."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.marks import CurvePoint, mark_of
from tapplan.checks.sizes import sizes
from tapplan.checks.witnesses import carried, counted, coverage, moving, states, table
from tapplan.checks.witnesses.file import PastLimit

F = Fraction
# Volts, times and shares that no two keys have in common.
KNOWN: dict[str, Any] = {
    "bands": ("a", "b"), "energised": (), "states": ((),), "movers": (), "positions": (), "count": 3, "most": 9,
    "ratio": F(2), "below_ratio": F(1), "side": "over", "curve": "c", "wire": None, "stated": True, "standing": "s",
    "assumed": (), "course_v": (), "charge": "float", "enough_v": (), "load_model": "power", "limited_by": "k",
    "layers": 4, "below": None, "above": None, "safe": None, "contacts": (), "largest": "x",
    "from_v": F(190), "to_v": F(197), "input_v": F(180), "emf_v": F(181), "reading_v": F(182), "least_v": F(183),
    "output_v": F(260), "limit_v": F(253), "most_v": F(270), "load_va": F(500), "permitted_va": F(400),
    "noise_v": F(1), "noise_input_v": F(1), "overlap_v": F(1), "wanted_v": F(3), "lasts_ms": F(40), "limit_ms": F(20),
    "factor": F(3, 4), "allowed_pct": F(110), "window_cycles": F(1), "least_factor": F(3, 4), "most_factor": F(1),
    "current_a": F(12), "limit_a": F(10), "lets_a2s": F(30), "melts_a2s": F(20), "melts_s": F(1), "section_a": F(99),
    "density_a_mm2": F(4), "limit_a_mm2": F(3), "flux_t": F(3, 2), "limit_t": F(1), "worst_pct": F(33),
    "likely_pct": F(22), "limit_pct": F(11), "largest_pct": F(21), "copper_mm2": F(50), "flat_mm": F(7),
    "build_mm": F(9), "width_mm": F(5), "turn_mm": F(8), "rise_k": F(60), "ambient_c": F(30), "reached_c": F(90),
    "limit_c": F(80), "power_w": None, "value": F(6), "unit": "V", "limit": F(5), "least_pct": F(1),
}  # fmt: skip


def made(kind: Any, **changes: Any) -> Any:
    """A witness of some kind from the figures above."""
    return kind(**{key: KNOWN[key] for key in kind.__dataclass_fields__ if key not in changes} | changes)


STRETCH, EXCESS, TIME, FACTOR = {"stretch": F(7)}, {"excess": F(7)}, {"time": F(40)}, {"factor": F(1, 4)}
CURRENT, FLUX, ERROR = {"current": F(12)}, {"flux": F(3, 2)}, {"error": F(33)}
MEASURED: list[tuple[Any, dict[str, Fraction]]] = [
    *((kind, STRETCH) for kind in (coverage.Unserved, coverage.DeadZone, table.Overlap, table.NoisyRound)),
    *((kind, STRETCH) for kind in (states.NeverEntered, states.EitherStart, carried.Backfed)),
    (moving.EndlessRound, STRETCH | TIME),
    *((kind, EXCESS) for kind in (table.HeldOutside, table.HeldBeyond, carried.ContactGap, carried.CoilVolts)),
    *((kind, EXCESS) for kind in (carried.ChargerReach,)),
    (moving.RatioPassed, EXCESS | TIME | FACTOR),
    (states.StuckHigh, EXCESS | FACTOR),
    *((kind, TIME) for kind in (moving.ShortPassed, moving.OpenOutput, moving.FlightRead, PastLimit)),
    *((kind, TIME | FACTOR) for kind in (moving.OpenLine, moving.SuddenStep)),
    *((kind, FACTOR) for kind in (states.RestOutput, table.Wandering)),
    *((kind, CURRENT) for kind in (carried.WireCurrent, carried.ContactCurrent, carried.ContactMaking)),
    *((kind, CURRENT) for kind in (carried.FuseCurrent, carried.FuseInrush, carried.FuseSight)),
    *((kind, FLUX) for kind in (carried.SteadyFlux, carried.SuddenFlux)),
    *((kind, ERROR) for kind in (counted.ReadingBudget, carried.WindowFill, carried.LoadPermitted)),
    (carried.BuildUp, {"excess": F(4)}),
    (carried.TurnTooWide, {"excess": F(3)}),
    *((kind, {}) for kind in (states.LoosePoint, carried.Collapsed, carried.Hotness, table.Rising, states.Undriven)),
]


@pytest.mark.parametrize(("kind", "wanted"), MEASURED, ids=[kind.__name__ for kind, _ in MEASURED])
def test_each_witness_has_its_measures(kind: Any, wanted: dict[str, Fraction]) -> None:
    assert sizes(made(kind, points=("X",)) if kind is states.LoosePoint else made(kind)) == wanted


def test_what_lies_below_its_limit_is_as_far_off_as_what_lies_above() -> None:
    assert sizes(made(table.HeldOutside, output_v=F(200), limit_v=F(207))) == EXCESS
    assert sizes(made(moving.OpenLine, factor=F(5, 4))) == TIME | FACTOR


def test_what_is_not_known_has_no_measure() -> None:
    assert sizes(made(carried.Backfed, from_v=None)) == {}
    assert sizes(made(carried.Backfed, to_v=None)) == {}
    assert sizes(made(carried.CoilVolts, limit_v=None)) == {}
    assert sizes(made(PastLimit, lasts_ms=None)) == {}


def test_in_counts_it_is_that_of_what_breaks() -> None:
    broken = counted.BrokenInCounts(step_v=F(1), broken="dead-zone", case=made(coverage.DeadZone))
    assert sizes(broken) == STRETCH
    assert mark_of(broken) is None
    shown = made(table.HeldOutside)
    assert mark_of(counted.BrokenInCounts(step_v=F(1), broken="out-of-window", case=shown)) == CurvePoint(
        F(180), F(260)
    )


ON_THE_CURVE = (table.HeldOutside, table.HeldBeyond, table.Rising, coverage.Unserved, states.EitherStart,
                states.RestOutput, states.StuckHigh, moving.RatioPassed, moving.SuddenStep)  # fmt: skip


@pytest.mark.parametrize("kind", ON_THE_CURVE, ids=lambda kind: kind.__name__)
def test_a_witness_with_an_input_and_an_output_stands_on_the_curve(kind: Any) -> None:
    assert mark_of(made(kind)) == CurvePoint(F(180), F(260))


def test_one_without_either_stands_nowhere() -> None:
    assert mark_of(made(coverage.Unserved, output_v=None)) is None
    assert mark_of(made(table.Rising, output_v=None)) is None
    assert mark_of(made(table.Rising, input_v=None)) is None
    assert [mark_of(made(kind)) for kind in (coverage.DeadZone, carried.CoilVolts, moving.OpenLine)] == [None] * 3
