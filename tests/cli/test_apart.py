"""What a call writes is kept apart from what it reads, whatever the names; nothing is worked out before."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from tapplan.cli.apart import LOGS, OWN, READ_ONE, READ_SEVERAL, WRITTEN, is_same
from tapplan.cli.arguments import parser
from tapplan.cli.main import main
from tapplan.cli.verbs import replay as replaying
from tapplan.design.starter import STARTER

ROWS = "time,volts\n2024-01-01T00:00:00Z,230\n2024-01-01T00:00:10Z,231\n"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a design, a copy of it, logs and a session, in which calls are made."""
    monkeypatch.chdir(tmp_path)
    for name in ("stage.toml", "older.toml"):
        (tmp_path / name).write_text(STARTER)
    (tmp_path / "logs" / "deep").mkdir(parents=True)
    for name in ("one.csv", "deep/two.csv", "deep/three.csv"):
        (tmp_path / "logs" / name).write_text(ROWS)
    os.link(tmp_path / "stage.toml", tmp_path / "hard.toml")
    (tmp_path / "link").symlink_to("logs")
    return tmp_path


READ, FOLDER = "the very file that is read", "a file in the folder of logs that is read"


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ("table stage.toml -o ./stage.toml", f"-o ./stage.toml, {READ}"),
        ("table none.toml -o none.toml", f"-o none.toml, {READ}"),
        ("bands stage.toml -o hard.toml", f"-o hard.toml, {READ}"),
        ("bands stage.toml --write --order safest -o older.toml", ""),
        ("compare older.toml stage.toml -o hard.toml", f"-o hard.toml, {READ}"),
        ("trace quiet --design stage.toml --to csv -o hard.toml", f"-o hard.toml, {READ}"),
        ("replay stage.toml logs -o logs/one.csv", f"-o logs/one.csv, {FOLDER}"),
        ("replay stage.toml logs -o link/deep/two.csv", f"-o link/deep/two.csv, {FOLDER}"),
        ("replay stage.toml link -o logs/deep/two.csv", f"-o logs/deep/two.csv, {FOLDER}"),
        ("replay stage.toml logs/*.csv -o logs/one.csv", f"-o logs/one.csv, {READ}"),
        ("replay stage.toml logs/d* -o logs/deep/two.csv", f"-o logs/deep/two.csv, {FOLDER}"),
        ("replay stage.toml logs --spread hard.toml", f"--spread hard.toml, {READ}"),
        ("replay stage.toml logs --spread logs/one.csv", f"--spread logs/one.csv, {FOLDER}"),
        ("replay stage.toml logs --keep stage.toml", f"--keep stage.toml, {READ}"),
        ("replay stage.toml logs -o a --spread a", "-o a, the file of --spread"),
        ("replay stage.toml logs -o a --keep ./a", "-o a, the file of --keep"),
        ("replay stage.toml logs --spread a --keep a", "--spread a, the file of --keep"),
        ("replay stage.toml logs --beside older.toml -o older.toml", f"-o older.toml, {READ}"),
        ("report stage.toml --log logs/one.csv -o logs/one.csv", f"-o logs/one.csv, {READ}"),
        ("fit stage.toml --log logs -o logs/one.csv", f"-o logs/one.csv, {FOLDER}"),
        ("isolate stage.toml --ask --save hard.toml", f"--save hard.toml, {READ}"),
        ("isolate stage.toml --ask --save a -o ./a", "-o ./a, the file of the session"),
        ("isolate stage.toml --resume a -o a", "-o a, the file of the session"),
    ],
)
def test_a_call_writes_no_file_that_it_reads_and_none_twice(call: str, said: str, place: Path, capsys: Any) -> None:
    before = {one: one.read_bytes() for one in place.rglob("*") if one.is_file()}
    if not said:
        assert main([*call.split(), "--force"]) == 0
        return
    for more in ([], ["--force"]):
        assert main([*call.split(), *more]) == 2
        assert capsys.readouterr().err == f"found {said}; accepted: another name\n"
    assert {one: one.read_bytes() for one in place.rglob("*") if one.is_file()} == before


def test_a_new_file_beside_the_logs_is_none_of_them(place: Path) -> None:
    assert main(["replay", "stage.toml", "logs", "-o", "logs/answer.json", "--json"]) == 0
    assert (place / "logs" / "answer.json").exists()


def test_what_stands_in_the_way_is_told_before_the_work(place: Path, monkeypatch: Any, capsys: Any) -> None:
    def worked(_: object) -> None:
        raise AssertionError("it was worked out first")

    monkeypatch.setattr(replaying, "answer", worked)
    for option in ("-o", "--spread"):
        assert main(["replay", "stage.toml", "logs", option, "older.toml"]) == 2
        assert "found a file of that name; it is kept unless --force" in capsys.readouterr().err
        assert main(["replay", "stage.toml", "logs", option, "none/a"]) == 2
        assert "cannot be written (No such file or directory)" in capsys.readouterr().err


def test_one_file_has_many_names(place: Path) -> None:
    assert is_same("stage.toml", "hard.toml")
    assert is_same("logs/one.csv", "link/../logs/one.csv")
    assert is_same("none", "./none")
    assert not is_same("stage.toml", "older.toml")
    assert not is_same("stage.toml", "none")


def test_every_argument_that_names_a_file_is_known() -> None:
    """By the words that stand for files in --help; a new one must be entered as read or as written."""
    (verbs,) = parser("0")._subparsers._group_actions  # type: ignore[union-attr]
    assert isinstance(verbs.choices, dict)
    named = {
        one.dest
        for verb in verbs.choices.values()
        for one in verb._actions
        if one.metavar in ("FILE", "DESIGN", "OLD", "NEW", "LOG", "DIR", "DIRECTORY", "PATH")
    }
    assert named == {*READ_ONE, *READ_SEVERAL, *LOGS, *OWN, *WRITTEN}
