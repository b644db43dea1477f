"""The columns of the answers, against values computed apart: by hand, by brute force, or from the definitions."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest

from tapplan.answers.at import relays_at
from tapplan.answers.bands import bands_of, derived
from tapplan.answers.compare import compared
from tapplan.answers.faults import faults
from tapplan.answers.margins import margins, with_samples
from tapplan.answers.moves import moves
from tapplan.answers.states import groups_of, in_winding_names, states_of
from tapplan.answers.steps import steps
from tapplan.answers.sweep import swept, swept_both_ways
from tapplan.answers.table import truth_table
from tapplan.answers.verdict import verdict
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review, review
from tapplan.design.file import load, parse
from tapplan.network.circuit import circuit_of
from tapplan.network.turns import Gain, outcome
from tapplan.pages.documents import table_csv, table_markdown
from tests.examples import ROOT, SHIPPED

F = Fraction
RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
HOSTEL = ROOT / "designs" / "hostel-review.toml"
BOX = ROOT / "designs" / "signal-box.toml"


@cache
def reviewed(path: Path) -> Review:
    return review(load(path))


def every() -> Iterator[Review]:
    return (reviewed(path) for path in SHIPPED)


# --- table ---


def test_the_thresholds_are_those_of_the_neighbours() -> None:
    """From the holds of the ridge dispensary's file; its outermost ends are those of the backup."""
    rows = truth_table(reviewed(RIDGE)).bands
    assert [(row.enter_rising_v, row.leave_rising_v) for row in rows] == [
        (None, 192),
        (192, 217),
        (217, 245),
        (245, 281),
    ]
    assert [(row.enter_falling_v, row.leave_falling_v) for row in rows] == [
        (189, 164),
        (214, 189),
        (242, 214),
        (None, 242),
    ]
    assert [row.energised for row in rows] == [("KL", "KO"), ("KL",), ("KO",), ()]
    assert rows[0].path == ("LINE", "KL.no", "P", "Q", "R", "KO.no", "OUT")


def test_the_worst_output_is_that_of_the_real_hold() -> None:
    """1 % and 1 V of noise: "direct" holds 214 to 245 V read, so (214 - 0.5)/1.01 to (245 + 0.5)/0.99 V of line."""
    row = truth_table(reviewed(RIDGE)).bands[2]
    assert (row.output_v.low, row.output_v.high) == (214, 245)
    assert (row.worst_output_v.low, row.worst_output_v.high) == (F(4270, 2) / F(1010, 100), F(2455, 10) / F(99, 100))


def test_in_csv_the_worst_output_encloses_the_output_under_its_own_name() -> None:
    seen = 0
    for one in every():
        answer = truth_table(one)
        rows = list(csv.DictReader(io.StringIO(table_csv(answer))))
        for row, band in zip(rows, answer.bands, strict=True):
            assert row["band"] == band.band
            if band.ratio is None or band.output_v is None:
                continue
            seen += 1
            ends = sorted(
                float(band.ratio * volts)
                for volts in (max(band.leave_falling_v, one.mains.low), min(band.leave_rising_v, one.mains.high))
            )
            assert [float(row["output_low_v"]), float(row["output_high_v"])] == pytest.approx(ends)
            assert float(row["worst_output_low_v"]) <= float(row["output_low_v"])
            assert float(row["output_high_v"]) <= float(row["worst_output_high_v"])
            assert [row[relay] for relay in answer.relays] == [
                str(int(relay in band.energised)) for relay in answer.relays
            ]
            assert float(row["ratio_float"]) == float(F(row["ratio"]))
    assert seen > 20


def test_markdown_has_the_same_rows() -> None:
    lines = table_markdown(truth_table(reviewed(RIDGE))).splitlines()
    heads = lines[4].strip("| ").split(" | ")
    assert heads[:3] == ["band", "KL", "KO"]
    assert lines[6].strip("| ").split(" | ")[heads.index("output (V)")] == "214.6 - 245.2"
    assert lines[6].strip("| ").split(" | ")[heads.index("output at worst (V)")] == "214.6 - 248.3"


