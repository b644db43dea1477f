"""The figures of a replay against general-purpose libraries, published limits, and sums done by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapplan.answers.replay import Replay, SideBySide, replay, spread_lines, together
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.logs.form import LogForm
from tapplan.logs.sources import logs_in
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import replayed
from tapplan.replay.zone import Zone
from tests.examples import ROOT
from tests.replay.against import Listed

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
# Measured minutes of a household in France: UCI Machine Learning Repository, data set 235 (see the file's head).
HOUSEHOLD = ROOT / "designs" / "logs" / "household-2007-01.csv.gz"
SECOND = 1_000_000


def ridge(zone: str | None = None) -> Machine:
    return machine(control_table(load(str(RIDGE))), Zone(zone))


def answered(samples: list[tuple[int, Any]], zone: str | None = None) -> Replay:
    found = ridge(zone)
    log = Listed([(time, Fraction(str(volts))) for time, volts in samples])
    return replay(SideBySide((found,), ("ridge",)), [replayed(log, [found])])


@pytest.fixture(scope="module")
def household() -> Replay:
    found = ridge()
    (log,) = logs_in([str(HOUSEHOLD)], LogForm())
    return replay(SideBySide((found,), ("ridge",)), [replayed(log, [found])])


@pytest.fixture(scope="module")
def series() -> Any:
    pandas = pytest.importorskip("pandas")
    frame = pandas.read_csv(HOUSEHOLD, comment="#", parse_dates=["time"], index_col="time")
    return frame["voltage"]


def test_the_household_is_read_whole(household: Replay, series: Any) -> None:
    assert household.samples == len(series) == 28 * 1440
    assert household.bad == series.isna().sum() == 0
    assert (household.first, household.last) == ("2007-01-01T00:00:00", "2007-01-28T23:59:00")
    assert household.observed_s == 28 * 86400


def test_ten_minute_means_are_those_of_a_data_library_and_held_to_the_limits_of_en_50160(
    household: Replay, series: Any
) -> None:
    # EN 50160:2010, clause 4: 95 % of the ten-minute mean RMS values of each week within 10 % of nominal.
    means = (series**2).resample("10min").mean() ** 0.5
    assert household.means.count == len(means) == 28 * 144
    assert household.means.kept == int(means.between(207, 253).sum())
    assert household.means.weeks == household.means.weeks_kept == 4


def test_means_count_against_narrower_limits_too(series: Any) -> None:
    """The mains of the example lie well inside; stretched about their mean some lie outside."""
    stretched = (225 + 6 * (series - 240.84)).round(1)
    start = int(series.index[0].value) // 1000
    rows = [(start + 60 * SECOND * number, volts) for number, volts in enumerate(stretched)]
    found = answered(rows)
    means = (stretched**2).resample("10min").mean() ** 0.5
    assert 0 < int(means.between(207, 253).sum()) == found.means.kept < found.means.count
    weekly = means.between(207, 253).groupby([means.index.isocalendar().year, means.index.isocalendar().week]).mean()
    assert found.means.weeks == len(weekly)
    assert found.means.weeks_kept == int((weekly >= 0.95).sum())
    daily = stretched.resample("1D").agg(["min", "max"])
    for day, (low, high) in zip(found.days, daily.to_numpy(), strict=True):
        assert day.line_v == (pytest.approx(low), pytest.approx(high))


def test_percentiles_and_deviation_are_those_of_numpy(household: Replay, series: Any) -> None:
    volts = series.to_numpy()
    for each in household.percentiles:
        wanted = np.quantile(volts, float(each.percent) / 100, method="inverted_cdf")
        assert each.line_v == pytest.approx(wanted, abs=1e-9)
    assert household.line_deviation_v == pytest.approx(np.abs(volts - 230).mean(), abs=1e-9)
    assert sum(one.line_s for one in household.histogram) == household.observed_s
    counts, _ = np.histogram(volts, bins=np.arange(224, 252))
    assert [float(one.line_s) / 60 for one in household.histogram if one.line_s] == [n for n in counts if n]


def test_percentiles_count_time_and_not_samples() -> None:
    found = answered([(0, 230), (3 * SECOND, 240), (4 * SECOND, 250), (5 * SECOND, 230), (6 * SECOND, 230)])
    weights = [3, 1, 1, 1, 1]
    for each in found.percentiles:
        wanted = np.quantile(
            [230, 240, 250, 230, 230], float(each.percent) / 100, method="inverted_cdf", weights=weights
        )
        assert each.line_v == wanted


def test_output_percentiles_by_hand() -> None:
    """Ridge buck holds above 242 V at 530/599; direct passes the line on."""
    found = answered([(number * SECOND, 230 if number < 5 else 250) for number in range(10)])
    assert [(one.start, one.end, one.count) for one in found.changes] == [("direct", "buck", 1)]
    ratio = 530 / 599
    assert found.percentiles[0].output_v == pytest.approx(250 * ratio)
    assert found.percentiles[-1].output_v == pytest.approx(230)
    assert found.deviation_v == pytest.approx((230 - 250 * ratio) * 5 / 10)
    (change,) = found.changes
    assert change.line_v == (250, 250)
    assert change.step_v == pytest.approx(((ratio - 1) * 250,) * 2)


def test_contact_life_by_hand(tmp_path: Path) -> None:
    """IEC 61810-2 counts cycles; the file's operations are coil changes, so two of them are one cycle."""
    text = RIDGE.read_text().replace('name = "KO"', 'name = "KO"\nendurance = 100000', 1)
    path = tmp_path / "worn.toml"
    path.write_text(text)
    found = machine(control_table(load(str(path))))
    day = [(number * 3600 * SECOND, Fraction(250 if number % 2 else 230)) for number in range(24)]
    answer = replay(SideBySide((found,), ("worn",)), [replayed(Listed(day), [found])])
    wear = {one.relay: one for one in answer.life}
    assert wear["KO"].moves == answer.moves["KO"] == 23
    assert wear["KO"].a_day == pytest.approx(23)
    assert wear["KO"].years == pytest.approx(100000 / 23 / 365)
    assert wear["KL"].moves == 0
    assert wear["KL"].years is None
    assert answer.years == wear["KO"].years


