"""The command as people and scripts use it: exit codes, JSON keys, files written whole or not at all."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.words import CAUTION, CAUTION_LINE
from tapplan.cli.arguments import parser
from tapplan.cli.verbs import VERBS
from tapplan.design.starter import STARTER
from tests.examples import ROOT, SHIPPED

EXAMPLE = str(ROOT / "designs" / "ridge-dispensary.toml")
FAULTY = str(ROOT / "designs" / "hostel-review.toml")


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
@pytest.mark.parametrize(
    "verb",
    [
        *("states", "bands", "table", "check", "at", "faults", "rate", "margins", "steps", "moves", "compare"),
        *("bench", "isolate", "report"),
    ],
)
def test_every_verb_answers_on_every_shipped_design(call: Any, file: Path, verb: str) -> None:
    extra = {"at": ["200"], "compare": [file]}.get(verb, [])
    answer = call(verb, file, *extra, "--json")
    assert answer.err == ""
    assert {"verb", "design", "version"} <= answer.json.keys()
    assert answer.json["verb"] == verb
    screen = call(verb, file, *extra)
    assert screen.code == answer.code
    assert screen.out
    assert screen.err == ""
    assert "\x1b" not in screen.out
    faulty = file.stem == "hostel-review" and verb in ("table", "check", "margins", "report")
    assert answer.code == int(faulty)


def test_states_rows_have_the_keys_scripts_rely_on(call: Any) -> None:
    rows = call("states", EXAMPLE, "--json").json["states"]
    assert [row["energised"] for row in rows] == [[], ["KO"], ["KL"], ["KL", "KO"]]
    assert rows[1] == {
        "energised": ["KO"],
        "kind": "direct",
        "ratio": "1",
        "ratio_float": 1.0,
        "turns_out": 599,
        "turns_in": 599,
        "line_tap": "R",
        "output_tap": "R",
        "path": ["LINE", "KL.nc", "R", "KO.no", "OUT"],
    }


def test_a_state_without_ratio_has_nulls(call: Any, tmp_path: Path) -> None:
    text = STARTER.replace('nc   = "C"\nno   = "A"', 'no   = "A"').split("[[band]]")[0]
    file = tmp_path / "d.toml"
    file.write_text(text)
    row = call("states", file, "--json").json["states"][0]
    assert row["kind"] == "floating"
    assert [row[key] for key in ("ratio", "ratio_float", "path", "line_tap", "output_tap")] == [None] * 5


def test_grouped_states_say_what_makes_no_difference(call: Any) -> None:
    rows = call("states", ROOT / "designs" / "orchard-cold-room.toml", "--grouped", "--json").json["states"]
    assert [(row["energised"], row["any"], row["count"]) for row in rows] == [
        ([], ["R2", "R3"], 4),
        (["R1"], ["R3"], 2),
        (["R1", "R2"], [], 1),
        (["R1", "R2", "R3"], [], 1),
    ]


def test_symbolic_ratios_are_in_winding_names(call: Any) -> None:
    rows = call("states", EXAMPLE, "--symbolic", "--json").json["states"]
    assert rows[0]["symbolic"] == "(main + rise 1)/(main + rise 1 + rise 2)"
    assert "(main + rise 1)/(main + rise 1 + rise 2)" in call("states", EXAMPLE, "--symbolic").out


def test_table_keys_and_gaps(call: Any) -> None:
    answer = call("table", FAULTY, "--json")
    assert answer.code == 1
    first, second, _ = answer.json["bands"]
    assert (first["enter_rising_v"], first["leave_rising_v"]) == (None, 228)
    assert (first["enter_falling_v"], first["leave_falling_v"]) == (228, 196)
    assert (second["enter_rising_v"], second["leave_falling_v"]) == (231, 231)
    assert second["hold_v"] == [231, 263]
    assert first["output_v"] == [200 * 94 / 85, pytest.approx(228 * 94 / 85)]
    (gap,) = answer.json["gaps"]
    assert gap["code"] == "dead-zone"
    assert (gap["from_v"], gap["to_v"]) == (pytest.approx(227 / 1.01), pytest.approx(232 / 0.99))  # noise 2 V


def test_check_findings_carry_witnesses(call: Any) -> None:
    found = call("check", FAULTY, "--json").json["findings"]
    chatter = next(one for one in found if one["code"] == "chatter")
    assert chatter["severity"] == "fault"
    assert chatter["witness"]["overlap_v"] == 1
    assert chatter["witness"]["bands"] == ["direct", "buck"]


def test_check_of_one_code_and_its_explanation(call: Any) -> None:
    only = call("check", FAULTY, "--only", "chatter", "--json")
    assert only.code == 1
    assert {one["code"] for one in only.json["findings"]} == {"chatter"}
    assert call("check", FAULTY, "--only", "wrong-way").code == 0
    explained = call("check", FAULTY, "--explain", "dead-zone", "--json").json
    assert explained["explained"].keys() == {"code", "means", "why", "mend"}
    assert [one["code"] for one in explained["findings"]] == ["dead-zone"]
    assert "to mend it:" in call("check", FAULTY, "--explain", "dead-zone").out
    unknown = call("check", FAULTY, "--only", "chater")
    assert unknown.code == 2
    assert 'nearest known: "chatter"' in unknown.err


def test_at_gives_both_answers_in_an_overlap_and_ends_with_the_caution(call: Any) -> None:
    answer = call("at", EXAMPLE, "190", "--json").json
    assert answer["input_v"] == 190
    assert [(one["band"], one["when"]) for one in answer["answers"]] == [
        ("boost 2", ["rising", "start"]),  # 190 * 599/469 is 12.7 V from nominal, 190 * 530/469 is 15.3 V
        ("boost 1", ["falling"]),
    ]
    assert answer["answers"][0]["output_v"] == pytest.approx(190 * 599 / 469)
    assert answer["caution"] == CAUTION
    screen = " ".join(call("at", EXAMPLE, "190").out.split())
    assert screen.endswith(CAUTION_LINE)


def test_operands_may_follow_options(call: Any, tmp_path: Path) -> None:
    assert call("at", EXAMPLE, "--json", "190").json["input_v"] == 190
    assert call("at", "--json", EXAMPLE, "190", "200").json["points"][1]["input_v"] == 200
    assert call("new", "--json", tmp_path / "a.toml").json["design"] == str(tmp_path / "a.toml")
    assert "-5" in call("at", EXAMPLE, "-5").err
    assert "accepted: volts from 0" in call("at", EXAMPLE, "-5").err


def test_a_pipe_is_not_replaced_by_a_file(call: Any, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert call("check", EXAMPLE, "-o", pipe, "--force").code == 2
    assert pipe.is_fifo()


def test_at_outside_says_backup_or_undefined(call: Any) -> None:
    assert call("at", EXAMPLE, "100", "--json").json["outside"] == "backup"
    points = call("at", FAULTY, "100", "230", "--json").json["points"]
    assert [(point["outside"], point["answers"]) for point in points] == [("undefined", []), ("undefined", [])]


def test_a_sweep_there_and_back(call: Any) -> None:
    points = call("at", EXAMPLE, "--sweep", "180:200:10", "--both-ways", "--json").json["points"]
    assert [(point["input_v"], point["direction"]) for point in points] == [
        (180, "rising"),
        (190, "rising"),
        (200, "rising"),
        (200, "falling"),
        (190, "falling"),
        (180, "falling"),
    ]
    assert call("at", EXAMPLE, "--sweep", "180:200:10").out.count("<- moved") == 1


def test_bands_written_into_a_copy_pass_check(call: Any, tmp_path: Path) -> None:
    copy = tmp_path / "mended.toml"
    answer = call("bands", FAULTY, "--write", "-o", copy)
    assert answer.code == 0
    assert "in place of the 3" in answer.out
    assert call("check", copy).code == 0
    assert call("check", FAULTY).code == 1


def test_bands_write_in_place_keeps_comments(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(STARTER.split("[[band]]")[0])
    assert call("bands", file, "--write", "--json").json["written"] == str(file)
    text = file.read_text()
    assert text.count("[[band]]") == 3
    assert "# moves the line" in text
    assert call("check", file).code == 0


def test_bands_that_leave_faults_are_not_written(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "hopeless.toml"
    file.write_text(STARTER.split("[[band]]")[0].replace("[187, 275]", "[100, 300]"))
    before = file.read_text()
    answer = call("bands", file, "--write")
    assert answer.code == 2
    assert "nothing was written" in answer.err
    assert file.read_text() == before
    plain = call("bands", file, "--json")
    assert plain.code == 1
    assert plain.json["feasible"] is False
    assert {gap["code"] for gap in plain.json["gaps"]} == {"uncovered-range"}


def test_new_writes_a_file_that_passes_check(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "fresh.toml"
    assert call("new", file).code == 0
    assert call("check", file).code == 0
    again = call("new", file)
    assert again.code == 2
    assert "kept unless --force" in again.err
    assert call("new", file, "--force").code == 0
    assert call("new").out == STARTER
    assert call("new", "--json").json["text"] == STARTER


def test_standards_and_schema(call: Any) -> None:
    answer = call("standards", "--json").json
    assert {"key", "nominal_v", "range_v", "source", "seen"} <= answer["supplies"][0].keys()
    assert "uk-230" in call("standards").out
    schema = call("schema").out
    assert json.loads(schema)["title"] == "tapplan design file, format 1"
    assert call("schema", "--json").json["schema"] == json.loads(schema)


def test_output_files_are_whole_and_kept(call: Any, tmp_path: Path) -> None:
    target = tmp_path / "table.txt"
    assert call("table", EXAMPLE, "-o", target).out == f"wrote {target}\n"
    assert "Truth table" in target.read_text()
    kept = target.read_text()
    refused = call("table", FAULTY, "-o", target)
    assert refused.code == 2
    assert target.read_text() == kept
    forced = call("table", FAULTY, "-o", target, "--force", "--json")
    assert (forced.code, forced.out) == (1, "")
    assert json.loads(target.read_text())["verb"] == "table"
    assert [file.name for file in tmp_path.iterdir()] == ["table.txt"]


@pytest.mark.parametrize("target", ["", "/no/such/folder/x", "/proc/nothing", ".", "/dev/null"])
def test_output_that_cannot_be_written_is_one_message(call: Any, target: str) -> None:
    answer = call("check", EXAMPLE, "-o", target or "/dev/null/x")
    assert answer.code == 2
    assert answer.err.count("\n") == 1


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["nothing"],
        ["table"],
        ["at", EXAMPLE],
        ["at", EXAMPLE, "-5"],
        ["at", EXAMPLE, "nan"],
        ["at", EXAMPLE, "1e10"],
        ["at", EXAMPLE, "abc"],
        ["at", EXAMPLE, "2_30"],
        ["at", EXAMPLE, "--json", "--", "-5"],
        ["table", EXAMPLE, "left over"],
        ["at", EXAMPLE, "200", "--sweep", "1:2:1"],
        ["at", EXAMPLE, "--sweep", "1:2"],
        ["at", EXAMPLE, "--sweep", "1:2:0"],
        ["at", EXAMPLE, "--sweep", "1:2:-1"],
        ["at", EXAMPLE, "--sweep", "0:1e9:0.001"],
        ["at", EXAMPLE, "200", "--both-ways"],
        ["check", EXAMPLE, "--jso"],
        ["check", "/no/such/file.toml"],
        ["check", "/"],
        ["states", "/dev/null"],
        ["new", "a", "-o", "b"],
    ],
    ids=lambda arguments: " ".join(arguments)[-40:],
)
def test_wrong_calls_are_answered_on_stderr_with_exit_2(call: Any, arguments: list[str]) -> None:
    answer = call(*arguments)
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err
    assert "Traceback" not in answer.err


def test_too_many_relays_for_one_row_a_state(call: Any, tmp_path: Path) -> None:
    links = "".join(
        f'[[relay]]\nname = "K{n}"\ncom = "{"OUT" if n == 0 else f"X{n}"}"\nnc = "A"\nno = "X{n + 1}"\n'
        for n in range(40)
    )
    head = STARTER.split("[[relay]]")[0].replace('"LINE"', '"B"')
    file = tmp_path / "long.toml"
    file.write_text(head + links)
    refused = call("states", file)
    assert refused.code == 2
    assert "--grouped" in refused.err
    rows = call("states", file, "--grouped", "--json").json["states"]
    assert sum(row["count"] for row in rows) == 2**40
    assert call("check", file, "--json").code in (0, 1)
    assert call("table", file).out


def test_the_list_of_verbs_is_the_parser_s(call: Any) -> None:
    assert parser("0").parse_args(["check", "x"]).verb == "check"
    shown = call("--help").out
    assert all(f"    {verb}" in shown for verb in VERBS)


# --- as a process of its own ---


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tapplan", *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, **environment},
    )


def test_as_a_module_and_in_an_ascii_terminal(tmp_path: Path) -> None:
    file = tmp_path / "title.toml"
    file.write_text(STARTER.replace("Workshop outlet", "Wärkstatt Ω"))
    done = run("table", str(file), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0
    assert "W\\xe4rkstatt" in done.stdout
    assert done.stderr == ""


def test_a_pipe_that_closes_early_is_no_error() -> None:
    done = subprocess.run(
        f"{sys.executable} -m tapplan at {EXAMPLE} --sweep 100:300:0.05 | head -n 2",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""


@pytest.mark.parametrize("columns", ["80", "140"])
def test_screens_fit_the_width_asked_for(columns: str) -> None:
    for verb in ("table", "check", "states", "bands"):
        done = run(verb, EXAMPLE, COLUMNS=columns)
        assert max(map(len, done.stdout.splitlines())) <= int(columns)


def test_light_verbs_load_no_heavy_library() -> None:
    probe = (
        "import sys; from tapplan.cli.main import main; main(['table', sys.argv[1], '--json']);"
        "print(sorted({'numpy', 'sympy', 'networkx', 'rich', 'tomlkit'} & sys.modules.keys()), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe, EXAMPLE], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stderr.strip() == "[]"


CONTROLLER = """
[controller]
bits        = 10
reference_v = 3.3
divider_ohm = [1000000, 3900]
"""


def test_margins_keys(call: Any) -> None:
    answer = call("margins", FAULTY, "--json").json
    assert answer["smallest_margin_v"] == min(one["margin_v"] for one in answer["margins"])
    assert {"band", "end", "input_v", "reading_v", "output_v", "limit_v", "margin_v", "eaten_by"} <= set(
        answer["margins"][0]
    )
    assert {"whole_v", "eaten_by", "spare_above_v", "overlap_v", "overlap_at_source_v"} <= set(answer["handovers"][0])
    assert {one["quantity"] for one in answer["growth"]} >= {"sensing.error_pct", "sensing.noise_v"}
    assert "budget" not in answer
    assert "samples" not in answer


def test_margins_with_samples_and_a_controller(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "counted.toml"
    file.write_text(Path(EXAMPLE).read_text() + CONTROLLER)
    answer = call("margins", file, "--samples", "2000", "--seed", "4", "--json").json
    assert answer["samples"]["count"] == 2000
    assert sum(one["count"] for one in answer["samples"]["bands"]) + answer["samples"]["unheld"] == 2000
    assert all(one["outside_worst"] == 0 for one in answer["samples"]["bands"])
    assert [line["name"] for line in answer["budget"]["lines"]][:2] == ["divider", "reference"]
    assert len(answer["counts"]["bands"]) == 4
    screen = call("margins", file, "--samples", "2000").out
    assert "One count is" in screen
    assert "0 of 2000 samples lie outside the exact worst case" in screen


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["margins", EXAMPLE, "--samples", "0"], 'found "0"; accepted: a whole number from 1 to 10000000'),
        (["margins", EXAMPLE, "--samples", "-5"], 'found "-5"'),
        (["margins", EXAMPLE, "--samples", "99999999999"], "accepted: a whole number from 1"),
        (["margins", EXAMPLE, "--samples", "many"], 'found "many"'),
        (["margins", EXAMPLE, "--samples", "9", "--seed", "-1"], 'found "-1"; accepted: a whole number'),
        (["margins", EXAMPLE, "--seed", "4"], "found --seed alone; accepted: together with --samples"),
        (
            ["steps", EXAMPLE, "--curve", "iti-200"],
            'found curve "iti-200"; accepted: iti-2000, semi-f47 (nearest known',
        ),
        (["compare", EXAMPLE], "NEW"),
        (["compare", EXAMPLE, "nowhere.toml"], "nowhere.toml: found no such file"),
        (["compare", "nowhere.toml", EXAMPLE], "nowhere.toml: found no such file"),
    ],
)
def test_calls_that_cannot_be_answered(call: Any, arguments: list[str], said: str) -> None:
    answer = call(*arguments)
    assert answer.code == 2
    assert said in answer.err
    assert answer.out == ""


def test_steps_against_another_curve(call: Any) -> None:
    answer = call("steps", EXAMPLE, "--curve", "semi-f47", "--json").json
    assert {one["curve"] for one in answer["steps"]} == {"semi-f47"}
    assert {one["side"] for one in answer["steps"]} == {"under"}
    one = answer["steps"][0]
    assert {
        "from",
        "entered",
        "line_v",
        "phases",
        "settled_ms",
        "kept",
        "output_v",
        "percent",
        "lasts_ms",
    } <= set(one)
    assert [phase["name"] for phase in one["phases"]][:2] == ["unnoticed", "in flight"]


def test_the_picture_of_a_step_fits_its_screen(call: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    for width in ("60", "80", "120"):
        monkeypatch.setenv("COLUMNS", width)
        lines = call("steps", EXAMPLE).out.splitlines()
        drawn = [line for line in lines if " |" in line or " +-" in line]
        assert len(drawn) == 18
        assert max(len(line) for line in drawn) <= int(width)


def test_moves_name_the_safest_order(call: Any) -> None:
    rows = {one["name"]: one for one in call("moves", EXAMPLE, "--json").json["moves"]}
    middle = rows['"boost 1" to "direct"']
    assert middle["movers"] == ["KL", "KO"]
    assert middle["mixtures"] == 9
    assert middle["safest_order"] == ["KL", "KO"]
    assert middle["passes"] == ["530/599"]
    assert middle["highest"]["ratio"] == "599/469"


def test_compare_exits_with_1_when_worse(call: Any, tmp_path: Path) -> None:
    mended = tmp_path / "mended.toml"
    assert call("bands", FAULTY, "--write", "-o", mended).code == 0
    better, worse = call("compare", FAULTY, mended, "--json"), call("compare", mended, FAULTY, "--json")
    assert (better.code, worse.code) == (0, 1)
    assert {one["code"] for one in better.json["lost"]} >= {"dead-zone", "chatter", "out-of-window"}
    assert {one["change"] for one in better.json["bands"]} == {"moved"}
    assert better.json["new"] == str(mended)


def test_faults_know_the_reading(call: Any) -> None:
    rows = [one for one in call("faults", EXAMPLE, "--json").json["faults"] if one["part"] == "reading"]
    assert {one["fault"] for one in rows} == {"scaled-high", "scaled-low", "lost", "frozen"}
    assert len(rows) == 4 * 4


HUT = str(ROOT / "designs" / "shepherds-hut.toml")


def test_rate_keys(call: Any) -> None:
    answer = call("rate", HUT, "--json").json
    assert answer["caution"] == CAUTION
    assert answer["needs"] == []
    band = answer["bands"][0]
    assert {
        "loaded_output_v",
        "drop_pct",
        "line_a",
        "through_va",
        "core_va",
        "copper_saved",
        "flux_t",
        "copper_w",
    } <= set(band)
    section = answer["sections"][0]
    assert {"name", "current_a", "at", "at_v", "wire", "density_a_mm2", "resistance_ohm", "loss_w", "live_v"} <= set(
        section
    )
    assert answer["feeds"][0]["used"] == []
    assert answer["feeds"][0]["backfeed"] is False
    assert {one["band"] for one in answer["charging"]} == {one["name"] for one in answer["bands"]}


def test_rate_says_what_is_missing_and_never_guesses(call: Any) -> None:
    answer = call("rate", FAULTY, "--json").json
    assert any(text.startswith("[core] area_mm2") for text in answer["needs"])
    assert all(band["flux_t"] is None and band["core_w"] is None for band in answer["bands"])
    assert answer["core"] is None
    assert "needs [core] area_mm2" in call("rate", FAULTY).out


def test_rate_exits_with_1_when_a_stated_limit_is_broken(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "live.toml"
    file.write_text(
        Path(HUT).read_text().replace("volts_v   = [21.5, 24.2] ", 'energised = ["KM"]\nvolts_v   = [21.5, 24.2] ')
    )
    answer = call("rate", file, "--json")
    assert answer.code == 1
    assert [one["code"] for one in answer.json["findings"] if one["severity"] == "fault"] == ["backfeed"]
    assert "the inlet's line pin stands at 225.75 V to 254.1 V" in call("rate", file).out


NOTHING_USABLE = """
format = 1
title = "no state is usable"
[mains]
nominal_v = 230
range_v = [180, 260]
[output]
nominal_v = 230
window_v = [207, 253]
[terminals]
line = "L"
neutral = "N"
output = "O"
[[winding]]
name = "w"
ends = ["N", "L"]
turns = 500
[[relay]]
name = "K"
com = "O"
no = "Q"
nc = "N"
[backup]
leave_v = [170, 270]
return_v = [180, 260]
"""


@pytest.mark.parametrize(
    "arguments",
    [["check"], ["bands"], ["table"], ["margins"], ["margins", "--samples", "10"], ["steps"], ["moves"], ["faults"],
     ["rate"], ["states"], ["at", "200"]],
    ids=" ".join,
)  # fmt: skip
def test_a_stage_without_any_usable_state_is_answered(call: Any, tmp_path: Path, arguments: list[str]) -> None:
    file = tmp_path / "nothing.toml"
    file.write_text(NOTHING_USABLE)
    verb, *more = arguments
    for form in ([], ["--json"]):
        answer = call(verb, file, *more, *form)
        assert answer.code in (0, 1)
        assert answer.err == ""
    if verb in ("check", "margins", "table"):
        assert answer.code == 1


def test_margins_says_what_is_broken_elsewhere_too(call: Any, tmp_path: Path) -> None:
    """An inner dead zone breaks a promise although every band keeps the window."""
    file = tmp_path / "gap.toml"
    text = Path(FAULTY).read_text().replace("[231, 263]", "[231, 255]").replace("[262, 292]", "[254.5, 292]")
    file.write_text(text)
    answer = call("margins", file, "--json")
    assert answer.code == 1
    assert {one["code"] for one in answer.json["findings"]} == {"dead-zone", "chatter"}
    assert "Promises broken" in call("margins", file).out


def test_a_band_without_a_ratio_has_samples_but_no_output(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "dead.toml"
    file.write_text(Path(FAULTY).read_text().replace('nc   = "M2"\nno   = "M3"\n\n[sensing]',
                                                     'nc   = "NEUTRAL"\nno   = "M3"\n\n[sensing]'))  # fmt: skip
    bands = {one["name"]: one for one in call("margins", file, "--samples", "500", "--json").json["samples"]["bands"]}
    assert bands["direct"]["outside_window"] == bands["direct"]["count"] > 0
    assert "no output" in call("margins", file, "--samples", "500").out or bands["direct"]["output_v"] == [0, 0]


def test_steps_exit_with_1_when_the_file_names_the_curve_they_leave(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "curve.toml"
    file.write_text(Path(EXAMPLE).read_text().replace("[output]", '[output]\ntolerance_curve = "iti-2000"'))
    assert call("steps", file).code == 1
    assert call("steps", EXAMPLE).code == 0


def test_compare_tells_what_the_files_state_and_what_grew(call: Any, tmp_path: Path) -> None:
    slow = tmp_path / "slow.toml"
    box = ROOT / "designs" / "signal-box.toml"
    slow.write_text(box.read_text().replace("confirm_ms    = 30", "confirm_ms    = 3000"))
    answer = call("compare", box, slow, "--json")
    assert answer.code == 1
    assert answer.json["stated"] == [{"key": "sensing.confirm_ms", "old": 30, "new": 3000}]
    assert {one["code"] for one in answer.json["traits"] if one["worse"]} == {"slow-recovery"}
    assert "sensing.confirm_ms  30   3000" in call("compare", box, slow).out
    assert call("compare", slow, box).code == 0


def test_compare_sees_a_dead_zone_grow(call: Any, tmp_path: Path) -> None:
    files = []
    for number, end in enumerate((270, 266)):
        file = tmp_path / f"{number}.toml"
        file.write_text(Path(FAULTY).read_text().replace("[262, 292]", f"[255, {end}]"))
        files.append(file)
    assert call("compare", *files).code == 1


def test_bands_are_written_although_something_else_is_wrong_and_that_is_told(call: Any, tmp_path: Path) -> None:
    """A window too full of copper is no fault of the thresholds; turns that serve too little are."""
    hut = (ROOT / "designs" / "shepherds-hut.toml").read_text(encoding="utf-8")
    file = tmp_path / "full.toml"
    file.write_text(hut.replace("fill_limit          = 0.4", "fill_limit          = 0.3"), encoding="utf-8")
    answer = call("bands", file, "--write")
    assert answer.code == 1
    assert f"Faults that no threshold mends are left: window-full; see: tapplan check {file}" in answer.out
    short = tmp_path / "short.toml"
    ridge = Path(EXAMPLE).read_text(encoding="utf-8")
    short.write_text(ridge.replace("range_v      = [168, 274]", "range_v      = [150, 274]"), encoding="utf-8")
    before = short.read_bytes()
    refused = call("bands", short, "--write")
    assert refused.code == 2
    assert "with these bands the table has faults (uncovered-range" in refused.err
    assert short.read_bytes() == before
