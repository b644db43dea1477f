"""`python -m tapplan`, and the console command: little else, so that Ctrl-C while the rest is loaded is caught."""

from __future__ import annotations

import gc
import sys

TYPE_CHECKING = False  # that of typing would be loaded before anything is caught
if TYPE_CHECKING:
    from typing import NoReturn

LIVING = 100_000  # objects alive at once before any are looked through for dead ones: a quick verb makes fewer


def run() -> NoReturn:
    """Loads what answers a call, answers it, and ends the process with its exit code."""
    gc.set_threshold(LIVING, *gc.get_threshold()[1:])
    try:
        from tapplan.cli.main import run as answered  # here, so that Ctrl-C is caught meanwhile

        answered()
    except KeyboardInterrupt:
        sys.stderr.write("tapplan: interrupted\n")
        sys.exit(130)
    finally:
        gc.freeze()  # the process ends: looking for dead objects once more would be a sixth of a quick verb's time


if __name__ == "__main__":
    run()
