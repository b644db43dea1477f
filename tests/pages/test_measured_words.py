"""What the part of a page that logs add says in words and small tables, from figures made by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
import pytest

from tapplan.answers.logrows import BadTold, ChangeCount, DayRow, LogFigures, RelayWear
from tapplan.answers.replay import Replay
from tapplan.pages import measured
from tapplan.pages.measured import Measured
from tapplan.replay.view import LogView
from tests.answers.test_replay import made, run, stood, told

F = Fraction
SECOND = 1_000_000


@cache
def answer() -> Replay:
    return told(run(tally=stood(seconds=100)))


def of(**parts: Any) -> Replay:
    return replace(answer(), **parts)


def figures(**parts: Any) -> LogFigures:
    plain = LogFigures(**{name: getattr(answer(), name) for name in LogFigures.__dataclass_fields__})
    return replace(plain, **parts)


# --- the head ---


def test_a_log_has_times_of_its_own_unless_it_is_said_to_have_none() -> None:
    assert not found().counted
    assert measured.COUNTED not in measured.mains_section(found())
    assert f"<p>{measured.COUNTED}</p>" in measured.mains_section(replace(found(), counted=True))


def test_what_was_made_up_is_all_or_some() -> None:
    assert measured._made(of(made="x")) == "Made up, not measured."
    two = of(made="x", sites=(figures(made="x"), figures(made="y")))
    assert measured._made(two) == "Made up, not measured."
    some = of(made="x", sites=(figures(made="x"), figures(), figures()))
    assert measured._made(some) == "1 of the 3 logs are made up, not measured, and with them all sums."


def cards(one: Replay) -> list[tuple[bool, str, str, str]]:
    found = re.findall(r"<li( class=bad)?>(.*?)<strong>(.*?)</strong>(.*?)</li>", measured._cards(one))
    return [(bool(bad), head, figure, more) for bad, head, figure, more in found]


def test_cards_of_a_log_that_stayed_inside() -> None:
    assert cards(answer()) == [
        (False, "Outside the window", "0 %", "0 s of 100 s"),
        (False, "Changes of the band", "0", "0 an hour"),
        (False, "Contacts last", "-", "no relay moved"),
    ]


def test_cards_of_a_log_that_did_not() -> None:
    changes = (ChangeCount(start="a", end="b", count=1200, line_v=(1.0, 2.0), step_v=None),)
    life = tuple(
        RelayWear(relay=name, moves=1, a_day=1.0, endurance=None, years=years)
        for name, years in (("K", None), ("L", 1234.5), ("M", 12.5))
    )
    means = replace(answer().means, count=9, share=0.9512, share_output=1.0)
    one = of(outside_share=0.012345, outside_s=F(90), changes=changes, life=life, means=means, changes_an_hour=2.346)
    assert cards(one) == [
        (True, "Outside the window", "1.23 %", "90 s of 100 s"),
        (False, "Changes of the band", "1,200", "2.35 an hour"),
        (False, "Contacts last", "12.5 years", "then M is the first to go"),
        (False, "10-minute means within 10 %", "95.1 % \u2192 100.0 %", "line \u2192 output without load"),
    ]
    bare = of(changes=changes, life=life[:1], outside_share=None)
    assert cards(bare)[0][2] == "-"
    assert cards(bare)[2] == (False, "Contacts last", "-", "no relay has an endurance")


# --- the pictures ---


def view(seconds: int = 40, outside: tuple[int, ...] = (0, 0, 0, 0), gaps: tuple[int, ...] = (0, 0, 0, 0),
         begin: int = 0) -> LogView:  # fmt: skip
    edges = np.linspace(begin, begin + seconds * SECOND, 5).astype(np.int64)
    shape = (5, 4)
    return LogView(edges, np.full(shape, 23_000), np.full(shape, 23_000), np.full(shape, SECOND),
                   np.array(outside, np.int64), np.array(gaps, np.int64))  # fmt: skip


def found(one: Replay | None = None, shown: str = "a", **parts: Any) -> Measured:
    return Measured(one or answer(), made(), view(**parts), shown)


def test_the_strips_are_told_in_words() -> None:
    percentiles = (
        replace(answer().percentiles[0], line_v=180.26, output_v=210.04),
        *answer().percentiles[1:-1],
        replace(answer().percentiles[-1], line_v=270.0, output_v=None),
    )
    text = measured._strips_told(found(of(percentiles=percentiles)), view(outside=(1, 0, 5, 0), gaps=(0, 0, 0, 9)))
    assert text.startswith(
        "From 1970-01-01T00:00:00 to 1970-01-01T00:00:09. Line from 180.3 to 270 V, output from 210 to - V. In "
        "force: boost 2 0.0 %, boost 1 0.0 %, direct 100.0 %, buck 0.0 %, away 0.0 %."
    )
    assert text.endswith(" Outside the window in 2 of 4 columns, a gap in 1.")


def test_the_caption_says_how_long_a_column_is_and_by_which_clock() -> None:
    """40 s in four columns, wherever they begin."""
    for begin in (0, 1_200_787_200 * SECOND):
        caption = measured._strips_caption(found(), view(begin=begin))
        assert "window? Each column is 10 s, drawn" in caption
    assert caption.endswith("outside its window in a band. Times by the log's own clock.")
    gaps = measured._strips_caption(found(), view(gaps=(0, 1, 0, 0)))
    assert gaps.endswith("in a band. Grey or hatched: no sample. Times by the log's own clock.")
    several = of(sites=(figures(), figures()))
    assert " Shown is a, the log with the most time outside. Each" in measured._strips_caption(found(several), view())


def test_the_log_shown_is_that_of_its_name_or_all_of_them() -> None:
    first, second = figures(log="a"), figures(log="b")
    two = of(sites=(first, second))
    assert measured._shown(found(two, "b")) == second
    assert measured._shown(found(two, "x")) == two
    assert measured._shown(found()) == answer()


def test_what_stood_at_which_volts_is_told_to_a_tenth() -> None:
    middle = [replace(one, line_v=230.04, output_v=221.26) if place == 4 else one
              for place, one in enumerate(answer().percentiles)]  # fmt: skip
    one = of(percentiles=tuple(middle), line_deviation_v=3.26, deviation_v=1.04)
    text = measured._standing(found(one))
    shows = (
        "Half of the time the line stands at or below 230 V and the output at or below 221.3 V; their mean distance "
        "from nominal is 3.3 and 1 V."
    )
    assert f"<figcaption>How long at which volts? {shows} The output is counted while a band is in force.</fi" in text
    assert shows in text.partition("<figcaption>")[0]
    assert measured._standing(found(of(observed_s=F(0)))) == ""
    several = measured._standing(found(replace(one, sites=(figures(), figures(), figures()))))
    assert "in force. All 3 logs together.</figcaption>" in several


def test_the_busiest_hour_of_the_day_is_told_with_its_changes() -> None:
    changes = (ChangeCount(start="a", end="b", count=9, line_v=(1.0, 2.0), step_v=None),)
    one = of(changes=changes, hours=(*(0,) * 9, 1200, *(3,) * 14), busiest_hour=1100)
    text = measured._hours(found(one))
    assert (
        "When do the relays work? Most often between 09:00 and 10:00, 1,200 times; 1,100 in the busiest single"
        in text
    )
    assert measured._hours(found()) == ""


def day(number: int, outside: Any = 0, changes: int = 0) -> DayRow:
    return DayRow(date=f"2024-{1 + number // 28:02d}-{1 + number % 28:02d}", outside_s=F(outside), away_s=F(0),
                  gap_s=F(0), changes=changes, line_v=None, means=0, means_kept=0, means_kept_output=0)  # fmt: skip


def test_days_are_counted_by_how_long_they_were_outside() -> None:
    one = of(days=(day(0), day(1), day(2, 59), day(3, 60), day(4, 3599), day(5, 3600)))
    (text,) = measured._calendars(found(one))
    shows = "Days by their time outside, none: 2; under 1 min: 1; under 1 h: 2; 1 h or more: 1."
    assert f"On which days? {shows} Point at a day for its figures." in text
    assert 'id="mains-days-0"' in text
    assert measured._calendars(found(of(days=()))) == []
    dates = [f"{year}-{month:02d}-01" for year in range(2000, 2006) for month in range(1, 13)]
    long = measured._calendars(found(of(days=tuple(replace(day(0), date=date) for date in dates))))
    assert len(long) > 1
    assert all("<figcaption>Goes on below.</figcaption>" in each for each in long[:-1])
    assert "On which days? " in long[-1]


# --- the tables ---


def heads(text: str) -> list[str]:
    return re.findall(r"<(?:caption|summary)>(.*?)</", text)


def test_few_days_are_one_table_more_are_folded_and_many_cut() -> None:
    def titles(count: int) -> list[str]:
        return heads("".join(measured._days([day(number, number) for number in range(count)])))

    assert titles(1) == []
    assert titles(2) == titles(7) == ["Day by day, the worst first"]
    assert titles(8) == ["The worst of 8 days", "All 8 days", "By time outside, then by changes"]
    assert titles(100)[1] == "All 100 days"
    assert titles(101)[1] == "The worst 100 of 101 days"
    some, many = measured._days([day(number, number) for number in range(120)])
    assert (some.count("<tr>"), many.count("<tr>")) == (8, 101)


def test_days_stand_by_time_outside_then_changes_then_date() -> None:
    (text,) = measured._days([day(0), day(1, 5), day(2, 5, 3), day(3, 9), day(4, 0, 8)])
    assert re.findall(r"<tr><td>(.*?)</td>", text) == [f"2024-01-0{number}" for number in (4, 3, 2, 5, 1)]


def test_logs_stand_from_the_most_time_outside_and_then_by_name() -> None:
    logs = tuple(figures(log=name, outside_share=share)
                 for name, share in (("b", None), ("d", 0.1), ("c", 0.5), ("a", 0.1)))  # fmt: skip
    text = "".join(measured._sites(of(sites=logs, region=None)))
    assert re.findall(r"<tr><td>(.*?)</td><td>(.*?)</td>", text) == [
        ("c", "50.0 %"), ("a", "10.0 %"), ("d", "10.0 %"), ("b", "-"),
    ]  # fmt: skip
    assert heads(text)[0] == "Each log"
    assert measured._sites(answer()) == []
    twelve, thirteen = ("".join(measured._sites(of(sites=(figures(),) * count, region=told(run(), run("b")).region)))
                        for count in (12, 13))  # fmt: skip
    assert heads(twelve) == ["Each log", "What differs between the 12 logs", "From log to log"]
    assert heads(thirteen)[0] == "The 12 of 13 logs with the most time outside"
    assert thirteen.partition("</table>")[0].count("<tr>") == 13


@pytest.mark.parametrize(("count", "folded"), [(8, False), (9, True)])
def test_many_kinds_of_change_are_folded(count: int, folded: bool) -> None:
    one = ChangeCount(start="a", end="b", count=9, line_v=(1.0, 2.0), step_v=None)
    text = "".join(measured._tables(of(changes=(one,) * count)))
    assert (f"<summary>Changes of the band, {count} kinds</summary>" in text) is folded
    assert "Changes of the band: the line&#x27;s volts then, what the output steps by" in text
    assert "Side by side on the same logs" not in text


def read(one: Replay) -> str:
    return re.sub(r"<[^>]*>", " ", "".join(measured._read(one)))


def test_what_was_read_and_what_was_not() -> None:
    plain = " ".join(read(answer()).split())
    assert plain.startswith(
        "What was read a: 100 samples, one each 1 s as a rule, 1970-01-01T00:00:00 to 1970-01-01T00:00:09. No gaps. "
        "No bad rows. What stands"
    )
    assert "Rows left out" not in plain
    bad = BadTold(file="a.csv", row=7, fault="no number", found="-")
    one = of(gaps=1200, seconds={**answer().seconds, "gap": F(90)}, longest_gap_s=F(60), bad=1203, step_s=None,
             bad_by={"below 0 V": 1200, "no number": 3}, bad_rows=(bad,))  # fmt: skip
    full = " ".join(read(one).split())
    assert (
        "a: 100 samples, 1970-01-01T00:00:00 to 1970-01-01T00:00:09. 1,200 gaps, 90 s in all, the longest 60 s;"
        in full
    )
    assert "over a gap. 1,203 rows left out: 1,200 below 0 V, 3 no number." in full
    assert "Rows left out, the first 1 " in full
