"""Finished logs kept in a file, one a line, so that a run that was ended goes on where it was."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tapplan.errors import OutputError, UsageError, escaped
from tapplan.replay.machine import Machine
from tapplan.replay.plain import as_plain, from_plain
from tapplan.replay.replayed import LogRun
from tapplan.sealed import add_line, sealed, unsealed

KIND = "tapplan replay"
ACCEPTED = "a file that replay --keep wrote, or a new name"


@dataclass
class Kept:
    """The runs in a file by what they hang on; a line is added with each that is finished."""

    path: str | None
    machines: Sequence[Machine]
    known: dict[str, Any] = field(default_factory=dict)

    def get(self, key: str) -> LogRun | None:
        """The run of this key; None where there is none.

        Raises:
            UsageError: the line is damaged.
        """
        if key not in self.known:
            return None
        try:
            return from_plain(self.known[key], self.machines)
        except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError):
            said = "found a damaged line; accepted: a file that --keep wrote"
            raise UsageError(f"{escaped(self.path or '')}: {said}") from None

    def add(self, key: str, run: LogRun) -> None:
        """Keeps a run; one that was stopped early is not.

        Raises:
            OutputError: the file cannot be written; what it had is still there.
        """
        if self.path is None or run.partial:
            return
        try:
            add_line(self.path, sealed({"kind": KIND, "key": key, "run": as_plain(run)}))
        except OSError as error:
            raise _unwritable(self.path, error) from None


def kept_in(path: str | None, machines: Sequence[Machine]) -> Kept:
    """What a file has of earlier runs; a last line that was cut short is put away.

    Raises:
        UsageError: the file is there and holds something else.
        OutputError: what was cut short cannot be put away.
    """
    kept = Kept(path, machines)
    if path is None or not os.path.exists(path):
        return kept
    if not os.path.isfile(path):
        raise UsageError(f"{escaped(path)}: found a folder, pipe or device; accepted: {ACCEPTED}")
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise UsageError(f"{escaped(path)}: cannot be read ({error.strerror or error})") from None
    whole = content[: content.rfind(b"\n") + 1]
    for number, line in enumerate(whole.split(b"\n")[:-1], 1):
        try:
            found = unsealed(line)
            if found["kind"] != KIND:
                raise ValueError
            kept.known[str(found["key"])] = found["run"]
        except (KeyError, ValueError):
            raise UsageError(f"{escaped(path)}:{number}: found no finished log; accepted: {ACCEPTED}") from None
    if content and not whole:
        raise UsageError(f"{escaped(path)}: found no finished log; accepted: {ACCEPTED}")
    if len(whole) < len(content):
        try:
            os.truncate(path, len(whole))
        except OSError as error:
            raise _unwritable(path, error) from None
    return kept


def _unwritable(path: str, error: OSError) -> OutputError:
    return OutputError(f"{escaped(path)}: cannot be written ({error.strerror or error})")