def test_the_gaps_of_the_table_under_review() -> None:
    answer = truth_table(reviewed(HOSTEL))
    (gap,) = answer.gaps
    assert answer.wrong
    assert (gap.code, gap.from_v, gap.to_v) == ("dead-zone", F(227) / F(101, 100), F(232) / F(99, 100))
    assert answer.coverage.told.startswith("Coverage: 1 gap\n  dead-zone (")
    assert answer.gap_spans[0].low == gap.from_v
    assert (
        truth_table(reviewed(RIDGE)).coverage.told
        == "Coverage: no gap from 168 to 274 V, whatever the reading's error."
    )


# --- bands ---

NARROW = """
format = 1
title = "narrow"
[mains]
nominal_v = 230
range_v = [200, 260]
[output]
nominal_v = 230
window_v = [215, 245]
[terminals]
line = "L"
neutral = "N"
output = "O"
[[winding]]
name = "main"
ends = ["N", "A"]
turns = 200
[[winding]]
name = "more"
ends = ["A", "B"]
turns = 20
[[relay]]
name = "K"
com = "O"
nc = "A"
no = "B"
[sensing]
hysteresis_v = {wish}
noise_v = {noise}
"""


@pytest.mark.parametrize(("low", "wish", "feasible"), [(200, 2, True), (200, 30, False), (150, 2, False)])
def test_bands_are_feasible_where_range_and_room_are_both_served(low: int, wish: int, feasible: bool) -> None:
    """Line on A: ratios 1 and 1.1 serve [215, 245] and [195.5, 222.7] V; they share 222.7 - 215 = 7.7 V."""
    text = (
        NARROW.format(wish=wish, noise=0).replace('line = "L"', 'line = "A"').replace("[200, 260]", f"[{low}, 245]")
    )
    answer = bands_of(derived(parse(text)))
    assert answer.feasible is feasible
    assert bool(answer.gaps) is (low == 150)
    assert [round(float(one.room_v), 2) for one in answer.shortfalls] == ([7.73] if wish == 30 else [])
    assert answer.room_v == F(245) / F(11, 10) - 215
    assert [one.room_above_v for one in answer.bands] == [answer.room_v, None]
    assert answer.wrong is bool(answer.fault_codes)


def test_room_is_wanted_in_input_volts_also_where_the_output_is_read() -> None:
    """Read at the output, 10 V of noise is 10/1.1 V half-half: (5/1.1 + 5/1) V of input, and twice that at least."""
    text = NARROW.format(wish=0, noise=10).replace('line = "L"', 'line = "A"').replace("[200, 260]", "[200, 245]")
    (short,) = bands_of(derived(parse(text + 'at = "output"\n'))).shortfalls
    assert short.wanted_v == 2 * (5 / F(11, 10) + 5)
    assert short.room_v < short.wanted_v
    assert "0 V is wanted" not in short.told


def test_room_that_is_just_twice_the_noise_is_short_too() -> None:
    """A window up to 247.5 V leaves 247.5/1.1 - 215 = 10 V, 5 V of it noise: the overlap left is no more."""
    text = NARROW.format(wish=0, noise=5).replace('line = "L"', 'line = "A"').replace("[200, 260]", "[200, 245]")
    assert "[215, 245]" in text
    answer = bands_of(derived(parse(text.replace("[215, 245]", "[215, 247.5]"))))
    (short,) = answer.shortfalls
    assert (short.room_v, short.wanted_v) == (10, 10)
    assert short.told.endswith("have 10 V of room; more than 10 V is wanted for hysteresis and noise")
    assert not answer.feasible


# --- margins ---


def test_a_margin_is_what_is_left_between_output_and_limit() -> None:
    seen = 0
    for one in every():
        rows = {row.name: row for row in one.table.rows}
        for corner in margins(one).margins:
            row = rows[corner.band]
            ratio = row.full if corner.end == "low" else row.ratio
            assert corner.output_v == ratio * corner.input_v
            assert corner.limit_v == (one.window.low if corner.end == "low" else one.window.high)
            assert corner.margin_v == (corner.output_v - corner.limit_v) * (1 if corner.end == "low" else -1)
            assert corner.load == ("full" if corner.end == "low" else "none")
            eaten = corner.eaten_by
            assert (eaten.noise_v, eaten.error_v, eaten.load_v) == (corner.noise_v, corner.error_v, corner.load_v)
            seen += 1
    assert seen > 40


