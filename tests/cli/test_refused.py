"""What the system refuses is told as it is: which file and why, and standard output only where it is that."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tapplan.cli import main as command
from tapplan.cli.verbs import table
from tests.examples import ROOT

EXAMPLE = str(ROOT / "designs" / "ridge-dispensary.toml")


def refused(number: int, *names: str) -> OSError:
    return OSError(number, os.strerror(number), *names)


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[[OSError], tuple[int, str]]:
    """The exit code and the message of a call in whose midst the system refuses something."""

    def of(error: OSError) -> tuple[int, str]:
        def stopped(_: object) -> None:
            raise error

        monkeypatch.setattr(table, "answer", stopped)
        monkeypatch.setattr(sys, "argv", ["tapplan", "table", EXAMPLE])
        with pytest.raises(SystemExit) as ended:
            command.run()
        answer = capsys.readouterr()
        assert answer.out == ""
        return int(str(ended.value.code)), answer.err

    monkeypatch.delenv(command.TRACE, raising=False)
    return of


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (refused(errno.EACCES, "/etc/hidden"), "/etc/hidden: cannot be used (Permission denied)\n"),
        (refused(errno.ENOSPC, "a\x1b[31m.csv"), "a\\x1b[31m.csv: cannot be used (No space left on device)\n"),
        (refused(errno.EPIPE, "a pipe"), "a pipe: cannot be used (Broken pipe)\n"),
        (
            refused(errno.ENOMEM),
            "tapplan: the system refused what was needed (Cannot allocate memory), for no file by name; "
            "TAPPLAN_TRACE=1 shows where\n",
        ),
        (
            BrokenPipeError("a worker is gone"),
            "tapplan: the system refused what was needed (a worker is gone), for no file by name; "
            "TAPPLAN_TRACE=1 shows where\n",
        ),
    ],
)
def test_a_refusal_names_its_own_file(
    error: OSError, message: str, told: Callable[[OSError], tuple[int, str]]
) -> None:
    assert told(error) == (2, message)


def test_a_refusal_is_let_through_where_it_is_asked_for(
    told: Callable[[OSError], tuple[int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(command.TRACE, "1")
    with pytest.raises(PermissionError):
        told(refused(errno.EACCES, "/etc/hidden"))


# A stage whose table is drawn while the system refuses another file, with standard output as the shell gives it.
WITHIN = """
import sys
from tapplan.cli import main
from tapplan.cli.verbs import table

def stopped(args):
    sys.stdout.write("begun" * {times})
    raise PermissionError(13, "Permission denied", "core.csv")

table.answer = stopped
sys.argv = ["tapplan", "table", {design!r}]
main.run()
"""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize(
    ("times", "message"),
    [
        (1, "core.csv: cannot be used (Permission denied)\n"),  # the text is still held back
        (100_000, "standard output: cannot be written (No space left on device)\n"),
    ],
)
def test_whichever_was_refused_first_is_told(times: int, message: str) -> None:
    code = WITHIN.format(times=times, design=EXAMPLE)
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", code], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.stderr.startswith(message)
