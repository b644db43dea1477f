"""The laws over many designs: `python -m tests.loop --designs 2000`, `python -m tests.loop --doors 2000`.

Prints how far it has come, and at the end a table: what was counted, and for each kind of bound how near the courses
came to it. Exits with 1 when a law is broken; the designs concerned are kept in a directory that it names.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random
from tempfile import mkdtemp
from time import perf_counter

from tests.loop import test_closed_loop as closed
from tests.loop import test_doors as doors
from tests.loop.courses import Tally
from tests.outside.designs import Drawn

BATCH = 40  # designs whose C is compiled at once


def designs(count: int, seed: int, folder: Path, tally: Tally) -> int:
    """Every law of the closed loop on each design; how many times one is broken."""
    laws: tuple[Callable[[Drawn, Random, Tally], None], ...] = (closed.promises, closed.flights, closed.steps)
    broken, begun, batch = 0, perf_counter(), list[Drawn]()
    for number, one in enumerate(closed.drawn(count, seed, 0.25)):
        for law in laws:
            try:
                law(one, Random(f"{seed}/{number}"), tally)
            except AssertionError as error:
                broken += 1
                kept = folder / f"{law.__name__}_{number}.toml"
                kept.write_text(one.text)
                print(f"{kept}: {str(error)[:400]}")
        batch.append(one)
        if len(batch) == BATCH or number == count - 1:
            closed.headers(batch, folder, Random(f"{seed}/{number}"), tally)
            batch = []
        progress(number + 1, count, begun)
    return broken


def progress(done: int, count: int, begun: float) -> None:
    """Every hundredth, how far and how long."""
    if done % max(1, count // 100) == 0:
        sys.stderr.write(f"{done} of {count} designs, {perf_counter() - begun:.0f} s\n")


def main() -> int:
    """One of the two counts, or both."""
    parser = argparse.ArgumentParser(prog="python -m tests.loop", description=__doc__)
    parser.add_argument("--designs", type=int, default=0, metavar="N", help="the closed loop on N designs")
    parser.add_argument("--doors", type=int, default=0, metavar="N", help="every door on N designs")
    parser.add_argument("--seed", type=int, default=20)
    asked = parser.parse_args()
    folder, tally, broken = Path(mkdtemp(prefix="loop-")), Tally(strict=False), 0
    if asked.designs:
        broken += designs(asked.designs, asked.seed, folder, tally)
    begun = perf_counter()
    for done in doors.every_door(asked.doors, asked.seed, folder, tally) if asked.doors else ():
        progress(done, asked.doors, begun)
    broken += sum(number for name, number in tally.counts.items() if name.startswith("BEATEN"))
    print("\n".join([*tally.lines(), f"{broken:>9,d}  laws broken"]))
    return int(broken > 0)


if __name__ == "__main__":
    sys.exit(main())
