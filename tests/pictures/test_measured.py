"""Pictures of a log: every figure stands where its values say, nothing that happened is left out."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.answers.logrows import DayRow, VoltsTime
from tapplan.control.table import control_table
from tapplan.pictures import days as calendar
from tapplan.pictures import standing, strips, stripsheet
from tapplan.pictures.dates import EPOCH, TimeRange, time_marks
from tapplan.pictures.days import Badness, badness, calendars, day_told
from tapplan.pictures.hours import hours_picture
from tapplan.pictures.standing import standing_picture
from tapplan.pictures.stripsheet import NARROW, WIDE
from tapplan.pictures.style import INKS, LOG_RULES, inside, mark_made, number_told, rules, svg
from tapplan.replay.zone import Zone
from tests.examples import SHIPPED
from tests.pictures.measured import DAY, HOUR, MINUTE, SUNDAY, level, site, stage, wandering

SVG = "{http://www.w3.org/2000/svg}"
EVIL = "<script>x</script>\"'&"


def parsed(drawing: Any) -> ElementTree.Element:
    return ElementTree.fromstring(svg(drawing, "it", LOG_RULES))  # noqa: S314 - our own text


def paths(root: ElementTree.Element, kind: str) -> list[str]:
    return [one.get("d", "") for one in root.iter(f"{SVG}path") if one.get("class") == kind]


def texts(root: ElementTree.Element) -> list[str]:
    return [one.text or "" for one in root.iter(f"{SVG}text")]


# --- over time ---


def walked(path: str) -> list[tuple[float, float]]:
    """The corners of a path of M, H, V and L."""
    found, x, y = [], 0.0, 0.0
    for step, figures in re.findall(r"([MHVLZ])([-\d. ]*)", path.replace(",", " ")):
        numbers = [float(one) for one in figures.split()]
        if step in "ML":
            x, y = numbers
        elif step in "HV":
            x, y = (numbers[0], y) if step == "H" else (x, numbers[0])
        found.append((x, y))
    return found


def volts_at(root: ElementTree.Element) -> list[Any]:
    """Of the line's strip: from heights to volts, by two of its labels."""
    labels = [one for one in root.iter(f"{SVG}text") if one.get("class") == "faint" and (one.text or "").isdigit()]
    (low, y), (high, above) = [(float(one.text or ""), float(one.get("y", 0)) - 4) for one in labels[:2]]
    return [low, (high - low) / (above - y), y]


@pytest.mark.parametrize("form", [WIDE, NARROW], ids=["wide", "narrow"])
def test_line_and_output_are_drawn_from_the_least_to_the_most(form: stripsheet.StripForm) -> None:
    volts = [230.0] * 300
    volts[100], volts[200] = 170.0, 262.0
    found = site(level(volts), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine, form))
    line = walked(paths(root, "stood")[0])
    low, slope, y = volts_at(root)
    heights = [low + (corner[1] - y) * slope for corner in line]
    assert min(heights) == pytest.approx(170, abs=0.15)
    assert max(heights) == pytest.approx(262, abs=0.15)
    wide = form.width - form.left - form.right
    spikes = sorted(x for x, corner in line if low + (corner - y) * slope > 250)
    assert spikes[0] == pytest.approx(form.left + wide * 200 / 300, abs=wide / 900)
    assert spikes[-1] == pytest.approx(form.left + wide * 201 / 300, abs=wide / 900)
    assert min(x for x, _ in line) == form.left
    assert max(x for x, _ in line) == form.width - form.right


def test_a_mark_for_each_column_outside_in_a_band_on_its_side() -> None:
    """The pump's upper band reaches above the window; below it the band is left late, by its confirmation."""
    found = site(wandering(6, MINUTE, wide=70), stage("spring-pump"))
    view, window = found.view, found.machine.table.design.output.window
    output = view.output(found.machine.ratios, float(found.machine.grain.volts))
    in_band = view.outside > view.away
    root = parsed(strips.strips(view, found.machine))
    marks = [one.count("M") for one in paths(root, "beyond")]
    high = int((in_band & (output.most > float(window.high))).sum())
    low = int((in_band & (output.least < float(window.low))).sum())
    assert high > 10
    assert marks == [one for one in (high, low) if one]
    assert ("too high" in texts(root)) is (high > 0)
    assert ("too low" in texts(root)) is (low > 0)


