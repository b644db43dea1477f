"""Findings in SARIF 2.1.0, key by key as the standard has them (OASIS, 27 March 2020; clauses from memory)."""

from __future__ import annotations

from typing import Any

from tapplan.answers.checked import FileVerdict, PlacedAcceptance, PlacedFinding, checked
from tapplan.answers.findings import FindingRow
from tapplan.answers.sarif import sarif
from tapplan.answers.verdict import AcceptedRow
from tapplan.checks.finding import Severity
from tapplan.checks.remedies import REMEDIES
from tapplan.checks.rules import CODES
from tapplan.checks.witnesses.states import Undriven
from tapplan.errors import Problem
from tapplan.version import __version__

RESTS_ON = Undriven(energised=("K",))


def file(**parts: Any) -> FileVerdict:
    return FileVerdict(**{"design": "a/b.toml", "verdict": None, "told": "", "counts": "", "placed": (), **parts})


def results(*files: FileVerdict) -> list[dict[str, Any]]:
    told: Any = sarif(checked(files))
    return list(told["runs"][0]["results"])


def place(line: int, uri: str = "a/b.toml") -> list[dict[str, Any]]:
    return [{"physicalLocation": {"artifactLocation": {"uri": uri}, "region": {"startLine": line}}}]


def test_a_run_names_its_tool_and_every_rule() -> None:
    told: Any = sarif(checked([]))
    assert (told["$schema"], told["version"]) == ("https://json.schemastore.org/sarif-2.1.0.json", "2.1.0")
    (run,) = told["runs"]
    assert run["results"] == []
    driver = run["tool"]["driver"]
    assert (driver["name"], driver["version"]) == ("tapplan", __version__)
    *rules, last = driver["rules"]
    assert [one["id"] for one in rules] == list(CODES)
    assert last == {
        "id": "unreadable-design",
        "shortDescription": {"text": "the file cannot be read as a design"},
        "help": {"text": "mend what the message names"},
    }
    for one in rules:
        assert one["shortDescription"] == {"text": CODES[one["id"]]}
        assert one["help"] == {"text": REMEDIES[one["id"]].mend}


def test_a_finding_is_a_result_of_its_severitys_level_at_its_line() -> None:
    levels = {Severity.FAULT: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}
    placed = tuple(
        PlacedFinding(line=line, finding=FindingRow(severity, "idle-relay", "relay K", "stays at rest", RESTS_ON))
        for line, severity in enumerate(levels, 5)
    )
    assert results(file(placed=placed)) == [
        {
            "ruleId": "idle-relay",
            "level": level,
            "message": {"text": "relay K: stays at rest"},
            "locations": place(line),
        }
        for line, level in enumerate(levels.values(), 5)
    ]


def test_what_a_file_accepts_is_suppressed_in_the_source_with_its_reason() -> None:
    one = AcceptedRow(Severity.WARNING, "idle-relay", "relay K", "stays at rest", RESTS_ON, "a spare")
    assert results(file(accepted=(PlacedAcceptance(line=9, accepted=one),))) == [
        {
            "ruleId": "idle-relay",
            "level": "warning",
            "message": {"text": "relay K: stays at rest"},
            "locations": place(9),
            "suppressions": [{"kind": "inSource", "justification": "a spare"}],
        }
    ]


def test_a_problem_of_a_file_is_an_error_at_its_line_or_at_the_first() -> None:
    problems = (Problem("mains", "nothing", "a table", line=3), Problem("", "no TOML", "TOML"))
    first, second = results(file(problems=problems))
    assert first == {
        "ruleId": "unreadable-design",
        "level": "error",
        "message": {"text": "mains: found nothing; accepted: a table"},
        "locations": place(3),
    }
    assert second["message"] == {"text": "found no TOML; accepted: TOML"}
    assert second["locations"] == place(1)


def test_results_stand_file_by_file() -> None:
    one = PlacedFinding(line=1, finding=FindingRow(Severity.NOTE, "idle-relay", "x", "y", RESTS_ON))
    found = results(file(placed=(one,)), file(design="c.toml", placed=(one, one)))
    uris = [each["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for each in found]
    assert uris == ["a/b.toml", "c.toml", "c.toml"]
