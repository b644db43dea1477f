"""Coils, inlet parts, coil rail and battery: what each shows sound, and what its own fault makes of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.bench.defects import defects
from tapplan.bench.offered import measures
from tapplan.bench.phrase import Names
from tapplan.bench.predictions import Bench
from tapplan.bench.readings import reading_of
from tapplan.bench.values import EITHER, MOST, NO, YES, Prediction
from tapplan.control.table import control_table
from tests.bench.stages import table
from tests.examples import SHIPPED

F = Fraction
HUT = table(
    next(path for path in SHIPPED if path.stem == "shepherds-hut")
)  # 12 V coils of 0.4 W, float 27.0 to 27.6 V
BENCH = Bench(HUT)


def shown(text: str, *faults: str) -> Prediction:
    """What a measurement shows with these faults, by their names."""
    named = {one.told(): one for one in defects(HUT)}
    measure = reading_of(f"{text} = unknown", Names.of(HUT)).measure
    return BENCH.predicted(tuple(named[one] for one in faults), measure)


def ends(prediction: Prediction) -> list[tuple[float, float]]:
    return [(float(span.low), float(span.high)) for span in prediction]


@pytest.mark.parametrize(
    ("text", "faults", "low", "high"),
    [
        ("off: battery", (), 24.3, 26.634),  # 0.9 x 27.0, 0.965 x 27.6
        ("off: battery", ("battery-flat",), 0, 23.184),
        ("battery: battery", (), 21.6, 27.6),
        ("line 230 V rising: battery", (), 27, 34.5),
        ("line 230 V rising: battery", ("charger-dead",), 24.3, 26.634),
        ("line 230 V rising: rail", (), 10.2, 16.8),  # 0.85 and 1.4 x 12
        ("line 230 V rising: rail", ("coil supply missing",), 0, 1),
        ("line 230 V rising: rail", ("coil supply rail-weak",), 2.4, 10.2),
        ("line 230 V rising: ripple", (), 0, 1.2),
        ("line 230 V rising: ripple", ("coil supply rail-weak",), 1.8, 12),
        ("off: coil-ohms KL", (), 288, 432),  # 12 x 12/0.4 = 360 ohm, a fifth to either side
        ("off: coil-ohms KL", ("KL diode-shorted",), 0, 5),
        ("off: part-ohms fuse", (), 0, 0.5),
        ("off: part-ohms suppressor", ("suppressor-shorted",), 0, 5),
    ],
)
def test_spans_worked_by_hand(text: str, faults: tuple[str, ...], low: float, high: float) -> None:
    assert ends(shown(text, *faults)) == [(pytest.approx(low), pytest.approx(high))]


def test_what_is_open_is_open() -> None:
    for text, fault in (("off: part-ohms fuse", "fuse-open"), ("off: coil-ohms KL", "KL coil-open")):
        (span,) = shown(text, fault)
        assert span.high == MOST
    (span,) = shown("off: part-ohms suppressor")
    assert span.high == MOST


def test_clicks_and_drives() -> None:
    assert shown("off coils KL: click KL") == YES
    assert shown("off coils KL: click KL", "KL coil-open") == NO
    assert shown("off coils KL: click KL", "KL diode-shorted") == NO
    assert shown("off coils KL: click KL", "KL stuck-driven") == EITHER
    assert shown("off coils KL: click KL", "KO stuck-driven") == YES
    assert shown("battery: drive KM") == NO  # the backup drives no relay
    assert shown("battery: drive KM", "KM driver-shorted") == YES
    assert shown("line 145 V falling: drive KM", "KM driver-shorted") == YES


def test_without_its_fuse_the_stage_lives_on_its_battery() -> None:
    """Away, as the backup has it: no relay driven, the inverter at the output, the coils' supply up."""
    assert shown("line 230 V rising: drive KM", "fuse-open") == NO
    assert ends(shown("line 230 V rising: rail", "fuse-open")) == [(pytest.approx(10.2), pytest.approx(16.8))]
    assert shown("line 230 V rising: output", "fuse-open") == shown("battery: output")
    assert all(span.low > 200 for span in shown("battery: output"))
    assert shown("battery: output", "battery-flat") == NO


def test_a_cut_out_is_thought_of_and_measured_where_the_file_states_one() -> None:
    assert HUT.design.protection is not None
    stated = control_table(replace(HUT.design, protection=replace(HUT.design.protection, cutout_c=F(120))))
    for stage, there in ((HUT, False), (stated, True)):
        assert ("cut-out-open" in {one.told() for one in defects(stage)}) == there
        asked = {one.at for one in measures(stage, F(3)) if one.what == "part-ohms"}
        assert (("cut-out",) in asked) == there
        assert {("fuse",), ("suppressor",)} <= asked