def test_a_growth_says_what_breaks_and_whether_it_has() -> None:
    growths = {one.quantity: one for one in margins(reviewed(HOSTEL)).growth}
    assert growths["sensing.noise_v"].then.endswith("(broken already)")
    calm = margins(reviewed(RIDGE)).growth
    assert [one.then for one in calm if "broken" in one.then] == []
    assert all(one.most_told != "nothing helps" for one in calm)
    assert {one.most_told for one in margins(reviewed(HOSTEL)).growth} & {"nothing helps"}


def test_the_worst_line_of_a_budget_is_the_product_of_its_lines() -> None:
    answer = margins(reviewed(BOX))
    assert answer.budget is not None
    assert answer.counts is not None
    product = 1.0
    for line in answer.budget.lines:
        product *= 1 + line.worst_pct / 100
    assert answer.budget.worst_pct == pytest.approx(100 * (product - 1))
    assert answer.budget.sum_pct == pytest.approx(sum(line.worst_pct for line in answer.budget.lines))
    assert answer.budget.with_sum[-1].worst_pct == answer.budget.worst_pct
    assert len(answer.counts.with_return) == len(answer.counts.bands) + 1
    assert [one.left_above is None for one in answer.counts.bands] == [False] * (len(answer.counts.bands) - 1) + [
        True
    ]
    assert margins(reviewed(RIDGE)).budget is None


def test_random_draws_are_counted_band_by_band() -> None:
    one = reviewed(RIDGE)
    drawn = with_samples(margins(one), one, 4000, 5).samples
    assert drawn is not None
    assert (drawn.count, drawn.seed, drawn.beyond_worst) == (4000, 5, 0)
    assert sum(row.count for row in drawn.bands) + drawn.unheld == 4000
    for row in drawn.bands:
        assert row.output_v[0] <= row.p1_v <= row.p50_v <= row.p99_v <= row.output_v[1]
        assert row.percentiles_v == {"1": row.p1_v, "50": row.p50_v, "99": row.p99_v}
        assert row.outside_told == f"{row.outside_window} ({row.outside_window / row.count:.2%})"


# --- moves ---


def test_the_ratios_met_are_those_of_every_mixture_of_the_movers() -> None:
    """Together: each mover stands at rest, driven or on neither throw; brute force over all of them."""
    seen = 0
    for one in (reviewed(RIDGE), reviewed(HOSTEL)):
        circuit = circuit_of(one.design)
        for row in moves(one).moves:
            met = set(_met(circuit, row.old, row.movers))
            assert row.lowest.ratio == min(met, default=None)
            assert row.highest.ratio == max(met, default=None)
            seen += len(met) > 1
            if len(met) > 1:
                assert f"{float(min(met)):.4g}" in row.met
    assert seen > 4


def _met(circuit, old, movers) -> Iterator[Fraction]:
    """The ratios of all mixtures but the two ends."""
    start = circuit.state(tuple(old))
    end = circuit.state(tuple(set(old) ^ set(movers)))
    resting, driven = circuit.state(()), circuit.state(tuple(circuit.relays))
    for stands in itertools.product(("rest", "driven", "neither"), repeat=len(movers)):
        closed = {contact for contact in start if not any(_of(circuit, contact, relay) for relay in movers)}
        for relay, stand in zip(movers, stands, strict=True):
            full = {"rest": resting, "driven": driven, "neither": frozenset()}[stand]
            closed |= {contact for contact in full if _of(circuit, contact, relay)}
        if frozenset(closed) in (frozenset(start), frozenset(end)):
            continue
        found = outcome(circuit, frozenset(closed))
        if isinstance(found, Gain):
            yield found.ratio


def _of(circuit, contact: int, relay: str) -> bool:
    return circuit.relays[circuit.contacts[contact].relay] == relay


