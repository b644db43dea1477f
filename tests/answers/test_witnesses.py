"""Witnesses in JSON: plain values under the keys that scripts rely on."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import fields
from fractions import Fraction

from tapplan.answers.forms import witness_json as witness
from tapplan.checks.witnesses.counted import BrokenInCounts
from tapplan.checks.witnesses.coverage import Stretched, Unserved
from tapplan.checks.witnesses.moving import ShortDropped
from tapplan.network.circuit import Position
from tests.checks.seeds import found_in_all

F = Fraction
RELIED_ON = {
    "ambiguous-start": "bands from_v input_v output_v ratio ratio_float to_v",
    "backfeed": "energised from_v output_v to_v",
    "backup-cycling": "bands least_v limit_v noise_v reading_v",
    "blind-reading": "bands energised ratio ratio_float",
    "chatter": "bands from_v input_v noise_v overlap_v to_v wanted_v",
    "charger-reach": "bands charge enough_v limit_v most_v output_v",
    "coil-starved": "bands energised limit_v output_v",
    "contact-overload": "bands current_a input_v limit_a limit_v output_v",
    "converter-range": "limit_v reading_v",
    "cutout-trips": "bands rise_k",
    "dead-state": "bands count energised ratio ratio_float states",
    "dead-zone": "course_v from_v input_v reading_v to_v",
    "dropout-unsafe": "energised factor input_v lasts_ms limit_v output_v ratio ratio_float states",
    "duplicate-state": "count ratio ratio_float states",
    "error-budget": "likely_pct limit_pct worst_pct",
    "feed-out-of-window": "energised least_v limit_v most_v output_v",
    "few-counts": "bands count overlap_v",
    "flight-in-reading": "bands emf_v input_v lasts_ms limit_ms limit_v reading_v",
    "flight-inrush": "energised factor lasts_ms states",
    "floating-state": "bands count energised states",
    "fuse-blind": "bands current_a input_v limit_a",
    "fuse-overload": "bands current_a limit_a",
    "holds-beyond-range": "bands energised input_v limit_v output_v ratio ratio_float",
    "hot": "bands rise_k",
    "hunting": "bands emf_v from_v lasts_ms least_v to_v",
    "idle-relay": "energised points",
    "inrush-retrip": "bands emf_v input_v least_v limit_ms limit_v",
    "load-collapse": "bands input_v",
    "loose-end": "points",
    "lost-in-counts": "bands course_v from_v input_v noise_v overlap_v reading_v to_v wanted_v",
    "make-overload": "current_a limit_a",
    "move-gap": "energised lasts_ms states",
    "out-of-window": "bands course_v energised input_v limit_v output_v ratio ratio_float reading_v",
    "over-current": "bands current_a input_v limit_a",
    "over-load": "bands input_v limited_by load_va permitted_va worst_pct",
    "over-flux": "bands flux_t input_v limit_t",
    "race-dip": "energised factor input_v lasts_ms limit_v output_v ratio ratio_float states",
    "race-overvoltage": "energised factor input_v lasts_ms limit_v output_v ratio ratio_float states",
    "race-short": "count energised lasts_ms states",
    "race-unexamined": "count energised states",
    "reversed-state": "bands count energised ratio ratio_float states",
    "ripple-in-reading": "factor",
    "shorted-state": "bands count energised states",
    "slow-recovery": "bands factor input_v lasts_ms limit_ms output_v",
    "stale-accept": "",
    "step-through": "bands count emf_v input_v",
    "stranded": "input_v least_v limit_v reading_v",
    "stuck-overvoltage": "bands energised factor input_v limit_v output_v ratio ratio_float",
    "stuck-short": "bands energised",
    "thin-hysteresis": "bands from_v input_v noise_v overlap_v to_v wanted_v",
    "uncovered-range": "energised from_v input_v output_v ratio ratio_float to_v",
    "undetermined-state": "count energised states",
    "unfed-state": "bands count energised states",
    "unreachable-band": "bands energised from_v to_v",
    "unsafe-rest": "energised factor input_v output_v ratio ratio_float",
    "window-full": "limit_pct worst_pct",
    "wrong-way": "bands energised input_v output_v ratio ratio_float",
}


def test_every_key_that_scripts_rely_on_is_printed() -> None:
    printed: dict[str, set[str]] = defaultdict(set)
    for _, one in found_in_all():
        printed[one.code] |= witness(one.witness).keys()
    assert {code: keys for code, keys in RELIED_ON.items() if not {*keys.split()} <= printed[code]} == {}
    assert RELIED_ON.keys() == printed.keys(), "the keys of each code's witness stand in RELIED_ON above"


def test_every_field_that_is_there_is_printed_and_is_json() -> None:
    for _, one in found_in_all():
        case = one.witness.case if isinstance(one.witness, BrokenInCounts) else one.witness
        there = {field.name for field in fields(case) if getattr(case, field.name) is not None}
        shown = json.loads(json.dumps(witness(one.witness)))
        assert there <= shown.keys(), one
        assert None not in shown.values(), one


def test_what_breaks_in_counts_prints_the_case_and_says_what_breaks() -> None:
    broken = [one.witness for _, one in found_in_all() if isinstance(one.witness, BrokenInCounts)]
    assert broken
    for one in broken:
        assert witness(one) == witness(one.case) | {"step_v": float(one.step_v), "broken": one.broken}


def test_ratios_stand_twice_and_a_part_of_a_witness_is_an_object() -> None:
    below = Stretched(energised=("KO",), ratio=F(129, 100), wanted_ratio=F(69, 50))
    one = Unserved(from_v=F(150), to_v=F(321, 2), input_v=F(150), energised=("KO",), ratio=F(129, 100),
                   output_v=F(387, 2), below=below, above=None)  # fmt: skip
    assert witness(one) == {
        "from_v": 150, "to_v": 160.5, "input_v": 150, "energised": ["KO"], "ratio": "129/100", "ratio_float": 1.29,
        "output_v": 193.5,
        "below": {"energised": ["KO"], "ratio": "129/100", "ratio_float": 1.29, "wanted_ratio": 1.38},
    }  # fmt: skip


def test_positions_are_printed_by_name() -> None:
    one = ShortDropped(energised=("K1", "K2"), movers=("K1", "K2"), positions=(Position.REST, Position.FLIGHT))
    assert witness(one) == {"energised": ["K1", "K2"], "movers": ["K1", "K2"], "positions": ["rest", "flight"]}