def test_time_adds_up_and_away_counts_as_outside() -> None:
    rows = [(0, 230), (10 * SECOND, 300), (30 * SECOND, 230), (40 * SECOND, 230), (50 * SECOND, 230)]
    found = answered(rows)
    assert found.transfers == 1
    assert found.seconds["away"] == found.longest_away_s == found.outside_s == 20
    assert sum(found.seconds.values()) == 60
    assert found.outside_share == pytest.approx(20 / 60)


def test_days_and_hours_are_those_of_the_wall() -> None:
    """In Paris the clock was put forward at 01:00 UTC on 2023-03-26, so that day has 23 hours."""
    start = 1_679_785_200 * SECOND  # 2023-03-26 00:00 in Paris, 2023-03-25 23:00 UTC
    rows = [(start + number * 600 * SECOND, 230) for number in range(24 * 6)]
    rows[12] = (rows[12][0], 300)  # 02:00 by UTC+1 and, the clock being put forward, 03:00 on the wall
    found = answered(rows, "Europe/Paris")
    assert [(day.date, day.means) for day in found.days] == [("2023-03-26", 23 * 6), ("2023-03-27", 6)]
    assert [hour for hour, count in enumerate(found.hours) if count] == [3]
    assert found.first == "2023-03-26T00:00:00"


def test_what_a_log_cannot_show_is_bounded() -> None:
    """From boost 2 at 170 V to buck at 250 V at once: one change as counted, three if the line passed all between."""
    found = answered([(0, 170), (60 * SECOND, 250), (120 * SECOND, 250)])
    assert (found.unseen.changes_at_least, found.unseen.changes_one_way) == (1, 3)
    assert found.unseen.shortest_s == 60
    # The quickest change of this design takes 25 ms until readings count again, without a confirmation.
    assert found.unseen.changes_ceiling == 180 * 1000 // 25


