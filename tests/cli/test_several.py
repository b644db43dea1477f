"""Several designs in one call, their findings at their lines, and the other manners of a shell."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.rules import CODES
from tapplan.cli.arguments import parser
from tapplan.cli.main import main
from tapplan.cli.verbs import VERBS, verb_of
from tests.examples import ROOT, SHIPPED

RIDGE, HOSTEL = (str(ROOT / "designs" / f"{name}.toml") for name in ("ridge-dispensary", "hostel-review"))


def answered(capsys: Any, *words: str) -> tuple[int, str, str]:
    code = main(words)
    told = capsys.readouterr()
    return code, told.out, told.err


def test_each_of_several_designs_is_judged_as_by_itself(capsys: Any) -> None:
    code, out, err = answered(capsys, "check", *map(str, SHIPPED), "--json")
    answer = json.loads(out)
    assert (code, err, answer["sound"], answer["design"]) == (1, "", False, None)
    assert [one["design"] for one in answer["designs"]] == list(map(str, SHIPPED))
    for one in answer["designs"]:
        _, alone, _ = answered(capsys, "check", one["design"], "--json")
        single = json.loads(alone)
        assert one["verdict"] == {key: single[key] for key in one["verdict"]}
    assert [one["design"] for one in answer["designs"] if not one["verdict"]["sound"]] == [HOSTEL]


def test_the_screen_tells_a_line_of_each_and_the_faults(capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "300")
    code, out, _ = answered(capsys, "check", RIDGE, HOSTEL)
    lines = out.splitlines()
    assert code == 1
    assert lines[0] == "Check: 2 designs"
    assert lines[1] == RIDGE
    assert lines[2].startswith("    Sound: all 16 promises hold")
    assert lines[3] == "    2 warnings, 1 note"
    assert lines[4:6] == [HOSTEL, "    Not sound: 3 of 14 promises broken"]
    assert sum(line.startswith("    fault  ") for line in lines) == 3
    assert not any(line.strip().startswith(("warning ", "note ")) for line in lines)
    assert lines[-1] == "1 of 2 designs are sound"
    assert answered(capsys, "check", RIDGE, RIDGE)[0] == 0
    _, everything, _ = answered(capsys, "check", RIDGE, HOSTEL, "--all")
    assert everything.count("What every such stage has") == 2
    assert "note  holds-beyond-range" in everything


def test_a_file_that_cannot_be_judged_hides_no_other(tmp_path: Path, capsys: Any) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(Path(RIDGE).read_text(encoding="utf-8").replace("noise_v", "nois_v"), encoding="utf-8")
    code, out, err = answered(capsys, "check", str(bad), RIDGE)
    assert code == 2
    assert err.startswith(f"{bad}:52: sensing.nois_v: found unknown key")
    assert "cannot be judged" in out
    assert out.splitlines()[-1] == "1 of 2 designs are sound; 1 could not be judged"
    code, out, _ = answered(capsys, "check", str(bad), RIDGE, "--json")
    first, second = json.loads(out)["designs"]
    assert (code, first["verdict"], second["verdict"]["sound"]) == (2, None, True)
    assert "nois_v" in first["error"]
    assert "error" not in second
    code, out, _ = answered(capsys, "check", str(bad), "--format", "sarif")
    (result,) = json.loads(out)["runs"][0]["results"]
    assert (code, result["ruleId"], result["level"]) == (2, "unreadable-design", "error")


def test_findings_stand_at_the_line_of_what_they_are_about(capsys: Any) -> None:
    code, out, _ = answered(capsys, "check", HOSTEL, RIDGE, "--format", "sarif")
    log = json.loads(out)
    (run,) = log["runs"]
    assert (code, log["version"]) == (1, "2.1.0")
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert rules[:-1] == list(CODES)
    _, alone, _ = answered(capsys, "check", HOSTEL, "--json")
    findings = json.loads(alone)["findings"]
    at_hostel = [one for one in run["results"] if _uri(one) == HOSTEL]
    assert [one["ruleId"] for one in at_hostel] == [one["code"] for one in findings]
    assert {one["level"] for one in at_hostel} == {"error", "note"}
    text = Path(HOSTEL).read_text(encoding="utf-8").splitlines()
    for result, finding in zip(at_hostel, findings, strict=True):
        line = result["locations"][0]["physicalLocation"]["region"]["startLine"]
        named = [name for name in ("boost", "direct", "buck") if f'"{name}"' in finding["where"]]
        if named:
            first = min(named, key=finding["where"].index)
            assert text[line - 1].strip() == "[[band]]"
            assert f'"{first}"' in text[line]
        else:
            assert text[line - 1].strip() == "[mains]"
    assert {one["ruleId"] for one in run["results"]} <= set(rules)


def test_a_limit_an_acceptance_and_each_problem_of_a_file_have_their_own_result(tmp_path: Path, capsys: Any) -> None:
    text = Path(RIDGE).read_text(encoding="utf-8")
    file = tmp_path / "limited.toml"
    file.write_text(
        text + '\n[limits]\nmove_gap_ms = 1\n\n[[accept]]\ncode = "race-overvoltage"\nreason = "lamps only"\n',
        encoding="utf-8",
    )
    _, out, _ = answered(capsys, "check", str(file), "--format", "sarif")
    results = json.loads(out)["runs"][0]["results"]
    lines = file.read_text(encoding="utf-8").splitlines()
    (gap,) = [one for one in results if one["ruleId"] == "move-gap"]
    assert lines[gap["locations"][0]["physicalLocation"]["region"]["startLine"] - 1] == "[limits]"
    set_apart = [one for one in results if "suppressions" in one]
    assert [one["ruleId"] for one in set_apart] == ["race-overvoltage"] * 2
    assert {one["suppressions"][0]["justification"] for one in set_apart} == {"lamps only"}
    accept = lines.index("[[accept]]") + 1
    assert {one["locations"][0]["physicalLocation"]["region"]["startLine"] for one in set_apart} == {accept}
    file.write_text(text.replace("noise_v", "nois_v").replace("[168, 274]", "[274, 168]"), encoding="utf-8")
    _, out, _ = answered(capsys, "check", str(file), "--format", "sarif")
    found = json.loads(out)["runs"][0]["results"]
    places = [one["locations"][0]["physicalLocation"]["region"]["startLine"] for one in found]
    assert places == [9, 52]
    assert found[0]["message"]["text"].startswith("mains.range_v: found [274, 168]; accepted: ")


def test_a_finding_stands_at_the_part_it_names_whatever_the_parts_are_called(tmp_path: Path, capsys: Any) -> None:
    """Bands that are called like a word, a relay, or half of another's name, and an acceptance that met nothing."""
    text = Path(HOSTEL).read_text(encoding="utf-8")
    for old, new in (("boost", "boost, two"), ("direct", "band"), ("buck", "KA")):
        text = text.replace(f'"{old}"', f'"{new}"')
    file = tmp_path / "odd.toml"
    file.write_text(text + '\n[[accept]]\ncode = "fuse-blind"\nreason = "no fuse"\n', encoding="utf-8")
    _, out, _ = answered(capsys, "check", str(file), "--format", "sarif")
    lines = file.read_text(encoding="utf-8").splitlines()
    named = {}
    for one in json.loads(out)["runs"][0]["results"]:
        line = one["locations"][0]["physicalLocation"]["region"]["startLine"]
        named.setdefault(one["ruleId"], []).append(f"{lines[line - 1]} {lines[line].split('#')[0].strip()}")
    assert named["dead-zone"] == ['[[band]] name      = "boost, two"']
    assert named["out-of-window"] == named["chatter"] == ['[[band]] name      = "band"']
    assert named["holds-beyond-range"] == ['[[band]] name      = "boost, two"', '[[band]] name      = "KA"']
    assert named["stale-accept"] == ['[[accept]] code = "fuse-blind"']
    _, out, _ = answered(capsys, "check", str(file))
    assert '"boost, two" to "KA"' in out