def test_marks_stand_at_their_columns_above_and_below_the_strip() -> None:
    """At 20 ms a sample: low or high until a confirmation is over; high at the end, where the band keeps it."""
    volts = [230.0] * 500 + [180.0] * 500 + [230.0] * 500 + [253.5] * 500
    design = stage("spring-pump").design
    slow = replace(design, sensing=replace(design.sensing, confirm_ms=Fraction(100)))
    found = site(level(volts, step=20_000), control_table(slow))
    root = parsed(strips.strips(found.view, found.machine))
    boxes = {one.get("y") for one in root.iter(f"{SVG}rect") if one.get("class") == "window"}
    assert len(boxes) == 1
    high, low = (
        [tuple(map(float, one)) for one in re.findall(r"M([\d.]+) ([\d.]+)v", path)] for path in paths(root, "beyond")
    )
    across, left = stripsheet.WIDE.across, stripsheet.WIDE.left
    late = [x for x, _ in high if x > left + across * 0.7]
    assert [late[0], late[-1]] == pytest.approx([left + across * 0.75, left + across], abs=1)
    assert len(late) == 250
    assert 0 < len(high) - 250 < 10  # the boost is left late too
    assert high[0][0] == pytest.approx(left + across * 0.5, abs=1)
    assert low[0][0] == pytest.approx(left + across * 0.25, abs=1)
    assert len(low) < 10
    strip = [y for _, y in walked(paths(root, "stood")[1])]
    assert high[0][1] + stripsheet.BEYOND < min(strip)
    assert low[0][1] > max(strip)


def test_each_column_is_level_and_all_corners_are_right_angles() -> None:
    found = site(level([230.0, 240.0, 240.0, 220.0]), stage("ridge-dispensary"), columns=4)
    line = walked(paths(parsed(strips.strips(found.view, found.machine)), "stood")[0])
    across, left = stripsheet.WIDE.across, stripsheet.WIDE.left
    xs = [left + across * quarter / 4 for quarter in (0, 1, 1, 3, 3, 4)]
    assert [x for x, _ in line][:6] == pytest.approx(xs, abs=0.06)
    ys = [y for _, y in line][:6]
    assert ys[0] == ys[1] > ys[2] == ys[3] < ys[0] < ys[4] == ys[5]
    for (x, y), (next_x, next_y) in pairwise(line):
        assert x == next_x or y == next_y