def test_an_order_is_told_as_it_is_commanded() -> None:
    rows = {row.name: row for row in moves(reviewed(RIDGE)).moves}
    both = rows['"boost 1" to "direct"']
    assert (both.relays, both.safest_order, both.order, both.order_shorts) == ("KL, KO", ("KL", "KO"), None, False)
    assert (both.mixtures, both.passes, both.passes_told) == (9, ("530/599",), "0.8848")
    single = rows['"boost 2" to "boost 1"']
    assert (single.relays, single.safest_order, single.passes_told, single.met) == ("KO", None, "-", "nothing")
    shorting = moves(reviewed(ROOT / "designs" / "harbour-crane.toml")).moves
    for row in [*rows.values(), *shorting]:
        told = row.met.split(", ")
        assert (f"{row.shorted} shorts" in told) is bool(row.shorted)
        assert ("nothing" in told) is (row.without_ratio > row.shorted)
    text = RIDGE.read_text(encoding="utf-8") + '\n[sequence]\norder = "safest"\npause_ms = 30\n'
    ordered = {row.name: row for row in moves(review(parse(text))).moves if row.order}
    assert ordered['"boost 1" to "direct"'].relays == "KL, then KO"
    assert ordered['"direct" to "boost 1"'].relays == "KO, then KL"
    assert all(row.relays == ", then ".join(row.order) for row in ordered.values())


# --- faults ---


def test_a_fault_is_a_note_only_where_the_output_stays_in_the_window() -> None:
    counts = dict.fromkeys(Severity, 0)
    for one in every():
        answer = faults(one)
        for row in answer.faults:
            inside = (
                row.output_v is not None
                and one.window.low <= row.output_v.low
                and row.output_v.high <= one.window.high
            )
            harmless = row.away or (inside and row.ratio is not None)
            assert row.severity is (Severity.NOTE if harmless else Severity.WARNING)
            above = row.output_v is not None and row.output_v.high > one.window.high and not row.away
            assert row.then.startswith("too high") is (above and row.kind != "shorted")
            assert (row in answer.harmful) is not harmless
            counts[row.severity] += 1
        left = sum(row.severity is Severity.NOTE for row in answer.faults)
        assert answer.told.startswith(f"{left} more rows are harmless")
        never = {(one.part, one.fault) for one in answer.never_survived}
        parts = {(row.part, row.fault) for row in answer.faults}
        survived = {(row.part, row.fault) for row in answer.faults if row.severity is Severity.NOTE}
        assert never == parts - survived
    assert counts[Severity.NOTE] > 100
    assert counts[Severity.WARNING] > 100


# --- at ---


def test_both_answers_inside_an_overlap_and_the_reason_outside() -> None:
    answer = relays_at(reviewed(RIDGE).table, [F(190), F(150)])
    inside, outside = answer.points
    assert [(one.band, one.when) for one in inside.answers] == [
        ("boost 2", ("rising", "start")),
        ("boost 1", ("falling",)),
    ]
    assert inside.answers[1].output_v == F(530, 469) * 190
    assert inside.outside is None
    assert (outside.answers, outside.outside, outside.outside_when) == ((), "backup", ("rising", "falling", "start"))
    assert [row.input_v for row in answer.courses] == [190, None, 150]
    assert answer.courses[2].band == "outside: backup"
    assert answer.courses[2].energised == ()
    assert answer.courses[2].when == "always"
    assert "points" not in relays_at(reviewed(RIDGE).table, [F(190)]).as_json()


def test_a_sweep_marks_each_change_and_goes_both_ways() -> None:
    table, inputs = reviewed(RIDGE).table, tuple(F(volts) for volts in range(180, 222, 4))
    there = swept(table, inputs)
    (first,) = there.passes
    assert first.course == "rising"
    assert [row.moved != "" for row in first.rows] == [False] + [
        one.band != two.band for one, two in itertools.pairwise(first.rows)
    ]
    assert {row.band for row in first.rows} == {"boost 2", "boost 1", "direct"}
    both = swept_both_ways(table, inputs)
    assert [one.course for one in both.passes] == ["rising", "falling"]
    assert [row.input_v for row in both.passes[1].rows] == list(inputs[::-1])
    up, down = ({row.input_v: row.band for row in one.rows} for one in both.passes)
    assert (up[F(188)], down[F(188)]) == ("boost 2", "boost 2")  # boost 1 is held from 189 V on, boost 2 up to 192 V
    assert (up[F(192)], down[F(192)]) == ("boost 2", "boost 1")
    assert [one.direction for one in both.points] == ["rising"] * len(inputs) + ["falling"] * len(inputs)
    assert swept(table, inputs[::-1]).passes[0].course == "falling"
    single = swept_both_ways(table, inputs[:1])
    assert [one.course for one in single.passes] == ["rising", "falling"]


# --- states ---


