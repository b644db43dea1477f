"""The figures of a replay against general-purpose libraries, published limits, and sums done by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapplan.answers.logfigures import figures_of
from tapplan.answers.logrows import LogFigures
from tapplan.answers.replay import Replay, SideBySide, replay, replayed_here, spread_lines, together
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.logs.form import LogForm
from tapplan.logs.samples import BadRows, RowFault
from tapplan.logs.sources import logs_in
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, replayed
from tapplan.replay.tally import Spells, Tally
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


# --- of runs made by hand ---


@cache
def made() -> Machine:
    return ridge()


def stood(volts: int = 230, seconds: int = 10, **parts: Any) -> Tally:
    """Direct all the time, at one voltage; or what is stated."""
    tally = made().tally()
    tally.lowest, tally.lasting = 100 * volts, np.zeros((5, 1), np.int64)
    tally.lasting[2, 0] = seconds * SECOND
    tally.samples = seconds
    for name, value in parts.items():
        setattr(tally, name, value)
    return tally


def run(name: str = "a", tally: Tally | None = None, **parts: Any) -> LogRun:
    whole = LogRun(name, None, 0, 9 * SECOND, SECOND, 3 * SECOND, BadRows(), (tally or stood(),))
    return replace(whole, **parts)


def told(*runs: LogRun, **parts: Any) -> Replay:
    return replay(SideBySide((made(),), ("ridge",)), runs or (run(),), **parts)


def test_logs_together_have_the_first_and_the_last_time_and_a_step_only_where_they_share_it() -> None:
    late = run("b", first=5 * SECOND, last=20 * SECOND, made="drawn")
    one = together([run(), late])
    assert (one.name, one.made, one.first, one.last, one.partial) == ("2 logs", "drawn", 0, 20 * SECOND, False)
    assert (one.step, one.max_gap) == (SECOND, 3 * SECOND)
    assert (together([late, run()]).first, together([late, run()]).last) == (0, 20 * SECOND)
    steps, gaps = together([run(), run(step=2 * SECOND)]), together([run(), run(max_gap=9)])
    assert (steps.step, steps.max_gap) == (0, 3 * SECOND)
    assert (gaps.step, gaps.max_gap) == (SECOND, 0)
    assert together([run(), run(partial=True)]).partial
    assert together([run(), run()]).made is None


def test_logs_together_count_their_bad_rows_and_their_longest_time_away() -> None:
    bad = BadRows({RowFault.NEGATIVE: 2}, ())
    away = run("b", stood(spells=Spells(head=4 * SECOND, tail=4 * SECOND, seen=True)), bad=bad)
    one = together([run(bad=bad), run("c", stood(spells=Spells(longest=3 * SECOND, seen=True))), away])
    assert one.bad.count == 4
    (tally,) = one.tallies
    assert tally.spells.most == 4 * SECOND
    assert tally.samples == 30
    assert int(tally.lasting.sum()) == 30 * SECOND


def test_each_machine_has_its_own_sum() -> None:
    both = run(tallies=(stood(), stood(240)))
    first, second = together([both, both]).tallies
    assert (first.lowest, second.lowest) == (23_000, 24_000)
    assert int(second.lasting.sum()) == 20 * SECOND


@pytest.mark.parametrize(
    ("partial", "stopped", "shown"), [(False, False, False), (True, False, True), (False, True, True)]
)
def test_a_log_that_was_not_read_to_its_end_says_so_first(partial: bool, stopped: bool, shown: bool) -> None:
    answer = told(run(partial=partial, made="drawn: x"), stopped=stopped)
    assert answer.partial is shown
    assert (
        answer.told[0] == "Stopped before the end of the log: what follows is of the part that was read."
    ) is shown
    assert answer.told[int(shown)] == "The log is made up (drawn): nothing here was measured."
    assert answer.told[-1] == (
        "0 changes of the band in 10 s; the output is outside its window for 0 % of the time, with 0 transfers to "
        "backup."
    )


def test_the_share_outside_is_told_in_percent_or_with_a_dash_where_no_time_passed() -> None:
    assert " for 12.3 % of the time" in told(run(tally=stood(outside=1_234_567))).told[-1]
    assert " for - of the time" in told(run(tally=made().tally())).told[-1]
    assert told(run()).made is None
    assert len(told(run()).told) == 1


def test_what_failed_is_told_only_where_something_did() -> None:
    assert told().errors == ()
    assert told().failed is None
    assert told(failed=["x.csv: no such file"]).errors == ("x.csv: no such file",)


def test_of_one_log_there_is_no_region_and_of_one_design_nothing_beside() -> None:
    one, two = told(), told(run(), run("b"))
    assert (one.sites, one.region, one.beside, one.log) == (None, None, None, "a")
    assert two.sites is not None
    assert ([site.log for site in two.sites], two.log, two.samples) == (["a", "b"], "2 logs", 20)
    assert one.title == made().table.design.title


def test_designs_stand_beside_each_other_with_the_figures_of_their_own_tallies() -> None:
    twice = run(tallies=(stood(), stood(outside=5 * SECOND)))
    answer = replay(SideBySide((made(), made()), ("one", "two")), [twice])
    assert answer.beside is not None
    assert [(row.design, row.outside_s, row.outside_share) for row in answer.beside] == [
        ("one", 0, 0.0),
        ("two", 5, 0.5),
    ]
    assert [(row.changes, row.moves, row.transfers, row.deviation_v, row.years) for row in answer.beside] == [
        (0, 0, 0, 0.0, None)
    ] * 2


# --- a region ---


def region(*shares: float | None) -> dict[str, Any]:
    """Sites that differ in the share of time outside, and in the volts of their line: 200, 201 ... V."""
    runs = [run(f"site {number}", stood(200 + number)) for number in range(len(shares))]
    answer = told(*runs)
    assert answer.sites is not None
    sites = [replace(site, outside_share=share) for site, share in zip(answer.sites, shares, strict=True)]
    from tapplan.answers.replay import _region

    return {one.figure: one for one in _region(sites)}


def test_a_figure_over_sites_stands_at_its_tenths_and_names_the_site_of_the_most() -> None:
    """Eleven sites: one at each tenth of the way; with four the tenths fall on the site below."""
    found = region(*(number / 100 for number in (5, 3, 10, 0, 1, 2, 4, 6, 7, 8, 9)))
    outside = found["outside the window"]
    assert (outside.unit, outside.at) == ("% of the time", "site 2")
    ends = (outside.least, outside.tenth, outside.median, outside.nine_tenths, outside.most)
    assert ends == pytest.approx((0, 1, 5, 9, 10))
    line = found["line, 50 % of the time at most"]
    assert (line.unit, line.least, line.tenth, line.median, line.most, line.at) == (
        "V",
        200,
        201,
        205,
        210,
        "site 10",
    )
    few = region(0.04, 0.01, 0.03, 0.02)["outside the window"]
    ends = (few.least, few.tenth, few.median, few.nine_tenths, few.most)
    assert ends == pytest.approx((1, 1, 2, 3, 4))


def test_a_site_without_a_figure_is_left_out_there_and_a_figure_of_none_altogether() -> None:
    found = region(None, 0.5)
    assert (found["outside the window"].least, found["outside the window"].at) == (50, "site 1")
    assert "outside the window" not in region(None, None)
    assert "contacts last" not in found
    assert {"changes an hour", "transfers"} <= set(found)
    assert sum(name.startswith("output, ") for name in found) == sum(name.startswith("line, ") for name in found) == 9


# --- mains of another kind ---


@pytest.mark.parametrize(("volts", "odd"), [(167, True), (168, False), (230, False), (274, False), (275, True)])
def test_a_log_is_odd_whose_middle_lies_outside_the_mains_range(volts: int, odd: bool) -> None:
    """The ridge dispensary is for 168 to 274 V."""
    answer = told(run(tally=stood(volts)))
    assert any("another unit" in one for one in answer.told) is odd
    if odd:
        assert answer.told[-1].startswith(
            f"Half of the time the log stands at or below {volts} V, outside the mains range of the design "
            "(168 - 274 V)"
        )


def test_an_empty_log_is_not_odd() -> None:
    assert len(told(run(tally=made().tally())).told) == 1


# --- the spread ---


def figures(**parts: Any) -> LogFigures:
    return replace(figures_of(made(), run(tally=stood(seconds=90)), 0), **parts)


def test_the_spread_begins_with_what_it_is_and_whether_it_was_made() -> None:
    head, line = spread_lines(figures()).splitlines()
    assert (
        head
        == "# a: volts of the mains, the mean of each bin, and seconds; 1970-01-01T00:00:00 to 1970-01-01T00:00:09"
    )
    assert line == "230.0000, 90.000000"
    assert spread_lines(figures(made="drawn: x")).splitlines()[1] == "# made: drawn: x"
    only_output = replace(figures().histogram[0], line_mean_v=None)
    assert spread_lines(figures(histogram=(only_output,))).splitlines() == [head]
    assert spread_lines(figures()).endswith("\n")


def test_logs_run_here_take_their_gap_in_whole_microseconds() -> None:
    (log,) = logs_in([str(HOUSEHOLD)], LogForm())
    table = made().table
    usual, narrow = replayed_here(table, [log], None), replayed_here(table, [log], Fraction("59.5"))
    assert usual.title == table.design.title
    assert (usual.gaps, usual.max_gap_s, usual.samples) == (0, 180, 28 * 1440)
    assert narrow.gaps == 28 * 1440 - 1
    assert narrow.max_gap_s == Fraction("59.5")