def _uri(result: dict[str, Any]) -> str:
    found: str = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    return found


def test_the_levels_are_those_of_the_severities(capsys: Any) -> None:
    from tapplan.answers.sarif import LEVELS

    assert LEVELS == {Severity.FAULT: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}
    code, out, _ = answered(capsys, "check", RIDGE, "--format", "sarif")
    assert code == 0
    assert [one["level"] for one in json.loads(out)["runs"][0]["results"]] == ["warning", "warning", "note"]


@pytest.mark.parametrize("option", [("--only", "chatter"), ("--explain", "chatter")])
def test_what_is_asked_of_one_design_is_refused_for_several(option: tuple[str, str], capsys: Any) -> None:
    code, out, err = answered(capsys, "check", RIDGE, HOSTEL, *option)
    assert (code, out) == (2, "")
    assert err == f"found {option[0]} with several designs or a format; accepted: one design\n"
    assert answered(capsys, "check", RIDGE, "--format", "sarif", *option)[0] == 2


# --- output onto input ---


@pytest.mark.parametrize(
    "words",
    [
        ("table", "DESIGN"),
        ("check", "DESIGN", "OTHER"),
        ("check", "OTHER", "DESIGN"),
        ("compare", "OTHER", "DESIGN"),
        ("report", "OTHER", "--compare", "DESIGN"),
    ],
)
def test_no_answer_replaces_a_file_that_it_was_made_from(words: tuple[str, ...], tmp_path: Path, capsys: Any) -> None:
    files = {}
    for name, path in (("DESIGN", RIDGE), ("OTHER", HOSTEL)):
        files[name] = tmp_path / f"{name}.toml"
        files[name].write_bytes(Path(path).read_bytes())
    before = files["DESIGN"].read_bytes()
    call = [str(files.get(word, word)) for word in words]
    code, out, err = answered(capsys, *call, "-o", str(files["DESIGN"]), "--force")
    assert (code, out) == (2, "")
    assert err == f"found -o {files['DESIGN']}, the very file that is read; accepted: another name\n"
    assert files["DESIGN"].read_bytes() == before


