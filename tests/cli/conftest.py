"""What tests of the command share: a call of it in this process."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

import pytest

from tapplan.cli.main import main


class Call:
    """One call of the command: its exit code and what it wrote."""

    def __init__(self, capsys: pytest.CaptureFixture[str], arguments: Sequence[str]) -> None:
        try:
            self.code = main(list(arguments))
        except SystemExit as stop:  # argparse's own way out
            self.code = int(stop.code or 0)
        captured = capsys.readouterr()
        self.out, self.err = captured.out, captured.err

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Call]:
    monkeypatch.delenv("COLUMNS", raising=False)
    return lambda *arguments: Call(capsys, [str(argument) for argument in arguments])
