"""How long a call takes from a cold start, beside `import numpy`: `python -m tests.benchmarks.start`.

A wheel is built and put into a fresh environment, with bytecode, as a user's is. Whole processes then run in turn,
a round at a time: numpy, and each call after it. A figure is the median over the rounds of a call's time by that of
numpy in the same round, so that a busy machine weighs on both; user + sys is the processor's time, which others on
the machine change less. `--rounds 60` for more rounds; `--instructions` counts those of the program under valgrind
as well (the system's, such as mapping libraries into memory, are not among them).
"""

from __future__ import annotations

import argparse
import os
import re
import resource
import subprocess
import tempfile
import venv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import perf_counter

from rich.console import Console
from rich.table import Table

from tests.examples import ROOT
from tests.packaged import wheel_in

RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
CALLS = (
    *(("at", RIDGE, "190"), ("table", RIDGE), ("check", RIDGE), ("states", RIDGE)),
    *(("at", RIDGE, "190", "--json"), ("table", RIDGE, "--json")),
    *(("check", RIDGE, "--json"), ("states", RIDGE, "--json")),
)
ROUNDS = 26
COUNTED = re.compile(rb"Collected : (\d+)")


@dataclass(frozen=True, slots=True)
class Taken:
    """What one process took: seconds by the clock, and seconds of the processor, user + sys."""

    wall: float
    processor: float


def environment(folder: Path) -> Path:
    """A fresh environment with a wheel of this tree in it, all of it compiled; its folder of commands."""
    wheel = wheel_in(folder)
    venv.create(folder / "venv", with_pip=True, symlinks=True)
    commands = folder / "venv" / "bin"
    own = (str(commands / "python"), "-m")
    subprocess.run([*own, "pip", "--quiet", "--disable-pip-version-check", "install", str(wheel)], check=True)
    subprocess.run([*own, "compileall", "-q", str(folder / "venv" / "lib")], check=False)
    return commands


def taken(command: Sequence[str]) -> Taken:
    """One run of a command, to its end."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    wall = perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Taken(wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def instructions(command: Sequence[str]) -> int:
    """How many instructions a command takes, all its threads together, counted by valgrind."""
    counted = ("valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null")
    done = subprocess.run([*counted, *command], capture_output=True, check=True)
    found = COUNTED.search(done.stderr)
    assert found is not None
    return int(found[1])


def rounds(commands: Sequence[Sequence[str]], count: int) -> list[list[Taken]]:
    """What each command took, round by round, after one round that warms the disk."""
    for command in commands:
        taken(command)
    return [[taken(command) for command in commands] for _ in range(count)]


def main() -> None:
    """The table."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--rounds", type=int, default=ROUNDS)
    asked.add_argument("--instructions", action="store_true")
    args = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        commands = environment(Path(folder))
        numpy = [str(commands / "python"), "-c", "import numpy"]
        calls = [[str(commands / "tapplan"), *call] for call in CALLS]
        told = rounds([numpy, *calls], args.rounds)
        counts = [instructions(command) for command in (numpy, *calls)] if args.instructions else []
    Console(width=100).print(_drawn(told, counts))


def _drawn(told: list[list[Taken]], counts: list[int]) -> Table:
    table = Table(
        "call", "wall (ms)", "by numpy", "user + sys (ms)", "by numpy", *(["instructions"] if counts else [])
    )
    for place, name in enumerate(["import numpy", *(_name(call) for call in CALLS)]):
        wall, processor = ([getattr(row[place], kind) for row in told] for kind in ("wall", "processor"))
        beside = ([getattr(row[0], kind) for row in told] for kind in ("wall", "processor"))
        by_wall, by_processor = (
            median(own / other for own, other in zip(mine, others, strict=True))
            for mine, others in zip((wall, processor), beside, strict=True)
        )
        row = [
            name,
            f"{median(wall) * 1000:.0f}",
            f"{by_wall:.2f}",
            f"{median(processor) * 1000:.0f}",
            f"{by_processor:.2f}",
        ]
        table.add_row(*row, *([f"{counts[place] / counts[0]:.2f}"] if counts else []))
    return table


def _name(call: Sequence[str]) -> str:
    return " ".join(os.path.basename(word) if "/" in word else word for word in call)


if __name__ == "__main__":
    main()