# --- help and completion ---


@pytest.mark.parametrize("verb", VERBS)
def test_the_help_of_every_verb_ends_with_calls_that_parse(verb: str, capsys: Any) -> None:
    with pytest.raises(SystemExit) as ended:
        main([verb, "--help"])
    shown = capsys.readouterr().out
    assert ended.value.code == 0
    assert shown.startswith(f"usage: tapplan {verb}")
    examples = shown.partition("Examples:\n")[2].splitlines()
    assert [line.strip() for line in examples] == list(verb_of(verb).EXAMPLES)
    assert len(examples) >= 1


def test_the_help_lists_every_verb_in_a_line(capsys: Any) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    shown = capsys.readouterr().out
    assert [verb for verb in VERBS if f"    {verb}" not in shown] == []
    assert "Exit: 0" in shown


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_a_script_completes_every_verb(shell: str, capsys: Any) -> None:
    pytest.importorskip("shtab", reason="shtab is not installed: pip install -e '.[shell]'")
    code, out, _ = answered(capsys, "completion", shell)
    assert code == 0
    assert [verb for verb in VERBS if verb not in out] == []


def test_bash_takes_the_script_and_completes_a_verb(tmp_path: Path) -> None:
    pytest.importorskip("shtab", reason="shtab is not installed: pip install -e '.[shell]'")
    script = tmp_path / "complete.sh"
    assert main(["completion", "bash", "-o", str(script)]) == 0
    ask = f'source {script}; COMP_WORDS=(tapplan ma); COMP_CWORD=1; _shtab_tapplan; echo "${{COMPREPLY[@]}}"'
    done = subprocess.run(["bash", "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["margins"]


def test_without_the_library_completion_says_what_to_install(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    monkeypatch.setitem(sys.modules, "shtab", None)
    code, _, err = answered(capsys, "completion", "bash")
    assert (code, err) == (2, "found no shtab; accepted: pip install 'tapplan[shell]' for completion\n")


# --- guide ---


def test_the_guide_lists_its_topics_and_shows_one(capsys: Any) -> None:
    from tapplan.guide import NAMES, text

    code, out, _ = answered(capsys, "guide")
    assert code == 0
    assert [name for name in NAMES if f"\n{name} " not in out] == []
    _, out, _ = answered(capsys, "guide", "limits", "--json")
    assert json.loads(out)["text"] == text("limits")
    code, _, err = answered(capsys, "guide", "repair")
    assert code == 2
    assert err.startswith('found topic "repair"; accepted: designer, repairer')
    assert 'nearest known: "repairer"' in err


def test_a_topic_is_shown_as_people_read_it(capsys: Any) -> None:
    _, out, _ = answered(capsys, "guide", "ci")
    assert "```" not in out
    assert "tapplan check designs/signal-box.toml" in out


def test_the_hook_checks_what_it_is_given() -> None:
    """What the pre-commit framework reads: its command is one of ours, its pattern meets the designs."""
    import re

    text = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    entry = re.search(r"^  entry: tapplan (.+)$", text, re.MULTILINE)
    pattern = re.search(r"^  files: (.+)$", text, re.MULTILINE)
    assert entry is not None
    assert pattern is not None
    parser("x").parse_args([*entry.group(1).split(), RIDGE])
    shipped = [path.relative_to(ROOT).as_posix() for path in SHIPPED]
    assert all(re.search(pattern.group(1), path) for path in shipped)
    assert not re.search(pattern.group(1), "designs/requests/coast-road.toml")