def test_states_and_groups_hold_every_state_once() -> None:
    design = load(ROOT / "designs" / "river-kiosk.toml")
    single, grouped = states_of(design), groups_of(design)
    assert len(single.states) == sum(one.count for one in grouped.states)
    assert single.total_told == f"{len(single.states)} relay states"
    assert grouped.total_told == f"{len(single.states)} relay states in {len(grouped.states)} rows"
    assert all(one.count == 2 ** len(one.any) for one in grouped.states)
    for row in single.states:
        if row.ratio is not None:
            assert row.ratio == row.turns_out / row.turns_in
            assert (row.path[0], row.path[-1]) == (design.terminals.line, design.terminals.output)
        else:
            assert (row.path, row.turns_out, row.line_tap) == (None, None, None)
    named = in_winding_names(design, single)
    assert {(row.ratio is None, row.symbolic == "-") for row in named.states} <= {(True, True), (False, False)}


# --- steps ---


def test_the_worst_step_of_each_start_and_side_is_shown() -> None:
    answer = steps(reviewed(RIDGE))
    keys = {(row.start, row.side) for row in answer.steps}
    assert {(row.start, row.side) for row in answer.worst} == keys
    for row in answer.worst:
        alike = [one for one in answer.steps if (one.start, one.side) == (row.start, row.side)]
        assert not (row.kept and any(not one.kept for one in alike))
        excess = [(not one.kept, abs(one.percent - one.allowed_percent)) for one in alike if one.kept == row.kept]
        assert abs(row.percent - row.allowed_percent) == max(size for _, size in excess)
    for row in answer.steps:
        assert row.kept is (row.allowed_ms is None or row.lasts_ms <= row.allowed_ms)
        assert row.verdict == ("kept" if row.kept else f"{row.side} the curve")
        assert row.percent == pytest.approx(float(100 * row.output_v / 230))
        assert row.at_v == (row.line_v.high if row.side == "over" else row.line_v.low)
    left = sum(not row.kept for row in answer.steps)
    assert answer.told[0].startswith(f"{left} of {len(answer.steps)} leave {answer.curve}")
    assert not answer.wrong
    assert answer.drawing is not None


def test_leaving_the_very_curve_that_the_file_names_is_wrong() -> None:
    text = RIDGE.read_text(encoding="utf-8").replace("[output]", '[output]\ntolerance_curve = "iti-2000"')
    assert steps(review(parse(text))).wrong
    assert not steps(review(parse(text)), "semi-f47").stated
    assert steps(reviewed(HOSTEL)).unheld_inputs
    assert not steps(reviewed(RIDGE)).unheld_inputs


# --- verdict and compare ---


def test_a_verdict_parts_what_is_measured_held_and_noted() -> None:
    answer = verdict(reviewed(HOSTEL))
    broken = {row.promise for row in answer.promises if not row.held}
    assert broken == {"dead-zone", "out-of-window", "chatter"}
    assert answer.wrong
    assert {row.promise for row in answer.measured} >= broken
    assert all(row.unit == "V" for row in answer.measured)
    assert {*answer.also_held} == {row.promise for row in answer.promises if row.held and row.margin is None}
    assert answer.broken_told == ""
    assert {row.severity for row in answer.urgent} == {Severity.FAULT}
    assert set(answer.notes) == {"holds-beyond-range", "duplicate-state"}
    sound = verdict(reviewed(RIDGE))
    assert sound.sound
    assert not sound.wrong
    traits = {row.name: row for row in sound.traits}
    assert traits["slow-recovery, over"].worst == "349.9 V for 30 ms"
    assert traits["slow-recovery, over"].place == '"boost 2" to "buck"'
    assert traits["move-gap"].worst == "30 ms"
    assert traits["stuck-short"].place == ""
    assert all(row.limit_told is None for row in sound.traits)


def test_a_comparison_tells_what_was_lost_and_what_was_won() -> None:
    answer = compared(reviewed(HOSTEL), reviewed(RIDGE))
    assert {row.key: row.worse for row in answer.promises} == {"mains.range_v": True, "output.window_v": True}
    for row in answer.margins:
        assert row.won_v == row.new_v - row.old_v
        assert row.won.endswith("less") is (row.won_v < 0)
    same = compared(reviewed(RIDGE), reviewed(RIDGE))
    assert same.same
    assert not same.wrong
    assert same.told == "Nothing got worse."
    assert not answer.same
