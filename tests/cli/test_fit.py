"""The verb `fit`: its keys, a plan written and checked, weights, time limits, and what it refuses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.examples import ROOT

NIGHT = ((146, 0.1), (150, 0.9))
RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
COAST = ROOT / "designs" / "requests" / "coast-road.toml"
QUICK = (
    COAST.read_text(encoding="utf-8")
    .replace("relays_max = 3", "relays_max = 2")
    .replace("[200, 500]", "[100, 160]")
    .replace("hysteresis_v = 3", "hysteresis_v = 2")
)


@pytest.fixture
def request_file(tmp_path: Path) -> Path:
    file = tmp_path / "asked.toml"
    file.write_text(QUICK, encoding="utf-8")
    return file


def test_keys_of_the_answer(call: Any, request_file: Path) -> None:
    reply = call("fit", request_file, "--json")
    assert reply.code == 0
    answer = reply.json
    assert answer["bound"] == {"ratios": 4, "relays": 2}
    plan = answer["plans"][0]
    assert plan["arrangement"] == "both-sides"
    assert (plan["relays"], plan["taps"], len(plan["tap_turns"])) == (2, len(plan["tap_turns"]), plan["taps"])
    assert plan["proven"] is True
    assert len(plan["ratios"]) == 4
    assert plan["room_v"] >= 3
    assert answer["finished"] is True


def test_a_plan_written_is_a_design_without_faults_and_keeps_comments(
    call: Any, request_file: Path, tmp_path: Path
) -> None:
    target = tmp_path / "made.toml"
    assert call("fit", request_file, "--pick", "1", "-o", target).code == 0
    text = target.read_text(encoding="utf-8")
    assert text.startswith(f"# Made by `tapplan fit` from {request_file}")
    assert "# A request: a feeder that sags in the evening" in text
    assert "[fit]" not in text
    reply = call("check", target, "--json")
    assert reply.code == 0
    answer = reply.json
    assert [one for one in answer["findings"] if one["severity"] == "fault"] == []
    assert call("fit", request_file, "--pick", "1", "-o", target).code == 2  # kept unless --force


def test_a_plan_without_a_file_is_shown(call: Any, request_file: Path) -> None:
    assert "[[winding]]" in call("fit", request_file, "--pick", "1").out


def test_an_impossible_request_exits_with_1_and_says_what_would_do(call: Any, request_file: Path) -> None:
    request_file.write_text(QUICK.replace("hysteresis_v = 2", "hysteresis_v = 5"), encoding="utf-8")
    reply = call("fit", request_file)
    assert reply.code == 1
    assert "No plan meets the request." in reply.out
    assert "It would do to change sensing.hysteresis_v from 5 to" in reply.out


def test_weights_shift_the_deviation(call: Any, request_file: Path, tmp_path: Path) -> None:
    weights = tmp_path / "night.csv"
    weights.write_text("volts; weight\n146; 1\n150; 9  # evenings\n400; 50\n", encoding="utf-8")
    plain = call("fit", request_file, "--json", "--objective", "deviation").json["plans"][0]
    night = call("fit", request_file, "--json", "--objective", "deviation", "--weights", weights).json["plans"][0]
    assert night["deviation"] == pytest.approx(off_at_night(night["ratios"]))
    assert night["deviation"] < off_at_night(plain["ratios"])


def off_at_night(ratios: list[str]) -> float:
    """By hand: a tenth of the time 146 V, the rest 150 V, each at the ratio that comes nearest 220 V."""
    return sum(share * min(abs(volts * eval_ratio(one) - 220) for one in ratios) for volts, share in NIGHT) / 220


def eval_ratio(text: str) -> float:
    over, _, under = text.partition("/")
    return int(over) / int(under or 1)


def test_little_time_gives_the_best_so_far(call: Any, request_file: Path) -> None:
    wide = QUICK.replace("[100, 160]", "[2, 5000]").replace("relays_max = 2", "relays_max = 6")
    request_file.write_text(wide, encoding="utf-8")
    answer = call("fit", request_file, "--json", "--seconds", "1", "--to-the-end").json
    assert answer["finished"] is False
    assert "Stopped before the search was over" in call("fit", request_file, "--seconds", "1", "--to-the-end").out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("total_turns = [100, 160]", "", "neither total_turns nor taps"),
        ("total_turns = [100, 160]", "total_turns = [160, 100]", "[160, 100]"),
        ("total_turns = [100, 160]", "taps = [100]", "two or more different whole numbers"),
        ("total_turns = [100, 160]", "taps = [100, 120]\ntotal_turns = 130", "taps beside total_turns"),
        ("relays_max = 2", "relays_max = 2\nrelays = 3", "at most relays_max, 2"),
        ("relays_max = 2", "preferred_v = [190, 230]", "a window inside output.window_v"),
        ('"line-chain"', '"line-chains"', "line-chain"),
        ("relays_max = 2", 'objective = "beauty"', "objective"),
        ("relays_max = 2", "relay_max = 2", "relays_max"),
    ],
)
def test_bad_requests_name_line_and_key(call: Any, request_file: Path, old: str, new: str, said: str) -> None:
    assert old in QUICK
    request_file.write_text(QUICK.replace(old, new), encoding="utf-8")
    reply = call("fit", request_file)
    assert reply.code == 2
    assert said in reply.err
    assert f"{request_file}:" in reply.err


def test_a_design_is_no_request_and_a_request_no_design(call: Any, request_file: Path) -> None:
    reply = call("fit", ROOT / "designs" / "ridge-dispensary.toml")
    assert reply.code == 2
    assert "no [fit]" in reply.err
    reply = call("table", request_file)
    assert reply.code == 2
    assert "`tapplan fit` answers a request" in reply.err
    request_file.write_text(
        QUICK + '\n[[winding]]\nname = "a"\nends = ["NEUTRAL", "OUT"]\nturns = 5\n', encoding="utf-8"
    )
    reply = call("fit", request_file)
    assert reply.code == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("volts, weight\n150, x\n", "x"),
        ("150\n", "150"),
        ("150, -1\n", "-1"),
        ("500, 3\n", "no weight inside the mains range"),
    ],
)
def test_bad_weights_name_the_line(call: Any, request_file: Path, tmp_path: Path, text: str, said: str) -> None:
    weights = tmp_path / "w.csv"
    weights.write_text(text, encoding="utf-8")
    reply = call("fit", request_file, "--weights", weights)
    assert reply.code == 2
    assert said in reply.err


@pytest.mark.parametrize(
    "arguments", [("--pick", "0"), ("--pick", "99"), ("--seconds", "-1"), ("--weights", "none.csv")]
)
def test_wrong_options(call: Any, request_file: Path, arguments: tuple[str, ...]) -> None:
    assert call("fit", request_file, *arguments).code == 2


def test_a_narrow_screen_breaks_no_number(call: Any, monkeypatch: Any) -> None:
    """At 60 columns plans are listed, at 80 they stand in a table; either way every ratio is whole."""
    for columns in ("60", "80"):
        monkeypatch.setenv("COLUMNS", columns)
        shown = call("fit", ROOT / "designs" / "requests" / "plain-workshop.toml").out
        assert "1.3200" in shown
        assert "0.8721" in shown
        assert "24.2%" in shown
        assert max(map(len, shown.splitlines())) <= int(columns)


def test_a_search_is_kept_and_gone_on_with(call: Any, request_file: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    first = call("fit", request_file, "--json", "--keep", kept)
    lines = kept.read_text(encoding="utf-8")
    again = call("fit", request_file, "--json", "--keep", kept)
    assert (first.code, again.code) == (0, 0)
    assert again.json["plans"] == first.json["plans"]
    assert kept.read_text(encoding="utf-8") == lines
    assert again.json["boxes"] == 0
    refused = call("fit", request_file, "--keep", kept, "--objective", "deviation")
    assert refused.code == 2
    assert "the search of another request" in refused.err


def test_a_request_with_a_core_is_wound(call: Any, tmp_path: Path) -> None:
    grid = ROOT / "designs" / "requests" / "island-grid.toml"
    answer = call("fit", grid, "--json").json
    assert len(answer["built"]) == len(answer["plans"]) > 0
    assert {"iron_kg", "copper_kg", "fill", "loss_w", "efficiency"} <= answer["built"][0].keys()
    target = tmp_path / "made.toml"
    assert call("fit", grid, "--pick", "1", "-o", target).code == 0
    assert "wire_mm" in target.read_text(encoding="utf-8")
    assert call("check", target).code == 0
    assert call("rate", target).code == 0
    assert call("fit", grid, "--keep", tmp_path / "kept").code == 2


def test_a_starting_request_is_answered(call: Any, tmp_path: Path) -> None:
    target = tmp_path / "asked.toml"
    assert call("new", "--request", target).code == 0
    assert "Wound for 400 VA on EI 120 stacked 40 mm" in call("fit", target).out


@pytest.mark.parametrize("name", ["island-grid", "joinery"])
def test_from_a_request_to_the_winder_in_three_commands(call: Any, tmp_path: Path, name: str) -> None:
    """The third shipped job, which takes a while, goes the same way in tests/study/test_loaded.py."""
    design, sheet = tmp_path / "design.toml", tmp_path / "sheet.html"
    assert call("fit", ROOT / "designs" / "requests" / f"{name}.toml", "--pick", "1", "-o", design).code == 0
    assert call("check", design).code == 0
    assert call("export", design, "--to", "winding", "-o", sheet).code == 0
    assert call("rate", design).code == 0
    assert sheet.read_text(encoding="utf-8").count("<table>") == 5


def test_sensitivity_is_asked_for(call: Any, request_file: Path) -> None:
    plain, swayed = (
        call("fit", request_file, "--json").json,
        call("fit", request_file, "--sensitivity", "--json").json,
    )
    assert plain["wishes"] == []
    assert [one["key"] for one in swayed["wishes"]] == [
        "sensing.hysteresis_v", "sensing.noise_v", "sensing.error_pct", "output.window_v", "mains.range_v",
    ]  # fmt: skip
    assert {key: swayed["wishes"][0][key] for key in ("now", "saving")} == {"now": "2", "saving": None}
    screen = call("fit", request_file, "--sensitivity").out
    assert "How far each wish may go alone, about plans of 2 relays:" in screen
    assert "none found" in screen
    assert "How far" not in call("fit", request_file).out


def test_mains_that_were_made_up_are_told_of_with_the_plans_they_weigh(
    call: Any, request_file: Path, tmp_path: Path
) -> None:
    trace, spread = tmp_path / "made.csv", tmp_path / "spread.csv"
    assert call("trace", "quiet", "--days", "0.01", "--step", "1", "--nominal", "150", "-o", trace).code == 0
    assert call("replay", RIDGE, trace, "--spread", spread).code in (0, 1)
    told = call("fit", request_file, "--weights", spread)
    assert "The log is made up (quiet" in told.out
    assert "nothing here was measured" in told.out
    assert call("fit", request_file, "--weights", spread, "--json").json["weights_made"].startswith("quiet")
    assert "# The log is made up" in call("fit", request_file, "--weights", spread, "--pick", "1").out
    measured = tmp_path / "measured.csv"
    measured.write_text("# volts, seconds\n150, 9\n", encoding="utf-8")
    assert "made up" not in call("fit", request_file, "--weights", measured).out
