"""What the README shows is what the command prints: every console block is run and compared.

`python -m tests.test_readme` writes the present output into the README.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory

from tapplan.cli.verbs import VERBS
from tests.examples import ROOT

README = ROOT / "README.md"
BLOCK = re.compile(r"```console\n\$ (tapplan [^\n]+)\n(.*?)```\n", re.DOTALL)
WIDTH = "116"


def output(command: str, folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**os.environ, "COLUMNS": WIDTH, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


def refreshed(text: str) -> str:
    """The text with every block's command run again, in order, in one folder that has the shipped designs."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        copytree(ROOT / "designs", folder / "designs")
        return BLOCK.sub(lambda block: f"```console\n$ {block.group(1)}\n{output(block.group(1), folder)}```\n", text)


def test_every_console_block_shows_the_real_output() -> None:
    text = README.read_text(encoding="utf-8")
    assert len(BLOCK.findall(text)) >= 7
    assert refreshed(text) == text


def test_the_readme_lists_every_verb() -> None:
    text = README.read_text(encoding="utf-8")
    assert [verb for verb in VERBS if f"| `{verb}` |" not in text] == []


def test_exactly_two_set_up_commands_and_ci_runs_the_second() -> None:
    commands = re.findall(r"```sh\n(.*?)\n```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert len(commands) == 2
    assert "test_command=$(" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


if __name__ == "__main__":
    README.write_text(refreshed(README.read_text(encoding="utf-8")), encoding="utf-8")
