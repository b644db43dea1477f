"""Findings at their lines in SARIF 2.1.0 (OASIS), the form in which code hosts take the results of a check."""

from __future__ import annotations

from pathlib import PurePath

from tapplan.answers.checked import Checked, FileVerdict, PlacedAcceptance, PlacedFinding
from tapplan.answers.forms import Json
from tapplan.checks.finding import Severity
from tapplan.checks.remedies import REMEDIES
from tapplan.checks.rules import CODES
from tapplan.errors import Problem
from tapplan.version import __version__

# The levels of SARIF, 3.27.10: "none" is for results that are no problem.
LEVELS = {Severity.FAULT: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}
UNJUDGED = "unreadable-design"
SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"


def sarif(found: Checked) -> Json:
    """One run, a result for each finding; a file that cannot be judged is an error at its first line."""
    results = [result for one in found.designs for result in _results(one)]
    driver = {"name": "tapplan", "version": __version__, "rules": _rules()}
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [{"tool": {"driver": driver}, "results": results}]}


def _rules() -> list[Json]:
    rules = [_rule(code, means, REMEDIES[code].mend) for code, means in CODES.items()]
    return [*rules, _rule(UNJUDGED, "the file cannot be read as a design", "mend what the message names")]


def _rule(code: str, means: str, mend: str) -> Json:
    return {"id": code, "shortDescription": {"text": means}, "help": {"text": mend}}


def _results(one: FileVerdict) -> list[Json]:
    results = [
        _result(UNJUDGED, "error", _told(problem), _place(one.design, problem.line or 1)) for problem in one.problems
    ]
    results += [_placed(one.design, placed) for placed in one.placed]
    return [*results, *(_accepted(one.design, placed) for placed in one.accepted)]


def _told(problem: Problem) -> str:
    return f"{problem.key}: found {problem.found}; accepted: {problem.accepted}".removeprefix(": ")


def _accepted(file: str, placed: PlacedAcceptance) -> Json:
    """A finding that the file sets apart: told as suppressed there, with its reason (SARIF 3.35)."""
    one = placed.accepted
    result = _result(one.code, LEVELS[one.severity], f"{one.where}: {one.message}", _place(file, placed.line))
    return {**result, "suppressions": [{"kind": "inSource", "justification": one.reason}]}


def _placed(file: str, one: PlacedFinding) -> Json:
    finding = one.finding
    return _result(finding.code, LEVELS[finding.severity], finding.told, _place(file, one.line))


def _place(file: str, line: int) -> Json:
    location = {"artifactLocation": {"uri": PurePath(file).as_posix()}, "region": {"startLine": line}}
    return {"physicalLocation": location}


def _result(code: str, level: str, told: str, place: Json) -> Json:
    return {"ruleId": code, "level": level, "message": {"text": told}, "locations": [place]}
