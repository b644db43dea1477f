"""Damaged inputs, a seeded sample of those of `python -m tests.fuzz`: answered or refused as promised."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from tests.fuzz.cases import CALLS, SHARES, case_of
from tests.fuzz.corpus import shelf
from tests.fuzz.count import Tally
from tests.fuzz.judge import faults
from tests.fuzz.trials import Case, Outcome, Trials

# How many of each kind; about as much work for each.
INPUTS = {
    "design": 500, "request": 400, "frame": 60, "log": 100, "parquet": 80, "sheet": 300, "session": 400,
    "weights": 800, "priors": 500, "learn": 800, "search": 60, "runs": 60, "reading": 600, "answers": 5,
    "words": 80,
}  # fmt: skip
LEAST_SHARE = 0.08  # accepted of each kind, and refused: else a sample would prove nothing


@pytest.fixture(scope="module")
def trials(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Trials]:
    """Calls made in a folder with a sound file of each kind."""
    before = Path.cwd()
    os.chdir(tmp_path_factory.mktemp("fuzz"))
    yield Trials()
    os.chdir(before)


def test_every_kind_of_file_is_damaged_and_every_verb_called() -> None:
    assert set(INPUTS) == set(SHARES) == set(CALLS)
    assert set(shelf().files) <= set(SHARES)


@pytest.mark.parametrize("kind", [kind for kind in CALLS if kind not in ("words", "reading", "answers")])
def test_the_files_that_are_damaged_are_sound_before(kind: str, trials: Trials) -> None:
    """Else every one of their changes would be refused for a reason that has nothing to do with it."""
    for content in shelf().files[kind]:
        call = next(iter(CALLS[kind])).replace("--learn {learn}", "--learn {learn} --json").split()
        outcome = trials.run(Case(kind, tuple(call), content))
        assert outcome.raised == ""
        assert outcome.code in (0, 1), outcome.err


@pytest.mark.parametrize("kind", INPUTS)
def test_what_is_damaged_is_answered_or_refused_as_promised(kind: str, trials: Trials) -> None:
    chance, tally = Random(f"sample of {kind}"), Tally()
    for _ in range(INPUTS[kind]):
        case = case_of(kind, chance)
        outcome = trials.run(case)
        tally.take(case, outcome, list(faults(case, outcome)))
    assert dict(tally.faults) == {}, {mark: case.plain() for mark, case in tally.examples.items()}
    line = tally.kinds[kind]
    least = 0.0 if kind == "answers" else LEAST_SHARE  # a dialogue goes on whatever it is told
    assert line.inputs == INPUTS[kind]
    assert line.accepted >= line.inputs * least
    assert line.refused >= line.inputs * least
    assert line.accepted + line.refused == line.inputs
    assert kind == "answers" or len(line.messages) >= 2


SOUND = Case("design", ("table", "{design}", "--json"), b"")


@pytest.mark.parametrize(
    ("outcome", "rule"),
    [
        (Outcome(None, "", "", raised="KeyError: 1", place="x.py:1"), "raised"),
        (Outcome(70, "", "tapplan: failed\n"), "code"),
        (Outcome(2, "", ""), "silent"),
        (Outcome(2, "", "given.toml:1: found 1; accepted: 2"), "unended"),
        (Outcome(2, "", "found 1; accepted: 2\n"), "unnamed"),
        (Outcome(2, "", "given.toml: bad\n"), "shape"),
        (Outcome(2, "", "given.toml:1: found \x1b[31m; accepted: 2\n"), "raw"),
        (Outcome(2, "", "given.toml:1: found a\nzzz-injected; accepted: 2\n"), "injected"),
        (Outcome(2, "", "given.toml:1: found Decimal('1'); accepted: 2\n"), "inside"),
        (Outcome(2, "", f"given.toml:1: found {'x' * 5000}; accepted: 2\n"), "long"),
        (Outcome(2, "answer", "given.toml:1: found 1; accepted: 2\n"), "both"),
        (Outcome(0, '{"verb": "table", "design": "a", "version": "1", "x": NaN}', ""), "json"),
        (Outcome(0, '{"verb": "table"}', ""), "json"),
        (Outcome(0, '{"verb": "table", "design": "a", "version": "1"}', "note\n"), "murmur"),
    ],
)
def test_what_breaks_a_promise_is_seen(
    outcome: Outcome, rule: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert rule in {one.rule for one in faults(SOUND, outcome)}


def test_files_left_behind_and_half_written_are_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / ".tapplan-x.new").write_text("")
    call = Case("design", ("table", "{design}", "-o", "answer.out"), b"")
    refused = Outcome(2, "", "given.toml:1: found 1; accepted: 2\n", written=b"half")
    assert {one.rule for one in faults(call, refused)} == {"left", "half"}
    assert {one.rule for one in faults(call, Outcome(0, "wrote answer.out\n", ""))} == {"unwritten"}


def test_a_call_that_takes_too_long_is_ended(trials: Trials, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.fuzz.trials.MOST_CPU_S", 0.05)

    def turning(_: object) -> None:
        while True:
            pass

    monkeypatch.setattr("tapplan.cli.verbs.table.answer", turning)
    outcome = trials.run(Case("design", ("table", "{design}"), shelf().first("design")))
    assert outcome.raised.startswith("Hung: more than")
