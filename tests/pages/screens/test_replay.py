"""A replayed log on the screen: bars, hours, days and sites from figures made by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from rich.console import Console, Group

from tapplan.answers.logrows import DayRow, LogFigures, VoltsTime
from tapplan.answers.replay import Replay
from tapplan.logs.samples import BadRow, BadRows, RowFault
from tapplan.pages.screens.replay import BAR, _bar, _days, _histogram, _hours, _read, _sites, screen
from tests.answers.test_replay import run, stood, told

F = Fraction


def shown(parts: Any, width: int = 200) -> list[str]:
    console = Console(width=width, no_color=True)
    with console.capture() as captured:
        console.print(Group(*parts))
    return [line.rstrip() for line in captured.get().splitlines()]


@cache
def answer() -> Replay:
    return told(run())


# --- bars ---


@pytest.mark.parametrize(
    ("share", "longest", "count"), [(0.0, 40, 0), (0.001, 40, 1), (0.5, 40, 20), (1.0, 40, 40), (0.51, 10, 5)]
)
def test_a_bar_is_its_share_of_the_longest_and_never_less_than_one_sign(
    share: float, longest: int, count: int
) -> None:
    assert _bar(share, "#", longest) == "#" * count
    assert BAR == 40


def volts(begin: float, line: int, output: int, wide: float = 1) -> VoltsTime:
    return VoltsTime(from_v=begin, to_v=begin + wide, line_s=F(line), output_s=F(output))


def test_bins_stand_volt_by_volt_in_bars_to_the_longest_of_both() -> None:
    """A screen of 91 columns leaves 40 to each of the two bars: 20 s are 40 signs, 5 s ten."""
    rows = [volts(230, 20, 5), volts(231, 10, 0), volts(233, 0, 20)]
    legend, *lines = shown(_histogram(rows, 91))[1:]
    assert legend == "How long line (-) and output (#) stood from these volts up, 1 V a line:"
    assert lines == [
        f"    230  {'-' * 40}  {'#' * 10}",
        f"    231  {'-' * 20}",
        f"    233  {' ' * 40}  {'#' * 40}",
    ]
    narrow = shown(_histogram(rows, 51))[2]
    assert narrow == f"    230  {'-' * 20}  {'#' * 5}"
    assert shown(_histogram(rows, 300))[2] == lines[0]


@pytest.mark.parametrize(
    ("span", "size"), [(24, 1), (25, 2), (48, 2), (49, 5), (120, 5), (121, 10), (240, 10), (241, 20), (1201, 100)]
)
def test_bins_are_joined_until_there_are_no_more_than_twenty_four_lines(span: int, size: int) -> None:
    rows = [volts(200, 1, 1), volts(200 + span - 1, 1, 1)]
    assert shown(_histogram(rows, 100))[1].endswith(f", {size} V a line:")


def test_joined_bins_add_up_from_the_lower_multiple() -> None:
    """201 and 203 V go with 200, in lines of five; 1 + 3 s of line, and 2 + 4 s of output."""
    rows = [volts(201, 1, 2), volts(203, 3, 4), volts(260, 8, 0)]
    _, _, first, second = shown(_histogram(rows, 91))
    assert first == f"    200  {'-' * 20}{' ' * 20}  {'#' * 30}"
    assert second == f"    260  {'-' * 40}"


def test_without_time_on_the_line_there_is_no_histogram() -> None:
    assert _histogram([], 80) == []
    assert _histogram([volts(230, 0, 5)], 80) == []


# --- hours, days ---


def test_hours_are_bars_to_the_busiest_and_quiet_ones_are_bare() -> None:
    hours = (4, 0, 1000, *(0,) * 20, 500)
    made = replace(answer(), hours=hours, changes_an_hour=2.346, busiest_hour=1234)
    _, heading, *lines = shown(_hours(made))
    assert heading == "Changes of the band by the hour of the day; 2.35 an hour, 1,234 in the busiest:"
    assert lines[:3] == ["00  # 4", "01  0", f"02  {'#' * 40} 1,000"]
    assert lines[23] == f"23  {'#' * 20} 500"
    assert len(lines) == 24
    assert _hours(replace(answer(), hours=(0,) * 24)) == []


def day(date: str, outside: int = 0, changes: int = 0) -> DayRow:
    return DayRow(date=date, outside_s=F(outside), away_s=F(0), gap_s=F(0), changes=changes, line_v=None, means=0,
                  means_kept=0, means_kept_output=0)  # fmt: skip


def test_the_five_worst_days_stand_by_time_outside_changes_and_date() -> None:
    days = (day("2024-01-07"), day("2024-01-06", 5), day("2024-01-05", 5, 3), day("2024-01-04", 9),
            day("2024-01-03", 0, 8), day("2024-01-02"), day("2024-01-01"))  # fmt: skip
    _, heading, _, *lines = shown(_days(replace(answer(), days=days)))
    assert heading == "The worst of 7 days:"
    assert [line.split()[0] for line in lines] == [
        "2024-01-04", "2024-01-05", "2024-01-06", "2024-01-03", "2024-01-01",
    ]  # fmt: skip
    assert _days(replace(answer(), days=days[:1])) == []
    assert len(_days(replace(answer(), days=days[:2]))) == 2


# --- sites, and what was read ---


def sites(*shares: float | None) -> Replay:
    one = answer()
    figures = LogFigures(**{name: getattr(one, name) for name in LogFigures.__dataclass_fields__})
    logs = tuple(replace(figures, log=f"site {place}", outside_share=share) for place, share in enumerate(shares))
    return replace(one, sites=logs, region=())


def test_logs_stand_from_the_most_time_outside_twelve_at_the_most() -> None:
    lines = shown(_sites(sites(0.1, None, 0.5)))
    assert lines[1] == "Over 3 logs:"
    assert lines[-4:] == [
        "Each log:",
        "site 2: outside 50.0 %, 0 changes, 0 transfers",
        "site 0: outside 10.0 %, 0 changes, 0 transfers",
        "site 1: outside -, 0 changes, 0 transfers",
    ]
    assert "Each log:" in shown(_sites(sites(*[0.1] * 12)))
    many = shown(_sites(sites(*[0.1] * 13)))
    assert "The logs with the most time outside:" in many
    assert sum(line.startswith("site ") for line in many) == 12


def test_of_a_single_log_no_sites_are_told() -> None:
    two = sites(0.1, 0.2)
    assert _sites(replace(two, sites=None)) == []
    assert _sites(replace(two, region=None)) == []
    assert _sites(two) != []


def test_what_was_read_and_what_was_not() -> None:
    lines = shown(_read(answer()))
    assert lines[1:4] == [
        "a: 10 samples, one each 1 s as a rule, 1970-01-01T00:00:00 to 1970-01-01T00:00:09.",
        "No gaps.",
        "No bad rows.",
    ]
    assert lines[-1] == answer().unseen.told
    bad = BadRows({RowFault.NEGATIVE: 1200, RowFault.NO_NUMBER: 2}, (BadRow("a.csv", 7, RowFault.NEGATIVE, "-3"),))
    tally = stood(gaps=2, gap_us=90_000_000, longest_gap=60_000_000)
    full = shown(_read(told(run(tally=tally, bad=bad, step=0, made="drawn: x"))))
    assert full[1] == "a: 10 samples, 1970-01-01T00:00:00 to 1970-01-01T00:00:09."
    assert full[2] == "2 gaps, 90 s in all, the longest 60 s; the band is kept over a gap."
    assert full[3] == "1,202 rows left out: 1,200 below 0 V, 2 no number."
    assert any(line.split() == ["a.csv", "7", "below", "0", "V", "-3"] for line in full)
    assert full[-1] == "drawn: x."


def test_the_whole_screen_says_the_mean_distances_and_the_means_where_there_are_some() -> None:
    text = shown([screen(answer(), 100)])
    assert "Mean distance from nominal: line 0 V, output 0 V." in text
    assert not any("ten-minute means" in line for line in text)
    means = replace(answer().means, count=1440, share=0.9512, share_output=1.0, weeks=3, weeks_kept=2)
    more = " ".join(shown([screen(replace(answer(), means=means), 100)]))
    assert (
        "Of 1,440 ten-minute means 95.1 % of the line and 100.0 % of the output lie within 10 % of nominal; in 2 of "
        "3 weeks 95 % of the line's do (as EN 50160 counts)."
    ) in more
    assert "Side by side on the same logs:" not in text
    assert not any(line.startswith("Changes of the band; the line's") for line in text)