def test_a_confirmation_lowers_the_ceiling() -> None:
    """Each change, the return too, then waits as well: 25 ms of relays and 100 ms, 1440 times in three minutes."""
    made = load(str(RIDGE))
    assert made.backup is not None
    backup = replace(made.backup, return_after_ms=Fraction(100))
    slow = replace(made, sensing=replace(made.sensing, confirm_ms=Fraction(100)), backup=backup)
    found = machine(control_table(slow), Zone(None))
    log = Listed([(0, Fraction(170)), (60 * SECOND, Fraction(250)), (120 * SECOND, Fraction(250))])
    told = replay(SideBySide((found,), ("ridge",)), [replayed(log, [found])])
    assert told.unseen.changes_ceiling == 180 * 1000 // 125 == 1440


def test_leaving_for_the_backup_is_one_change_whichever_way_the_line_ran() -> None:
    found = answered([(0, 230), (60 * SECOND, 300), (120 * SECOND, 230), (180 * SECOND, 230)])
    assert [(one.start, one.end) for one in found.changes] == [("direct", "away"), ("away", "direct")]
    assert (found.unseen.changes_at_least, found.unseen.changes_one_way) == (2, 2)


def test_several_logs_are_sums_and_nothing_is_joined_across_them() -> None:
    found = ridge()
    asked = SideBySide((found,), ("ridge",))
    logs = [
        Listed([(0, Fraction(300)), (SECOND, Fraction(300))], name="a"),
        Listed([(2 * SECOND, Fraction(300)), (3 * SECOND, Fraction(230))], name="b"),
    ]
    runs = [replayed(log, [found]) for log in logs]
    both = replay(asked, runs)
    assert both.sites is not None
    assert [site.log for site in both.sites] == ["a", "b"]
    assert both.samples == 4
    assert both.longest_away_s == 2  # 2 s in a, 1 s in b: not 3
    assert both.seconds["away"] == 3
    assert together(runs).tallies[0].samples == 4
    region = {one.figure: one for one in both.region or ()}
    assert region["transfers"].at in ("a", "b")


def test_designs_beside_each_other_are_run_on_the_same_samples() -> None:
    names = ("ridge-dispensary", "hostel-review")
    machines = tuple(machine(control_table(load(str(ROOT / "designs" / f"{name}.toml")))) for name in names)
    (log,) = logs_in([str(HOUSEHOLD)], LogForm())
    together_run = replay(SideBySide(machines, names), [replayed(log, machines)])
    assert together_run.beside is not None
    for name, one, row in zip(names, machines, together_run.beside, strict=True):
        alone = replay(SideBySide((one,), (name,)), [replayed(log, [one])])
        assert (row.design, row.changes, row.outside_s) == (name, alone.changed, alone.outside_s)
        assert row.deviation_v == alone.deviation_v


def test_a_log_of_other_mains_is_told() -> None:
    assert any("another unit" in told for told in answered([(0, 2300), (SECOND, 2310)]).told)
    assert not any("another unit" in told for told in answered([(0, 230), (SECOND, 231)]).told)


def test_the_spread_is_lines_that_fit_reads(household: Replay, series: Any, tmp_path: Path) -> None:
    from tapplan.exact import Span
    from tapplan.study.weights import load_weights

    path = tmp_path / "spread.csv"
    path.write_text(spread_lines(household))
    weights = load_weights(str(path), Span(Fraction(160), Fraction(290))).entries
    assert sum(one.counts for one in weights) == household.observed_s
    mean = sum(float(one.volts * one.counts) for one in weights) / float(household.observed_s)
    assert mean == pytest.approx(float(series.mean()), abs=1e-3)


def test_the_json_has_the_keys_of_the_contract(household: Replay) -> None:
    told = json.loads(json.dumps(household.as_json()))
    assert {"samples", "bad", "gaps", "changes", "moves", "seconds", "outside_s", "transfers"} <= told.keys()
    assert set(told["seconds"]) == {"boost 2", "boost 1", "direct", "buck", "away", "gap"}
    assert set(told["moves"]) == {"KL", "KO"}
    assert {"from", "to", "count"} <= told["changes"][0].keys()
    assert "sites" not in told
