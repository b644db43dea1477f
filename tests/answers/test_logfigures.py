"""The figures of a log from counts made by hand: ten seconds of the ridge dispensary, and days of means."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
import pytest

from tapplan.answers.logfigures import clock, figures_of, length, seconds_told
from tapplan.answers.logrows import LogFigures, RelayWear
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.logs.samples import BadRow, BadRows, RowFault
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun
from tapplan.replay.tally import DayTally, Spells, Tally
from tests.examples import ROOT

F = Fraction
SECOND = 1_000_000
BOOST_2, BOOST_1, DIRECT, BUCK, AWAY = range(5)
LOWEST = 23_000  # grains of 0.01 V: 230 V


@cache
def ridge() -> Machine:
    return machine(control_table(load(ROOT / "designs" / "ridge-dispensary.toml")))


def grains(volts: float) -> int:
    return round(100 * volts) - LOWEST


def counted() -> Tally:
    """Direct for 6 s at 230 V and 2 s at 240.5 V, buck for 1 s at 250 V, away for 1 s at 300 V; five changes."""
    made = ridge().tally()
    made.lowest, made.lasting = LOWEST, np.zeros((5, 7001), np.int64)
    for standing, volts, seconds in ((DIRECT, 230, 6), (DIRECT, 240.5, 2), (BUCK, 250, 1), (AWAY, 300, 1)):
        made.lasting[standing, grains(volts)] = seconds * SECOND
    for start, end, times, least, most in (
        (DIRECT, BUCK, 2, 245, 250),
        (BUCK, AWAY, 1, 300, 300),
        (AWAY, DIRECT, 1, 230, 230),
        (BOOST_2, BUCK, 1, 250, 250),
    ):
        made.changes[start, end] = times
        made.change_least[start, end], made.change_most[start, end] = 100 * least, 100 * most
    made.samples, made.gaps, made.gap_us, made.longest_gap = 12, 2, 7 * SECOND, 4 * SECOND
    made.outside, made.spells = 1_500_000, Spells(longest=SECOND, seen=True)
    made.hours = Counter({0: 2, 5: 3})
    made.by_hour[[0, 23]] = (1, 4)
    return made


def run(tally: Tally, **parts: Any) -> LogRun:
    made = LogRun("ridge.csv", None, 0, 9_500_000, SECOND, 3 * SECOND, BadRows(), (tally,))
    return replace(made, **parts)


def told(tally: Tally | None = None, **parts: Any) -> LogFigures:
    return figures_of(ridge(), run(tally or counted(), **parts), 0)


def test_times_are_in_seconds_and_shares_of_the_time_observed() -> None:
    found = told()
    assert (found.log, found.made, found.partial) == ("ridge.csv", None, False)
    assert (found.first, found.last) == ("1970-01-01T00:00:00", "1970-01-01T00:00:09.500")
    assert (found.samples, found.gaps, found.longest_gap_s) == (12, 2, 4)
    assert (found.step_s, found.max_gap_s, found.observed_s) == (1, 3, 10)
    assert (found.outside_s, found.outside_share) == (F(3, 2), pytest.approx(0.15))
    assert (found.transfers, found.longest_away_s) == (1, 1)
    assert found.seconds == {"boost 2": 0, "boost 1": 0, "direct": 8, "buck": 1, "away": 1, "gap": 7}


def test_a_log_without_a_usual_step_or_gap_has_none() -> None:
    found = told(step=0, max_gap=0, partial=True, made="drawn")
    assert (found.step_s, found.max_gap_s, found.partial, found.made) == (None, None, True, "drawn")
    assert found.unseen.shortest_s == 0
    assert found.unseen.told.startswith("If the line ran one way")


def test_bands_say_how_long_they_stood_and_how_often_they_were_entered() -> None:
    rows = {one.band: one for one in told().bands}
    assert list(rows) == ["boost 2", "boost 1", "direct", "buck", "away"]
    assert {name: (one.seconds, one.entered) for name, one in rows.items()} == {
        "boost 2": (0, 0), "boost 1": (0, 0), "direct": (8, 1), "buck": (1, 3), "away": (1, 1),
    }  # fmt: skip
    assert (rows["direct"].share, rows["direct"].share_told, rows["direct"].lasting) == (0.8, "80.0 %", "8 s")
    assert (rows["direct"].ratio, rows["buck"].ratio, rows["away"].ratio) == (1, F(530, 599), None)


def test_each_change_is_told_with_the_line_it_met_and_the_step_of_the_output() -> None:
    rows = {(one.start, one.end): one for one in told().changes}
    assert {pair: one.count for pair, one in rows.items()} == {
        ("boost 2", "buck"): 1, ("direct", "buck"): 2, ("buck", "away"): 1, ("away", "direct"): 1,
    }  # fmt: skip
    down = rows["direct", "buck"]
    fall = 530 / 599 - 1
    assert down.line_v == (245, 250)
    assert down.step_v == pytest.approx((250 * fall, 245 * fall))
    far = 250 * (530 / 599 - 599 / 469)
    assert rows["boost 2", "buck"].step_v == pytest.approx((far, far))
    assert rows["buck", "away"].step_v is None
    assert rows["away", "direct"].step_v is None
    assert rows["buck", "away"].line_v == (300, 300)
    assert told().changed == 5


def test_relays_move_where_the_coils_of_two_bands_differ() -> None:
    """KO twice from direct to buck, once back from being away; both from boost 2 to buck."""
    found = told()
    assert found.moves == {"KL": 1, "KO": 4}
    wear = {one.relay: one for one in found.life}
    assert {name: one.moves for name, one in wear.items()} == found.moves
    assert wear["KO"].a_day == pytest.approx(4 * 8640)
    assert wear["KO"].years is None


def test_what_wears_out_first_tells_the_years() -> None:
    def lasting(*years: float | None) -> float | None:
        rows = tuple(RelayWear(relay="K", moves=1, a_day=1.0, endurance=None, years=one) for one in years)
        return replace(told(), life=rows).years

    assert lasting(7.5, None, 3.25, 9.0) == 3.25
    assert lasting(None) is None
    assert lasting() is None


def test_volts_over_time_by_hand() -> None:
    """Of ten seconds the line stood six at 230 V; the output, not counted while away, six of nine."""
    found = told()
    assert found.line_deviation_v == pytest.approx((2 * 10.5 + 20 + 70) / 10)
    assert found.deviation_v == pytest.approx((2 * 10.5 + (230 - 250 * 530 / 599)) / 9)
    at = {one.percent: (one.line_v, one.output_v) for one in found.percentiles}
    assert at[F(50)] == (230, 230)
    assert at[F(75)] == (240.5, 230)
    assert at[F(100)] == (300, 240.5)
    assert at[F(0)] == (230, pytest.approx(250 * 530 / 599))


def test_the_histogram_has_columns_of_a_volt_for_line_and_output() -> None:
    rows = {one.from_v: one for one in told().histogram}
    assert {volts: (one.line_s, one.output_s) for volts, one in rows.items()} == {
        221: (0, 1), 230: (6, 6), 240: (2, 2), 250: (1, 0), 300: (1, 0),
    }  # fmt: skip
    assert all(one.to_v == volts + 1 for volts, one in rows.items())
    assert [one.line_mean_v for one in rows.values()] == [None, 230, pytest.approx(240.5), 250, 300]
    assert list(rows) == sorted(rows)


def test_hours_are_counted_and_the_busiest_told() -> None:
    found = told()
    assert found.hours == (1, *(0,) * 22, 4)
    assert found.busiest_hour == 3
    assert found.changes_an_hour == pytest.approx(5 * 360)


def test_a_log_in_which_no_time_passed_has_no_shares() -> None:
    found = told(ridge().tally())
    assert (found.observed_s, found.outside_share, found.changes_an_hour, found.deviation_v) == (0, None, None, None)
    assert (found.busiest_hour, found.worst_day, found.days, found.changes, found.histogram) == (0, None, (), (), ())
    assert {(one.share, one.share_told, one.lasting) for one in found.bands} == {(0.0, "-", "0 s")}
    assert {(one.line_v, one.output_v) for one in found.percentiles} == {(None, None)}
    assert (found.means.share, found.means.share_output, found.means.count) == (None, None, 0)
    assert (found.means.weeks, found.means.weeks_kept) == (0, 0)


def test_bad_rows_are_counted_by_why_and_the_first_told() -> None:
    bad = BadRows({RowFault.NO_NUMBER: 2, RowFault.NEGATIVE: 1}, (BadRow("a.csv", 4, RowFault.NEGATIVE, "-3"),))
    found = told(bad=bad)
    assert (found.bad, found.bad_by) == (3, {"no number": 2, "below 0 V": 1})
    (one,) = found.bad_rows
    assert (one.file, one.row, one.fault, one.found) == ("a.csv", 4, "below 0 V", "-3")


# --- days and weeks ---


def days(found: dict[int, DayTally]) -> LogFigures:
    made = counted()
    made.days = found
    return told(made)


def test_each_day_has_its_date_its_times_and_the_volts_it_saw() -> None:
    seen = DayTally(outside=2_500_000, away=SECOND, gap=3 * SECOND, changes=4, intervals=9, kept=8, kept_out=7,
                    least=22_950, most=25_000)  # fmt: skip
    later, first = days({31: DayTally(), 0: seen}).days[::-1]
    assert (first.date, later.date) == ("1970-01-01", "1970-02-01")
    assert (first.outside_s, first.away_s, first.gap_s, first.changes) == (F(5, 2), 1, 3, 4)
    assert (first.line_v, first.means, first.means_kept, first.means_kept_output) == ((229.5, 250), 9, 8, 7)
    assert later.line_v is None
    at_nought = days({0: DayTally(least=0, most=0)}).days[0]
    assert at_nought.line_v == (0, 0)


def test_the_worst_day_is_longest_outside_and_then_has_the_most_changes() -> None:
    found = days({0: DayTally(outside=5, changes=1), 1: DayTally(outside=5, changes=2), 2: DayTally(changes=9)})
    assert found.worst_day is not None
    assert found.worst_day.date == "1970-01-02"
    assert found.worst_day == found.days[1]


def test_weeks_begin_on_monday_and_are_kept_by_nineteen_means_of_twenty() -> None:
    """1970-01-01 was a Thursday, so day 3 is a Sunday and day 4 a Monday."""
    found = days({
        3: DayTally(intervals=10, kept=9, kept_out=3),
        4: DayTally(intervals=12, kept=11, kept_out=8),
        10: DayTally(intervals=8, kept=8, kept_out=8),
        11: DayTally(changes=3),
    }).means  # fmt: skip
    assert (found.count, found.kept, found.kept_output) == (30, 28, 19)
    assert (found.share, found.share_output) == (pytest.approx(28 / 30), pytest.approx(19 / 30))
    assert (found.weeks, found.weeks_kept) == (2, 1)
    thursday, monday = days({0: DayTally(intervals=1), 3: DayTally(intervals=1)}), days({4: DayTally(intervals=1)})
    assert (thursday.means.weeks, monday.means.weeks) == (1, 1)
    apart = days({3: DayTally(intervals=1), 4: DayTally(intervals=1)})
    assert apart.means.weeks == 2


# --- what is not seen ---


def test_what_a_log_cannot_show_is_told_in_bounds() -> None:
    """Five changes; of one way 2 + 1 + 1 and three from boost 2 to buck. A change takes 25 ms at the least."""
    found = told().unseen
    assert (found.changes_at_least, found.changes_one_way, found.changes_ceiling) == (5, 7, 400)
    assert found.shortest_s == 1
    assert found.told == (
        "What stands for less than 1 s is not seen. If the line ran one way from each sample to the next, the band "
        "changed at least 5 and at most 7 times; whatever the line did, relays moved at most 400 times."
    )


def test_changes_in_no_time_have_no_ceiling() -> None:
    made = load(ROOT / "designs" / "ridge-dispensary.toml")
    still = replace(made, relays=tuple(
        replace(one, operate_ms=(F(0), F(0)), release_ms=(F(0), F(0)), transfer_ms=(F(0), F(0)),
                bounce_ms=(F(0), F(0))) for one in made.relays))  # fmt: skip
    found = figures_of(machine(control_table(still)), run(counted()), 0).unseen
    assert found.changes_ceiling is None
    assert found.told.endswith("at most 7 times.")


# --- in words ---


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (0, "0 s"),
        ("1.25", "1.2 s"),
        (119, "119 s"),
        (120, "2 minutes"),
        (7199, "120 minutes"),
        (7200, "2 hours"),
        (9000, "2.5 hours"),
        (2 * 86400 - 1, "48 hours"),
        (2 * 86400, "2 days"),
        (2 * 365 * 86400 - 1, "730 days"),
        (2 * 365 * 86400, "2 years"),
    ],
)
def test_a_time_is_told_in_the_largest_unit_of_which_there_are_two(seconds: Any, told: str) -> None:
    assert length(F(seconds)) == told
    assert seconds_told(seconds) == told


def test_a_time_of_day_has_its_thousandths_only_where_there_are_some_and_no_calendar_ends() -> None:
    assert clock(ridge(), 86_400 * SECOND + 1_000) == "1970-01-02T00:00:00.001"
    assert clock(ridge(), 86_399 * SECOND) == "1970-01-01T23:59:59"
    assert clock(ridge(), 4 * 10**17) == "9999-12-31T23:59:59"
