"""What goes wrong outside the design: output that cannot be written, files laid out otherwise, tapplan itself."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tapplan.cli import main as command
from tapplan.cli.verbs import table
from tapplan.design.starter import STARTER
from tapplan.errors import visible
from tests.examples import ROOT

EXAMPLE = str(ROOT / "designs" / "ridge-dispensary.toml")


def shell(line: str) -> subprocess.CompletedProcess[str]:
    """A line of a POSIX shell in which `tapplan` is the present one; the exit code is the command's own."""
    full = f'tapplan() {{ "{sys.executable}" -m tapplan "$@"; }}; {line}'
    return subprocess.run(["bash", "-c", full], capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("options", ["", "--json"])
def test_output_that_cannot_be_written_is_no_verdict(options: str) -> None:
    done = shell(f"tapplan table {EXAMPLE} {options} > /dev/full")
    assert done.returncode == 2
    assert done.stderr == "standard output: cannot be written (No space left on device)\n"


def test_a_closed_standard_output_is_no_verdict() -> None:
    done = shell(f"tapplan table {EXAMPLE} >&-")
    assert done.returncode == 2
    assert done.stderr == "standard output: found it closed; accepted: a terminal, a pipe or a file\n"


def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    done = shell(f"tapplan at {EXAMPLE} --sweep 100:300:0.05 | head -n 1; exit ${{PIPESTATUS[0]}}")
    assert (done.returncode, done.stderr) == (0, "")


def test_a_failure_of_tapplan_itself_is_told_apart_from_a_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("by\x1b[31mnought")

    monkeypatch.setattr(table, "answer", broken)
    monkeypatch.setattr(sys, "argv", ["tapplan", "table", EXAMPLE])
    monkeypatch.delenv(command.TRACE, raising=False)
    with pytest.raises(SystemExit) as ended:
        command.run()
    assert ended.value.code == 70
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "ZeroDivisionError: by\\x1b[31mnought" in told
    assert "TAPPLAN_TRACE=1" in told
    monkeypatch.setenv(command.TRACE, "1")
    with pytest.raises(ZeroDivisionError):
        command.run()


def test_an_answer_does_not_replace_the_file_it_was_made_from(tmp_path: Path) -> None:
    file, other = tmp_path / "stage.toml", tmp_path / "again.toml"
    file.write_text(STARTER)
    other.symlink_to(file)
    for output in (file, other):
        done = shell(f"tapplan table {file} -o {output} --force")
        assert done.returncode == 2
        assert "the very file that is read; accepted: another name" in done.stderr
    assert file.read_text() == STARTER


def test_bands_are_written_in_the_layout_of_the_file(tmp_path: Path) -> None:
    """Its mark in front, its line ends, its mode, and every name it is known by."""
    file, link = tmp_path / "stage.toml", tmp_path / "link.toml"
    file.write_bytes(b"\xef\xbb\xbf" + STARTER.replace("\n", "\r\n").encode())
    file.chmod(0o640)
    os.link(file, link)
    done = shell(f"tapplan bands {file} --write")
    assert done.returncode == 0, done.stderr
    raw = file.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf# A tapplan design")
    assert raw.count(b"\r\n") == raw.count(b"\n") > 60
    assert file.stat().st_mode & 0o777 == 0o640
    assert link.read_bytes() == raw
    assert link.samefile(file)
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith(".")] == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a file away")
def test_a_file_of_somebody_else_stays_theirs(tmp_path: Path) -> None:
    file = tmp_path / "stage.toml"
    file.write_text(STARTER)
    os.chown(file, 12345, 12346)
    assert shell(f"tapplan bands {file} --write").returncode == 0
    assert (file.stat().st_uid, file.stat().st_gid) == (12345, 12346)


def test_a_name_as_long_as_the_system_allows(tmp_path: Path) -> None:
    file = tmp_path / ("x" * 250 + ".toml")
    assert shell(f"tapplan new {file}").returncode == 0
    assert file.read_text() == STARTER


def sheet(tmp_path: Path) -> Path:
    file = tmp_path / "sheet.csv"
    assert shell(f"tapplan bench {EXAMPLE} -o {file}").returncode == 0
    return file


def test_a_sheet_with_line_ends_of_an_old_system(tmp_path: Path) -> None:
    file = sheet(tmp_path)
    plain = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    file.write_bytes(file.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r"))
    again = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    assert (again.returncode, again.stdout, again.stderr) == (plain.returncode, plain.stdout, plain.stderr)


def test_a_cell_beyond_all_measure(tmp_path: Path) -> None:
    file = sheet(tmp_path)
    file.write_text(file.read_text() + '"' + "x" * 140_000 + '",,\n')
    done = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    assert done.returncode == 2
    assert "found a row that cannot be read (field larger than field limit (131072))" in done.stderr
    assert "accepted: cells between commas or semicolons" in done.stderr


@pytest.mark.parametrize(
    ("call", "accepted"),
    [
        ("isolate {design} --sheet {none}", "a sheet that `tapplan bench` wrote, filled in, that can be read"),
        ("isolate {design} --priors {none}", "a file in TOML that can be read, of faults and how often they are met"),
        ("table {none}", "a design file in TOML that can be read"),
    ],
)
def test_a_missing_file_is_called_what_it_should_be(call: str, accepted: str, tmp_path: Path) -> None:
    done = shell("tapplan " + call.format(design=EXAMPLE, none=tmp_path / "none"))
    assert done.returncode == 2
    assert f"found no such file; accepted: {accepted}" in done.stderr


def test_names_that_would_move_the_terminal_are_shown_as_escapes(tmp_path: Path) -> None:
    file = tmp_path / "a\u202eb\x1b[31m.toml"
    done = subprocess.run(
        [sys.executable, "-m", "tapplan", "table", str(file)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "a\\u202eb\\x1b[31m.toml" in done.stderr
    assert visible("a line\nand\tmore\u2066") == "a line\nand\\tmore\\u2066"


@pytest.mark.parametrize("name", ["\\u001b[31mKA", "KA\\u0007", "\\u202eKA", "K\\u2066A", "\\u0000"])
def test_control_characters_are_no_part_of_a_name(name: str, tmp_path: Path) -> None:
    file = tmp_path / "stage.toml"
    file.write_text(STARTER.replace('name = "KA"', f'name = "{name}"'))
    done = shell(f"tapplan check {file}")
    assert done.returncode == 2
    assert "relay[1].name" in done.stderr
    assert not set(done.stderr) & {"\x1b", "\x07", "\u202e", "\u2066", "\x00"}
