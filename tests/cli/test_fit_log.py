"""`fit --log`: a request weighed by and tried on a log, thresholds refined and written, and what is refused."""

from __future__ import annotations

import itertools
import os
import signal
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import cos, pi
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tapplan.control.table import control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import load
from tapplan.study import recording
from tapplan.study.descent import Descent
from tapplan.study.scoring import TraceScore
from tests.cli.test_fit import QUICK
from tests.examples import ROOT

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
DERIVED = ROOT / "designs" / "harbour-crane.toml"
PLACED = ROOT / "designs" / "spring-pump.toml"
BEGIN = datetime(2024, 3, 4, tzinfo=UTC)
Volts = Callable[[int], float]


def day_and_night(seed: int, middle: float, swing: float, noise: float) -> Volts:
    """Volts by the number of the sample, 144 of them a day."""
    chance = Random(seed)
    drawn = [chance.gauss(0, noise) for _ in range(3000)]
    return lambda number: middle + swing * cos(2 * pi * number / 144) + drawn[number]


def log(path: Path, days: float, volts: Volts) -> Path:
    """A file of ten-minute samples, in tenths of a volt."""
    rows = (
        f"{(BEGIN + timedelta(minutes=10 * number)).isoformat()},{volts(number):.1f}"
        for number in range(int(144 * days))
    )
    path.write_text("time,volts\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fewer thresholds are tried than a person would wait for."""
    monkeypatch.setattr("tapplan.study.descent.WORK", 10_000_000)


@pytest.fixture
def request_file(tmp_path: Path) -> Path:
    file = tmp_path / "asked.toml"
    file.write_text(QUICK, encoding="utf-8")
    return file


@pytest.fixture
def evenings(tmp_path: Path) -> Path:
    """Six days around 215.5 V, where boost and direct hand over in the design."""
    return log(tmp_path / "evenings.csv", 6, day_and_night(1, 215.5, 2, 2.5))


# --- a request ---


def test_a_request_is_weighed_by_the_log(call: Any, request_file: Path, tmp_path: Path) -> None:
    """A night of 146 V for a tenth of the time, 150 V else; half of all lies outside the range and counts nothing."""
    volts = (146, *(150,) * 9, *(400,) * 10)
    coast = log(tmp_path / "coast.csv", 5, lambda number: volts[number % 20])
    weights = tmp_path / "w.csv"
    weights.write_text("146, 1\n150, 9\n", encoding="utf-8")
    asked = ("fit", request_file, "--json", "--objective", "deviation")
    by_log, by_file = call(*asked, "--log", coast).json, call(*asked, "--weights", weights).json
    for one, other in zip(by_log["plans"], by_file["plans"], strict=True):
        assert one["deviation"] == pytest.approx(other["deviation"], rel=1e-12)
        assert one["ratios"] == other["ratios"]
    assert by_log["log"] == {
        "log": str(coast),
        "samples": 720,
        "cut": False,
        "observed_s": 720 * 600,
        "outside_range_s": 360 * 600,
    }
    told = " ".join(call("fit", request_file, "--log", coast).out.split())
    assert "720 samples, 5 days; 2.5 days of it outside the mains range, which counts for nothing." in told
    assert "log" not in by_file
    assert "log_changes" not in by_file["plans"][0]


def test_what_replay_spreads_weighs_as_the_log(call: Any, request_file: Path, tmp_path: Path) -> None:
    coast = log(tmp_path / "coast.csv", 4, day_and_night(3, 200, 60, 5))
    spread = tmp_path / "spread.csv"
    assert call("replay", RIDGE, coast, "--spread", spread).code == 0
    asked = ("fit", request_file, "--json", "--objective", "deviation")
    by_file, by_log = call(*asked, "--weights", spread).json, call(*asked, "--log", coast).json
    assert [one["arrangement"] for one in by_file["plans"]] == [one["arrangement"] for one in by_log["plans"]]
    for one, other in zip(by_file["plans"], by_log["plans"], strict=True):
        assert one["deviation"] == pytest.approx(other["deviation"], abs=0.5 / 220)  # a bin's middle, or its mean
    evenly = call(*asked).json["plans"][0]["deviation"]
    assert abs(by_file["plans"][0]["deviation"] - evenly) > 0.002


def test_each_plan_is_tried_as_its_design_is_replayed(call: Any, request_file: Path, tmp_path: Path) -> None:
    coast = log(tmp_path / "coast.csv", 2, day_and_night(3, 200, 60, 5))
    rows = call("fit", request_file, "--json", "--log", coast).json["plans"]
    for number, row in enumerate(rows, 1):
        made = tmp_path / f"{number}.toml"
        assert call("fit", request_file, "--pick", f"{number}", "-o", made).code == 0
        told = call("replay", made, coast, "--json").json
        assert row["log_changes"] == sum(one["count"] for one in told["changes"]) > 0
        assert row["log_moves"] == sum(told["moves"].values())
        assert row["log_outside_s"] == told["outside_s"]
        assert row["log_deviation_v"] == told["deviation_v"]
        assert "log_years" not in row  # a request states no endurance
    screen = call("fit", request_file, "--log", coast).out
    assert "On the log, with thresholds as they are placed" in screen
    assert f"1     {rows[0]['log_changes']}" in screen


def test_a_plan_picked_is_written_with_refined_thresholds(call: Any, request_file: Path, tmp_path: Path) -> None:
    placed, made = tmp_path / "placed.toml", tmp_path / "made.toml"
    call("fit", request_file, "--pick", "1", "-o", placed)
    handover = control_table(load(placed)).rows[1].input_hold.high
    coast = log(tmp_path / "coast.csv", 6, day_and_night(4, float(handover) - 1, 1, 1.5))
    before = control_table(load(placed))
    reply = call("fit", request_file, "--log", coast, "--pick", "1", "-o", made)
    assert reply.code == 0
    assert "Refined: on the part held out the band changes" in reply.out
    assert reply.out.endswith(f"wrote plan 1 into {made}\n")
    after = control_table(load(made))
    text = made.read_text(encoding="utf-8")
    assert f"# thresholds refined on {coast}" in text
    assert "# A request: a feeder that sags in the evening" in text
    answer = call("fit", request_file, "--log", coast, "--pick", "1", "--json").json
    assert answer["text"] == text
    assert [one["hold_v"] for one in answer["refined"]["bands"]] == [
        [pytest.approx(float(row.hold.low)), pytest.approx(float(row.hold.high))] for row in after.rows
    ]
    assert [row.hold for row in after.rows] != [row.hold for row in before.rows]
    assert [one["severity"] for one in call("check", made, "--json").json["findings"]].count("fault") == 0
    counts = [
        sum(one["count"] for one in call("replay", file, coast, "--json").json["changes"]) for file in (placed, made)
    ]
    assert counts[1] < counts[0]


def test_a_plan_whose_thresholds_stay_says_so(call: Any, request_file: Path, tmp_path: Path) -> None:
    steady = log(tmp_path / "steady.csv", 6, lambda number: 222 + number % 2 / 10)
    shown = call("fit", request_file, "--log", steady, "--pick", "1")
    assert f"# thresholds as placed, not refined on {steady}" in shown.out
    plain = call("fit", request_file, "--pick", "1").out
    assert [line for line in shown.out.splitlines() if "hold_v" in line] == [
        line for line in plain.splitlines() if "hold_v" in line
    ]


def test_a_log_goes_with_the_other_wishes(call: Any, request_file: Path, tmp_path: Path) -> None:
    coast, kept = log(tmp_path / "coast.csv", 2, day_and_night(3, 200, 60, 5)), tmp_path / "kept.jsonl"
    asked = ("fit", request_file, "--log", coast, "--to-the-end", "--keep", kept, "--sensitivity", "--json")
    first, again = call(*asked).json, call(*asked).json
    assert first["boxes"] > again["boxes"]
    assert first | {"boxes": 0} == again | {"boxes": 0}
    assert first["wishes"]
    other = call("fit", request_file, "--keep", kept)
    assert other.code == 2
    assert "the search of another request" in other.err


# --- a complete design ---


def test_a_design_is_answered_with_its_thresholds(call: Any, evenings: Path) -> None:
    reply = call("fit", RIDGE, "--log", evenings, "--json")
    assert reply.code == 0
    answer = reply.json
    assert answer["verb"] == "fit"
    assert (answer["kept"], answer["outcome"], answer["partial"], answer["proven"]) == (True, "kept", False, True)
    rows = {(one["part"], one["thresholds"]): one for one in answer["trials"]}
    assert list(rows) == list(itertools.product(("chosen on", "held out"), ("before", "found")))
    assert rows["held out", "found"]["changes"] < rows["held out", "before"]["changes"]
    assert rows["chosen on", "before"]["observed_s"] + rows["held out", "before"]["observed_s"] == 6 * 86400
    assert [(one["part"], one["first"], one["samples"]) for one in answer["spans"]] == [
        ("chosen on", "2024-03-04T00:00:00", 576),
        ("held out", "2024-03-08T00:00:00", 288),
    ]
    screen = call("fit", RIDGE, "--log", evenings)
    assert "Refined: on the part held out the band changes" in screen.out
    assert "upward above (V)" in screen.out


def test_the_design_written_keeps_all_but_the_holds(call: Any, evenings: Path, tmp_path: Path) -> None:
    target = tmp_path / "refined.toml"
    reply = call("fit", RIDGE, "--log", evenings, "-o", target)
    assert (reply.code, reply.out.splitlines()[-1]) == (0, f"wrote {target}")
    old, new = (path.read_text(encoding="utf-8").splitlines() for path in (RIDGE, target))
    assert len(old) == len(new)
    changed = [(one, other) for one, other in zip(old, new, strict=True) if one != other]
    assert changed
    assert all(one.startswith("hold_v") and other.startswith("hold_v") for one, other in changed)
    answer = call("fit", RIDGE, "--log", evenings, "--json").json
    table = control_table(load(target))
    assert [[float(row.hold.low), float(row.hold.high)] for row in table.rows] == [
        one["hold_v"] for one in answer["bands"]
    ]
    assert call("check", target).code == 0
    counts = {
        file: sum(one["count"] for one in call("replay", file, evenings, "--json").json["changes"])
        for file in (RIDGE, target)
    }
    assert counts[target] < counts[RIDGE]
    assert call("fit", RIDGE, "--log", evenings, "-o", target).code == 2  # kept unless --force
    assert call("fit", RIDGE, "--log", evenings, "-o", evenings, "--force").err.startswith("found -o")


@pytest.mark.parametrize(("file", "middle"), [(DERIVED, 224.0), (PLACED, 209.0)])
def test_bands_that_the_file_leaves_out_are_stated(call: Any, file: Path, middle: float, tmp_path: Path) -> None:
    target = tmp_path / "refined.toml"
    one = log(tmp_path / "x.csv", 6, day_and_night(1, middle, 1.5, 2.5))
    assert call("fit", file, "--log", one, "-o", target).code == 0
    design, table = load(target), control_table(load(file))
    assert [band.name for band in design.bands] == [row.name for row in table.rows]
    assert all(band.hold_v is not None for band in design.bands)
    assert target.read_text(encoding="utf-8").startswith(file.read_text(encoding="utf-8")[:200])
    assert call("check", target).code == call("check", file).code == 0


def test_bands_in_another_order_stay_in_it(call: Any, evenings: Path, tmp_path: Path) -> None:
    head, *bands = RIDGE.read_text(encoding="utf-8").split("[[band]]")
    last, _, rest = bands[-1].partition("\n\n")
    assert rest.strip() == ""
    file, target = tmp_path / "turned.toml", tmp_path / "refined.toml"
    turned = (one.rstrip() + "\n\n" for one in (last, *bands[:-1]))
    file.write_text("[[band]]".join([head, *turned]), encoding="utf-8")
    assert call("fit", file, "--log", evenings, "-o", target).code == 0
    assert [band.name for band in load(target).bands] == [band.name for band in load(file).bands]
    plain = call("fit", RIDGE, "--log", evenings, "--json").json["bands"]
    assert {one["name"]: one["hold_v"] for one in plain} == {
        band.name: [float(end) for end in band.hold_v] for band in load(target).bands
    }


def test_too_short_a_log_is_told_and_changes_nothing(call: Any, tmp_path: Path) -> None:
    one, target = log(tmp_path / "short.csv", 2.5, day_and_night(1, 215.5, 2, 2.5)), tmp_path / "same.toml"
    reply = call("fit", RIDGE, "--log", one, "--json")
    assert (reply.code, reply.json["outcome"], reply.json["kept"]) == (0, "too short to hold out", False)
    assert call("fit", RIDGE, "--log", one, "-o", target).code == 0
    assert load(target) == load(RIDGE)


def test_the_parts_of_one_log_are_joined(call: Any, evenings: Path, tmp_path: Path) -> None:
    head, *rows = evenings.read_text(encoding="utf-8").splitlines()
    for name, part in (("a.csv", rows[:300]), ("b.csv", rows[300:])):
        (tmp_path / name).write_text("\n".join([head, *part]) + "\n", encoding="utf-8")
    parts = (tmp_path / "a.csv", tmp_path / "b.csv")
    joined = call("fit", RIDGE, "--log", *parts, "--joined", "--json").json
    whole = call("fit", RIDGE, "--log", evenings, "--json").json
    for key in ("trials", "thresholds", "bands", "outcome"):
        assert joined[key] == whole[key]
    apart = call("fit", RIDGE, "--log", *parts, "--json").json
    assert (apart["log"], apart["outcome"]) == ("2 logs", "kept")
    assert [one["log"] for one in apart["spans"]] == [str(part) for part in (*parts, parts[1])]  # two days are whole


def test_more_than_memory_holds_is_cut_and_told(call: Any, evenings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tapplan.cli.refining.MOST_SAMPLES", 600)
    answer = call("fit", RIDGE, "--log", evenings, "--json").json
    assert answer["cut"] is True
    assert sum(one["samples"] for one in answer["spans"]) == 600
    assert "Only the first 600 samples were used" in call("fit", RIDGE, "--log", evenings).out
    assert recording.MOST_SAMPLES == 20_000_000


def test_little_time_keeps_the_best_so_far(call: Any, evenings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tapplan.study.descent.WORK", 10**12)
    monkeypatch.setattr("tapplan.study.descent.NEAR", 40)
    answer = call("fit", RIDGE, "--log", evenings, "--seconds", "1", "--json").json
    assert (answer["partial"], answer["proven"]) == (True, False)
    assert "Stopped before the search was over" in call("fit", RIDGE, "--log", evenings, "--seconds", "1").out


def test_an_interrupt_keeps_the_best_so_far(call: Any, evenings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scored, sent = Descent._score, []

    def interrupted(self: Descent, ends: tuple[Handover, ...]) -> TraceScore | None:
        if self.followed == 60 and not sent:
            sent.append(os.kill(os.getpid(), signal.SIGINT))
        return scored(self, ends)

    monkeypatch.setattr(Descent, "_score", interrupted)
    reply = call("fit", RIDGE, "--log", evenings, "--json")
    assert (reply.code, reply.json["partial"], reply.json["proven"]) == (0, True, False)


# --- what is refused ---


@pytest.mark.parametrize(
    "option",
    [
        ("--pick", "1"),
        ("--objective", "room"),
        ("--keep", "k.jsonl"),
        ("--sensitivity",),
        ("--to-the-end",),
    ],
)
def test_what_only_a_request_has_is_refused_with_a_design(call: Any, evenings: Path, option: tuple[str, ...]) -> None:
    reply = call("fit", RIDGE, "--log", evenings, *option)
    assert (reply.code, reply.out) == (2, "")
    assert f"{RIDGE}: found {option[0]} with a complete design; accepted: {option[0]} with a request" in reply.err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--weights", "w.csv", "--log", "x.csv"), "found --weights with --log; accepted: one of them"),
        (("--max-gap", "60"), "found --max-gap alone; accepted: together with --log"),
        (("--joined",), "found --joined alone; accepted: together with --log"),
        (("--column", "v"), "found --column alone; accepted: together with --log"),
        (("--zone", "UTC"), "found --zone alone; accepted: together with --log"),
    ],
)
def test_options_that_go_with_a_log(call: Any, request_file: Path, options: tuple[str, ...], said: str) -> None:
    reply = call("fit", request_file, *options)
    assert reply.code == 2
    assert said in reply.err


@pytest.mark.parametrize("file", [RIDGE, None])
def test_bad_logs_are_told(call: Any, request_file: Path, tmp_path: Path, file: Path | None) -> None:
    asked = ("fit", file or request_file, "--log")
    empty = tmp_path / "empty.csv"
    empty.write_text("time,volts\n", encoding="utf-8")
    assert call(*asked, empty).code == 2
    assert "empty.csv: found only a heading" in call(*asked, empty).err
    other = call(*asked, log(tmp_path / "other.csv", 4, lambda _: 24.0))
    assert other.code == 2
    assert "other.csv: found no reading in the mains range" in other.err
    missing = call(*asked, tmp_path / "none.csv")
    assert (missing.code, "none.csv" in missing.err) == (2, True)


def test_a_request_that_is_none_is_told_as_before(call: Any, evenings: Path, tmp_path: Path) -> None:
    both = tmp_path / "both.toml"
    both.write_text(RIDGE.read_text(encoding="utf-8") + "\n[fit]\ntotal_turns = [100, 200]\n", encoding="utf-8")
    reply = call("fit", both, "--log", evenings)
    assert reply.code == 2
    assert "[[winding]] beside [fit]" in reply.err
