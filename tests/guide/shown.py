"""Whatever a document shows is run again: console blocks in a shell, Python blocks in an interpreter.

The blocks of one document run in order, in one folder that holds a copy of the shipped designs.

- "```console" shows whole answers, but of the caution that ends some of them only the first word: it stands in full
  in the README and in the topic `repairer`. "```console A .. B" shows the lines from the first that begins with A to
  the one before the next that begins with B, and "..." where lines are left out; either may be missing.
- "```python" shows a session with its prompts.
- A block of another kind that names a file, as "```toml mine.toml", is put there under that name.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import chdir, redirect_stdout
from dataclasses import dataclass
from doctest import DocTestParser
from io import StringIO
from itertools import takewhile
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory
from typing import Any

from tapplan.guide import NAMES
from tests.examples import ROOT

TOPICS = {name: ROOT / "tapplan" / "guide" / f"{name}.md" for name in NAMES}
README = ROOT / "README.md"

BLOCK = re.compile(r"(?<=^```)(\w+)(?: ([^\n]+))?\n(.*?)(?=^```$)", re.DOTALL | re.MULTILINE)
ASKED = re.compile(r"^\$ (.*(?:\n> .*)*)$", re.MULTILINE)
CAUTION = re.compile(r"^Caution: .*?come\s+first\.$", re.DOTALL | re.MULTILINE)
SHELL = f'tapplan() {{ "{sys.executable}" -m tapplan "$@"; }}\n'


@dataclass(frozen=True)
class Document:
    """A document, and how many columns its answers may take."""

    path: Path
    columns: int

    @property
    def text(self) -> str:
        return self.path.read_text(encoding="utf-8")

    def write_again(self) -> None:
        self.path.write_text(refreshed(self), encoding="utf-8")


DOCUMENTS = {"README": Document(README, 116)} | {name: Document(path, 80) for name, path in TOPICS.items()}


def commands(text: str) -> Iterator[str]:
    """Every command that a document shows, without its prompts."""
    for kind, _, body in BLOCK.findall(text):
        if kind == "console":
            yield from (asked.replace("\n> ", "\n") for asked in ASKED.findall(body))


def refreshed(document: Document) -> str:
    """The text with what it shows replaced by what its commands and its code give now."""
    names: dict[str, Any] = {}
    with TemporaryDirectory() as name:
        folder = Path(name)
        copytree(ROOT / "designs", folder / "designs")

        def again(block: re.Match[str]) -> str:
            kind, info, body = block.groups()
            head = kind if info is None else f"{kind} {info}"
            match kind:
                case "console":
                    answers = (answered(asked, (folder, document.columns)) for asked in ASKED.findall(body))
                    shown = (f"$ {asked}\n" + cut(answer, info) for asked, answer in answers)
                    return f"{head}\n" + "".join(shown)
                case "python":
                    return f"{head}\n" + "".join(interpreted(body, names, folder))
            if info is not None:
                (folder / info).write_text(body, encoding="utf-8")
            return block.group()

        return BLOCK.sub(again, document.text)


def answered(asked: str, where: tuple[Path, int]) -> tuple[str, str]:
    """A command as it is shown, and what it prints."""
    folder, columns = where
    done = subprocess.run(
        ["sh", "-c", SHELL + asked.replace("\n> ", "\n")],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**os.environ, "COLUMNS": str(columns), "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode in (0, 1), done.stderr
    assert not done.stderr, done.stderr
    return asked, done.stdout


def cut(answer: str, between: str | None) -> str:
    """The part of an answer that is to be shown."""
    lines = [line.rstrip() for line in CAUTION.sub("Caution: ...", answer).splitlines()]
    first, last = ("", "") if between is None else (end.strip() for end in between.split(".."))
    start = next(place for place, line in enumerate([*lines, first]) if line.startswith(first))
    kept = [*takewhile(lambda line: not last or not line.startswith(last), lines[start:])]
    assert kept or not lines, f"nothing begins with {first!r}"
    before, after = ["..."] if start else [], ["..."] if start + len(kept) < len(lines) else []
    return "".join(f"{line}\n" for line in [*before, *kept, *after])


def interpreted(body: str, names: dict[str, Any], folder: Path) -> Iterator[str]:
    """Each statement of a session and what an interpreter answers."""
    for example in DocTestParser().get_examples(body):
        first, *more = example.source.splitlines()
        answer = StringIO()
        with redirect_stdout(answer), chdir(folder):
            try:
                exec(compile(example.source, "<guide>", "single"), names)
            except Exception as error:
                answer.write(f"Traceback (most recent call last):\n    ...\n{type(error).__name__}: {error}\n")
        yield f">>> {first}\n" + "".join(f"... {line}\n" for line in more) + answer.getvalue()
