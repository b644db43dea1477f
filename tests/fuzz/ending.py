"""A process that ends without a word at a chosen step of writing, as a killed one does.

`python -m tests.fuzz.ending STEP tapplan-words...` runs the command and ends it, as kill -9 does, before its STEP-th
call that opens, writes, forces, moves or takes away a file; with a step past the last it ends well.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from tapplan import wholefile
from tapplan.cli.main import main

WATCHED = (
    (os, "fsync"), (os, "open"), (os, "truncate"), (os, "unlink"), (os, "rename"), (os, "replace"), (os, "chmod"),
    (os, "mkdir"), (os, "rmdir"), (os, "posix_fallocate"), (shutil, "copyfileobj"), (shutil, "rmtree"),
    (shutil, "copyfile"), (Path, "replace"), (Path, "rename"), (Path, "unlink"), (Path, "chmod"), (Path, "mkdir"),
    (Path, "write_bytes"), (wholefile, "_lock"), (wholefile, "_exchanged"), (wholefile, "_dress"),
)  # fmt: skip
DEAD = 86  # how the process ends


class Steps:
    """Counts the calls that change files and ends the process before one of them."""

    def __init__(self, last: int) -> None:
        self.last, self.passed = last, 0

    def watched(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """The same call, counted."""

        def counted(*given: Any, **named: Any) -> Any:
            self.passed += 1
            if self.passed == self.last:
                os._exit(DEAD)
            return call(*given, **named)

        return counted


def run(last: int, words: Sequence[str]) -> int:
    """The command in this process, ended before its step of this number."""
    steps = Steps(last)
    for owner, name in WATCHED:
        if hasattr(owner, name):
            setattr(owner, name, steps.watched(getattr(owner, name)))
    return main(words)


if __name__ == "__main__":
    sys.exit(run(int(sys.argv[1]), sys.argv[2:]))