def test_handovers_are_told_beside_the_strip_as_far_as_there_is_room() -> None:
    found = site(level([230.0] * 20), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    wanted = ["away > 281", "242\u2013245", "214\u2013217", "189\u2013192", "away < 164"]
    placed = {one.text: float(one.get("y", 0)) for one in root.iter(f"{SVG}text") if one.text in wanted}
    assert sorted(placed, key=lambda told: placed[told or ""]) == wanted
    limits = sorted(y for path in paths(root, "limit") for _, y in walked(path))
    assert placed["away > 281"] == pytest.approx(limits[0] + 4)
    assert placed["away < 164"] == pytest.approx(limits[-1] + 4)
    crowded = site(level([127.0] * 20), stage("river-kiosk"))
    told = [one for one in texts(parsed(strips.strips(crowded.view, crowded.machine))) if "\u2013" in one]
    assert 3 <= len(told) < len(crowded.machine.table.rows)


def test_however_far_volts_are_beyond_the_holds_stay_legible() -> None:
    found = site(level([0.0, 230.0, 1200.0]), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    limits = [y for path in paths(root, "limit") for _, y in walked(path)]
    assert max(limits) - min(limits) == pytest.approx(stripsheet.WIDE.high / (1 + 2 * (0.6 + 0.04)), abs=0.5)


def test_the_hours_of_a_day_are_told_under_it() -> None:
    found = site(level([230.0] * 1440), stage("ridge-dispensary"))
    for form, each in ((WIDE, 2), (NARROW, 6)):
        told = texts(parsed(strips.strips(found.view, found.machine, form)))
        assert [one for one in told if ":" in one and "V:" not in one] == [
            f"{hour % 24:02d}:00" for hour in range(0, 25, each)
        ]
        assert "20 Jan 2008" in told


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_lane_a_band_from_the_highest_inputs_down(path: Any) -> None:
    found = site(wandering(3, MINUTE), stage(path.stem))
    root = parsed(strips.strips(found.view, found.machine))
    names = [*reversed([row.name for row in found.machine.table.rows]), "away", "gap"]
    shown = [one.text or "" for one in root.iter(f"{SVG}text") if one.get("text-anchor") == "end"]
    lanes = [one for one in shown if one.rstrip("\u2026") and any(name.startswith(one[:8]) for name in names)]
    assert [name[:8] for name in names] == [one[:8] for one in lanes][-len(names) :]
    shares = [one for one in texts(root) if one.endswith(" %") or one == "none"]
    assert len(shares) == len(names)
    told = [found.answer.bands[at].share for at in range(len(names) - 1)]
    for share, text in zip([*reversed(told[:-1]), told[-1]], shares, strict=False):
        assert text == "none" if not share else True
        if text[0].isdigit():
            assert float(text.removesuffix(" %")) == pytest.approx(100 * share, abs=0.051)


def test_a_lane_is_as_high_as_the_share_of_its_column() -> None:
    volts = [230.0] * 90 + [200.0] * 10 + [230.0] * 100
    found = site(level(volts), stage("ridge-dispensary"), columns=2)
    assert found.view.lasting.shape[1] == 2
    root = parsed(strips.strips(found.view, found.machine))
    boost, direct = (walked(one) for one in sorted(paths(root, "share"), key=len))
    bars = [max(y for _, y in one) - min(y for _, y in one) for one in (boost, direct)]
    spent = found.view.lasting.max(axis=1) / np.diff(found.view.edges)[0]
    assert bars[0] == pytest.approx(max(float(spent[1]) * strips.BAR, strips.LEAST_BAR), abs=0.11)
    assert bars[1] == pytest.approx(strips.BAR, abs=0.11)


def test_what_hardly_happened_is_neither_nothing_nor_all() -> None:
    volts = [230.0] * 5000
    volts[77] = 200.0
    found = site(level(volts), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    assert {"< 0.1 %", "> 99.9 %", "none"} <= set(texts(root))
    boost = min(paths(root, "share"), key=len)
    assert max(y for _, y in walked(boost)) - min(y for _, y in walked(boost)) >= strips.LEAST_BAR


def test_gaps_are_marked_through_the_strips_and_hatched_where_wide() -> None:
    log = level([230.0] * 50)
    samples = [*log.samples, *((time + 40 * HOUR, volts) for time, volts in log.samples)]
    found = site(replace(log, samples=samples), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    hatch = [one for one in root.iter(f"{SVG}rect") if (one.get("fill") or "").startswith("url(#missing-")]
    assert len(hatch) == 2
    assert float(hatch[0].get("width", 0)) == pytest.approx(stripsheet.WIDE.across * 39.18 / 40.83, rel=0.005)
    assert "gap" in texts(root)
    assert len(paths(root, "stood")[0].split("M")) == 3


def test_a_short_gap_is_a_grey_line_through_the_strips() -> None:
    log = level([230.0] * 5000)
    found = site(replace(log, samples=[*log.samples[:2000], *log.samples[2010:]]), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    grey = [one for one in root.iter(f"{SVG}rect") if one.get("class") == "missing"]
    assert len(grey) == 2
    middle = float(grey[0].get("x", 0)) + float(grey[0].get("width", 0)) / 2
    assert middle == pytest.approx(stripsheet.WIDE.left + stripsheet.WIDE.across * 2005 / 5000, abs=1)


def test_volts_far_beyond_lie_on_the_edge_and_are_told() -> None:
    found = site(level([230.0] * 40 + [0.0] * 5 + [900.0] * 5 + [230.0] * 40), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    heights = [y for _, y in walked(paths(root, "stood")[0])]
    assert min(heights) == stripsheet.TOP
    assert max(heights) == stripsheet.TOP + stripsheet.WIDE.high
    assert "line, V: 0.0 to 900.0" in texts(root)


def test_no_output_where_no_band_was_in_force() -> None:
    found = site(level([100.0] * 40), stage("ridge-dispensary"))
    root = parsed(strips.strips(found.view, found.machine))
    assert "output without load, V: none" in texts(root)
    assert not paths(root, "beyond")
    assert len(paths(root, "stood")) == 1


def test_hostile_names_stay_text() -> None:
    table = stage("ridge-dispensary")
    rows = tuple(replace(row, name=EVIL) for row in table.rows)
    found = site(wandering(2, MINUTE), replace(table, rows=rows))
    for form in (WIDE, NARROW):
        assert not list(parsed(strips.strips(found.view, found.machine, form)).iter(f"{SVG}script"))


# --- dates ---

ZONES = st.sampled_from([None, "Europe/Madrid", "Asia/Kathmandu", "America/New_York"])


@given(
    st.integers(0, 4_000_000_000).map(lambda s: s * 1_000_000),
    st.floats(3, 15.5).map(lambda power: int(10**power)),
    st.integers(3, 20),
    ZONES,
)
def test_marks_are_round_few_and_in_order(begin: int, lasting: int, most: int, zone: str | None) -> None:
    over = TimeRange(begin, begin + lasting, Zone(zone))
    marks = time_marks(over, most)
    assert len(marks.fine) <= most + 2
    for row in (marks.fine, marks.coarse):
        times = [one.time for one in row]
        assert times == sorted(set(times))
        assert all(begin <= time <= begin + lasting for time in times)
    assert len({one.told for one in marks.coarse}) == len(marks.coarse)
    if marks.coarse:
        assert marks.coarse[0].time == begin


ROUND_S = {one * unit for unit in (1, 60) for one in (1, 2, 5, 10, 15, 30)} | {3600 * one for one in (1, 2, 3, 6, 12)}


@given(st.integers(0, 4_000_000_000), st.floats(5, 86_400 * 4), st.integers(5, 20))
def test_marks_of_the_clock_are_round_times_apart_and_none_is_left_out(begin: int, lasting: float, most: int) -> None:
    over = TimeRange(begin * 1_000_000, begin * 1_000_000 + int(lasting * 1e6), Zone())
    times = [one.time for one in time_marks(over, most).fine if ":" in one.told]
    apart = {later - one for one, later in pairwise(times)}
    assert len(apart) <= 1
    for step in apart:
        assert step / 1e6 in ROUND_S or step < 1_000_000
        assert times[0] % step == 0
        assert times[0] - step < over.begin
        assert times[-1] + step > over.end


@given(st.integers(1_500_000_000, 1_900_000_000), st.floats(0.1, 300), ZONES)
def test_a_mark_stands_where_the_wall_says_it(begin: int, days: float, zone: str | None) -> None:
    """Each label is what a clock of that zone shows at that instant."""
    over = TimeRange(begin * 1_000_000, begin * 1_000_000 + int(days * DAY), Zone(zone))
    place = ZoneInfo(zone or "UTC")
    for one in time_marks(over, 12).fine:
        wall = datetime.fromtimestamp(one.time / 1e6, place)
        if ":" in one.told:
            assert one.told == f"{wall:%H:%M}"
        elif one.told.isdigit():
            assert int(one.told) == wall.day
            assert (wall.hour, wall.minute) == (0, 0)
        else:
            assert one.told == f"{wall:%b}"
            assert wall.day == 1


@pytest.mark.parametrize(
    ("lasting", "fine", "coarse"),
    [
        (30_000, "00.005 00.01 00.015 00.02 00.025 00.03", "20 Jan 2008"),
        (20 * 1_000_000, "00:00:00 00:00:05 00:00:10 00:00:15 00:00:20", "20 Jan 2008"),
        (DAY, "00:00 03:00 06:00 09:00 12:00 15:00 18:00 21:00 00:00", "20 Jan 2008, 21 Jan 2008"),
        (35 * DAY, "21 26 1 6 11 16 21", "Jan 2008, Feb 2008"),
        (800 * DAY, "Apr Jul Oct Jan Apr Jul Oct Jan", "2008, 2009, 2010"),
        (1600 * DAY, "Jul Jan Jul Jan Jul Jan Jul Jan", "2008, 2009, 2010, 2011, 2012"),
        (8000 * DAY, "2010 2015 2020 2025", ""),
    ],
)
def test_marks_of_a_part_of_a_second_to_many_years(lasting: int, fine: str, coarse: str) -> None:
    marks = time_marks(TimeRange(SUNDAY, SUNDAY + lasting, Zone()), 9)
    assert [one.told for one in marks.fine if one.told != "00."] == fine.split()
    assert ", ".join(one.told for one in marks.coarse) == coarse


def test_a_clock_that_is_put_on_skips_no_mark_and_tells_none_twice() -> None:
    begin = int((datetime(2024, 3, 30, 23) - EPOCH) / timedelta(microseconds=1))
    marks = time_marks(TimeRange(begin, begin + 8 * HOUR, Zone("Europe/Madrid")), 12)
    assert [one.told for one in marks.fine][:4] == ["00:00", "01:00", "03:00", "04:00"]


# --- at which volts, at which hour ---


def rows_of(lasting: dict[int, tuple[int, int]]) -> list[VoltsTime]:
    return [
        VoltsTime(from_v=float(v), to_v=v + 1.0, line_s=Fraction(line), output_s=Fraction(out))
        for v, (line, out) in sorted(lasting.items())
    ]


def bars_of(root: ElementTree.Element) -> list[list[list[float]]]:
    """Of line and output: each bar's left, right, foot and top."""
    found = []
    for path in paths(root, "share"):
        bars = re.findall(r"M([\d.]+) ([\d.]+)V([\d.]+)H([\d.]+)V", path)
        found.append([[float(x), float(right), float(base), float(top)] for x, base, top, right in bars])
    return found


def test_bars_are_as_high_as_the_time_at_their_volts() -> None:
    rows = rows_of({200: (10, 0), 229: (600, 500), 230: (380, 480), 262: (1, 11)})
    line, output = bars_of(parsed(standing_picture(rows, stage("ridge-dispensary").design)))
    assert [len(line), len(output)] == [4, 3]
    heights = [base - top for _, _, base, top in line]
    assert heights[1] == pytest.approx(standing.HIGH, abs=0.1)
    assert heights[2] / heights[1] == pytest.approx(380 / 600, abs=0.01)
    assert heights[3] == pytest.approx(standing.LEAST_BAR, abs=0.05)
    assert output[0][2] - output[0][3] == pytest.approx(standing.HIGH * 500 / 600, abs=0.1)
    wide = line[1][1] - line[1][0]
    assert line[2][0] - line[0][0] == pytest.approx(30 * wide, abs=0.2 + wide / 5)


def label_x(root: ElementTree.Element, told: str) -> float:
    return next(float(one.get("x", 0)) for one in root.iter(f"{SVG}text") if one.text == told)


def test_bars_stand_at_their_volts_and_are_as_high_as_the_axis_says() -> None:
    rows = rows_of({180: (100, 0), 200: (200, 500), 240: (700, 500)})
    drawing = standing_picture(rows, stage("ridge-dispensary").design)
    root = parsed(drawing)
    line, output = bars_of(root)
    for volts, bar in zip((180, 200, 240), line, strict=True):
        assert bar[0] == pytest.approx(label_x(root, str(volts)), abs=0.06)
    percents = [one for one in root.iter(f"{SVG}text") if (one.text or "").endswith(" %")]
    for one in percents:
        share, y = float((one.text or "").removesuffix(" %")) / 100, float(one.get("y", 0)) - 4
        base, top = min((bar for bar in (line[2], output[1]) if bar[2] > y), key=lambda bar: bar[2])[2:]
        most = 0.7 if base == line[2][2] else 0.5
        assert (base - y) / (base - top) == pytest.approx(share / most, abs=0.01)
    assert len(percents) >= 4
    assert drawing.height > max(float(one.get("y", 0)) for one in root.iter(f"{SVG}text")) + 3
    assert "V, a bar each 1 V" in texts(root)
    assert (
        standing.LEFT <= min(bar[0] for bar in line) < max(bar[1] for bar in line) <= drawing.width - standing.RIGHT
    )


def test_bars_of_small_volts_keep_their_places() -> None:
    rows = [
        VoltsTime(from_v=at / 10, to_v=(at + 1) / 10, line_s=Fraction(1), output_s=Fraction(1))
        for at in range(2000, 2150)
    ]
    root = parsed(standing_picture(rows, stage("ridge-dispensary").design))
    line, _ = bars_of(root)
    assert len(line) == 75
    assert "V, a bar each 0.2 V" in texts(root)
    assert line[0][0] == pytest.approx(label_x(root, "200"), abs=0.06)


def test_all_that_stood_is_on_the_picture() -> None:
    line, _ = bars_of(parsed(standing_picture(rows_of({0: (9, 9), 400: (9, 9)}), stage("ridge-dispensary").design)))
    assert standing.LEFT < line[0][0] < line[1][1] < standing.WIDTH - standing.RIGHT


def test_many_volts_share_bars_and_no_time_is_lost() -> None:
    rows = rows_of(dict.fromkeys(range(700), (5, 3)))
    line, output = bars_of(parsed(standing_picture(rows, stage("ridge-dispensary").design)))
    assert len(line) == len(output) == 70
    assert len({round(base - top, 1) for _, _, base, top in line}) == 1


def test_the_window_and_the_mains_range_are_marked_at_their_volts() -> None:
    design = stage("ridge-dispensary").design
    rows = rows_of({207: (10, 10), 252: (10, 10)})
    root = parsed(standing_picture(rows, design))
    line = bars_of(root)[0]
    shades = [one for one in root.iter(f"{SVG}rect") if one.get("class") == "window"]
    assert len(shades) == 2
    assert float(shades[0].get("x", 0)) == pytest.approx(line[0][0], abs=0.1)
    assert float(shades[0].get("x", 0)) + float(shades[0].get("width", 0)) == pytest.approx(line[1][1], abs=0.1)
    assert len(paths(root, "limit")) == 2
    assert {"dashed: mains range 168 to 274 V", "shaded: window 207 to 253 V"} <= set(texts(root))


def test_where_no_band_was_ever_in_force_there_is_no_output() -> None:
    line, *output = bars_of(parsed(standing_picture(rows_of({100: (60, 0)}), stage("ridge-dispensary").design)))
    assert len(line) == 1
    assert output in ([], [[]])


def test_each_hour_has_a_bar_and_its_count() -> None:
    hours = [0] * 24
    hours[7], hours[19], hours[3] = 500, 1000, 1
    root = parsed(hours_picture(hours))
    wide = [float(one.get("width", 0)) for one in root.iter(f"{SVG}rect") if one.get("class") == "share"]
    assert len(wide) == 24
    assert wide[7] / wide[19] == pytest.approx(0.5, abs=0.01)
    assert wide[3] > 1
    assert wide[0] == 0
    assert {f"{hour:02d}:00" for hour in range(24)} <= set(texts(root))
    assert Counter(texts(root))["0"] == 21
    assert {"500", "1,000"} <= set(texts(root))


@pytest.mark.parametrize(
    ("count", "told"),
    [(0, "0"), (9999, "9,999"), (10_000, "10k"), (12_345, "12.3k"), (999_499, "999k"), (1_234_567, "1.23M")],
)
def test_a_count_is_told_in_five_letters(count: int, told: str) -> None:
    assert number_told(count) == told


@given(st.integers(0, 10**12))
def test_no_count_takes_more_room_or_is_off_by_more_than_it_tells(count: int) -> None:
    told = number_told(count)
    assert len(told) <= 5
    sizes = {"k": 10**3, "M": 10**6, "G": 10**9}
    value = float(told.rstrip("kMG").replace(",", "")) * sizes.get(told[-1], 1)
    assert value == pytest.approx(count, rel=0.006)


# --- day by day ---


def day(date: str, outside: float = 0, gap: int = 0, changes: int = 0) -> DayRow:
    return DayRow(
        date=date,
        outside_s=Fraction(str(outside)),
        away_s=Fraction(0),
        gap_s=Fraction(gap),
        changes=changes,
        line_v=(220.0, 240.0),
        means=144,
        means_kept=144,
        means_kept_output=144,
    )


@pytest.mark.parametrize(
    ("outside", "bad"),
    [
        (0, Badness.NONE),
        (0.000001, Badness.MINUTE),
        (59.9, Badness.MINUTE),
        (60, Badness.HOUR),
        (3599, Badness.HOUR),
        (3600, Badness.MORE),
    ],
)
def test_how_bad_a_day_was(outside: float, bad: Badness) -> None:
    assert badness(day("2024-01-01", outside)) is bad


def test_the_marks_of_bad_days_differ_in_size() -> None:
    sizes = [bad.size for bad in Badness]
    assert sizes == sorted(set(sizes))
    assert len({bad.told for bad in Badness}) == 4


def squares(root: ElementTree.Element) -> int:
    """Marks beside those of the key."""
    return sum(one.count("M") for kind in ("clear", "short", "long") for one in paths(root, kind)) - len(Badness)


def dates_from(begin: str, count: int) -> list[str]:
    first = datetime.fromisoformat(begin).date()
    return [(first + timedelta(days=at)).isoformat() for at in range(count)]


def test_weeks_are_a_leaf_with_the_time_written_in_it() -> None:
    known = [day(date, 600 * at, gap=300 * (at == 4)) for at, date in enumerate(dates_from("2008-01-20", 36))]
    (drawing,) = calendars([one for at, one in enumerate(known) if at != 9])
    root = parsed(drawing)
    assert squares(root) == 35
    assert len(list(root.iter(f"{SVG}title"))) == 35 + 1
    assert {"Mon", "Sun", "Jan 2008", "Feb 2008", "10 min", "3.3 h"} <= set(texts(root))
    hatch = [one for one in root.iter(f"{SVG}path") if (one.get("fill") or "").startswith("url(#no-sample-")]
    assert sum(one.get("d", "").count("M") for one in hatch) == 1 + 1
    assert sum(one.count("M") for one in paths(root, "missing")) == 1 + 1


def places_of(root: ElementTree.Element, kind: str) -> list[tuple[float, float, float, float]]:
    """Left, top, width and height of the frames or marks of a calendar."""
    if kind == "day":
        found = [one.get("d", "") for one in root.find(f".//{SVG}g[@class='day']") or ()]
    else:
        found = ["M" + one for path in paths(root, kind) for one in path.split("M")[1:]]
    corners = [re.findall(r"[MhHvV ]([-\d.]+)", path)[:4] for path in found]
    return [(float(x), float(y), float(wide), float(high)) for x, y, wide, high in corners]


@pytest.mark.parametrize("count", [36, 150], ids=["a leaf", "lines"])
def test_a_mark_lies_in_its_cell(count: int) -> None:
    known = [day(date, 4000) for date in dates_from("2008-01-20", count)]
    root = parsed(calendars(known)[0])
    cells, marks = places_of(root, "day"), places_of(root, "long")[-count:]
    assert len(cells) == len(marks) == count
    for cell, mark in zip(cells, marks, strict=True):
        assert cell[0] <= mark[0]
        assert mark[0] + mark[2] <= cell[0] + cell[2] + 0.1
        assert cell[1] <= mark[1]
        assert mark[1] + mark[3] <= cell[1] + cell[3] + 0.1
        if count > 100:
            assert mark[0] + mark[2] / 2 == pytest.approx(cell[0] + cell[2] / 2, abs=0.11)
            assert mark[1] + mark[3] / 2 == pytest.approx(cell[1] + cell[3] / 2, abs=0.11)


def test_a_leaf_has_a_column_a_day_of_the_week_and_a_line_a_week() -> None:
    known = [day(date) for date in dates_from("2008-01-20", 36)]  # from a Sunday
    cells = places_of(parsed(calendars(known)[0]), "day")
    columns = sorted({x for x, *_ in cells})
    assert len(columns) == 7
    assert cells[0][0] == columns[-1]
    for one, later in zip(cells, cells[7:], strict=False):
        assert later[:2] == (one[0], one[1] + calendar.WEEK)
    assert cells[1][1] == cells[0][1] + calendar.WEEK


def test_years_have_a_line_a_month() -> None:
    known = [day(date, 30 * (at % 3)) for at, date in enumerate(dates_from("2006-12-16", 1442))]
    (drawing,) = calendars(known)
    root = parsed(drawing)
    assert squares(root) == 1442
    assert drawing.height < 800
    assert {"2006 Dec", "2007 Jan", "Feb", "2010 Jan", "1", "30"} <= set(texts(root))
    titles = [one.text or "" for one in root.iter(f"{SVG}title")]
    assert titles[:2] == ["it", "16 Dec 2006: outside 0 s, 0 changes"] or titles[0].startswith("16 Dec 2006")


def test_days_stand_under_their_number_in_the_line_of_their_month() -> None:
    known = [day("2007-03-01"), day("2007-03-31"), day("2007-05-31"), day("2007-08-01")]
    (drawing,) = calendars(known)
    root = parsed(drawing)
    cells = [one.get("d", "") for one in root.find(f".//{SVG}g[@class='day']") or ()]
    places = [tuple(map(float, re.findall(r"[\d.]+", cell)[:2])) for cell in cells]
    assert places[0][1] == places[1][1]
    assert places[1][0] == places[2][0]
    assert places[2][1] - places[0][1] == 2 * calendar.MONTH
    assert places[3] == (places[0][0], places[0][1] + 5 * calendar.MONTH)


def test_many_months_without_a_sample_are_one_line() -> None:
    (drawing,) = calendars([day("1999-03-01"), day("2020-10-18")])
    root = parsed(drawing)
    assert drawing.height < 150
    assert "no sample for 258 months" in texts(root)


def test_many_years_go_on_in_another_picture() -> None:
    known = [day(date) for date in dates_from("2000-01-01", 4000)]
    drawn = calendars(known)
    assert [squares(parsed(one)) for one in drawn] == [1339, 1338, 1323]
    hatches = [re.findall(r'id="(no-sample-\d+)"', svg(one, "it")) for one in drawn]
    assert len({one for each in hatches for one in each}) == 3


def test_one_day_is_a_leaf_too() -> None:
    (drawing,) = calendars([day("2024-02-29", 4000, changes=12)])
    root = parsed(drawing)
    assert squares(root) == 1
    assert {"29", "1.1 h", "Feb 2024"} <= set(texts(root))


def test_a_day_is_told_in_words() -> None:
    told = day_told(replace(day("2024-02-29", 4000, gap=90, changes=1200), away_s=Fraction(30)))
    assert told == "29 Feb 2024: outside 66.7 minutes, away 30 s, a gap of 90 s, 1,200 changes"


# --- how they look ---


def test_the_rules_of_logs_have_colours_by_name_and_say_nothing_twice() -> None:
    text = rules(page=True, text=LOG_RULES)
    assert "@" not in text
    assert set(re.findall(r"var\(--(\w+)\)", text)) <= set(INKS)
    names = re.findall(r"^\.([\w-]+) \{", LOG_RULES, re.MULTILINE)
    assert not set(names) & set(re.findall(r"^\.([\w-]+) \{", rules(page=False), re.MULTILINE))


def test_what_is_made_up_says_so_in_the_picture() -> None:
    assert "made up, not measured" in texts(parsed(mark_made(hours_picture([1] * 24))))
    assert "made up, not measured" not in texts(parsed(hours_picture([1] * 24)))


def test_a_picture_in_a_page_is_described() -> None:
    text = inside(hours_picture([1] * 24), "Hours", "hours", f"what {EVIL}")
    assert 'aria-label="Hours" id="hours" aria-describedby="hours-shows"' in text
    assert '<desc id="hours-shows">what &lt;script&gt;' in text
    assert "desc" not in inside(hours_picture([1] * 24), "Hours", "hours")
