"""Thousands of random designs against ngspice, z3 and CP-SAT: `python -m tests.benchmarks.differential`.

Prints how many of each question were compared, what came out, the largest difference and what is allowed, and every
disagreement; ends with 1 where there is one. `--seed N` draws other designs, `--workers N` shares them out;
after `--minutes M`, or at Ctrl-C, it prints what has been compared so far. Some of it runs with the tests
(`tests/engines/test_differential.py`).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from tests.engines.control_asked import (
    compare_courses,
    compare_decisions,
    compare_orders,
    compare_steady,
    compare_tables,
)
from tests.engines.copper_asked import compare_copper
from tests.engines.moves_asked import compare_moves
from tests.engines.plans_asked import compare_bounds, compare_room
from tests.engines.rated_asked import compare_ratings
from tests.engines.tallied import Tally
from tests.outside.spice import NoAnswerError

CHUNK = 20
SHOWN = 40


@dataclass(frozen=True, slots=True)
class Part:
    """Some questions, and how many of their cases are drawn for each design asked for."""

    name: str
    share: float
    ask: Callable[..., None]
    decks: bool = False
    """Whether a folder for ngspice is wanted."""


PARTS = (
    Part("copper", 1, compare_copper, decks=True),
    Part("ratings", 0.1, compare_ratings, decks=True),
    Part("moves", 0.02, compare_moves, decks=True),
    Part("tables", 0.2, compare_tables),
    Part("courses", 0.06, compare_courses),
    Part("decisions", 0.2, compare_decisions),
    Part("steady", 0.02, compare_steady),
    Part("orders", 0.2, compare_orders),
    Part("bounds", 0.3, compare_bounds),
    Part("room", 0.02, compare_room),
)


def asked(part: str, seeds: range) -> Tally:
    """One part's questions about these seeds; one on which the engine gives up is counted, the others are asked."""
    tally, chosen = Tally(), next(one for one in PARTS if one.name == part)
    if not chosen.decks:
        chosen.ask(seeds, tally)
        return tally
    try:
        with TemporaryDirectory() as folder:
            chosen.ask(seeds, Path(folder), tally)
    except NoAnswerError:
        tally = Tally()
        if len(seeds) > 1:
            for seed in seeds:
                tally.add(asked(part, range(seed, seed + 1)))
        else:
            tally.of(f"{part}: no answer", "ngspice").outcomes[f"singular to the engine, seed {seeds[0]}"] += 1
    return tally


@dataclass(frozen=True, slots=True)
class Share:
    """Some seeds of one part; `through` is how far into the part they lie."""

    part: str
    seeds: range
    through: float


def shares(designs: int, seed: int) -> list[Share]:
    """Every part in shares, all parts getting on alike, so that a run that is stopped has asked something of each."""
    found, first = [], seed * 1_000_000
    for part in PARTS:
        count = max(1, round(part.share * designs))
        for begin in range(0, count, CHUNK):
            found.append(Share(part.name, range(first + begin, first + min(begin + CHUNK, count)), begin / count))
    return sorted(found, key=lambda one: one.through)


def summed(work: list[Share], workers: int, seconds: float | None) -> Tally:
    """What all shares add up to; when the time is over, or at Ctrl-C, those that are done."""
    whole, pool = Tally(), ProcessPoolExecutor(workers)
    waiting = [pool.submit(asked, one.part, one.seeds) for one in work]
    try:
        for number, done in enumerate(as_completed(waiting, seconds), 1):
            whole.add(done.result())
            print(f"\r{number} of {len(work)} shares", end="", file=sys.stderr, flush=True)
    except (KeyboardInterrupt, TimeoutError):
        pass  # what is done is told at once; shares that run are waited for at the very end
    pool.shutdown(wait=False, cancel_futures=True)
    print(file=sys.stderr)
    return whole


def main() -> None:
    """Asks, and prints the table."""
    given = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    given.add_argument("--designs", type=int, default=5000)
    given.add_argument("--seed", type=int, default=0)
    given.add_argument("--workers", type=int, default=1)
    given.add_argument("--minutes", type=float)
    given.add_argument("--part", action="append", choices=[one.name for one in PARTS])
    chosen, began = given.parse_args(), perf_counter()
    work = [one for one in shares(chosen.designs, chosen.seed) if not chosen.part or one.part in chosen.part]
    whole = summed(work, chosen.workers, chosen.minutes and chosen.minutes * 60)
    print("\n".join(whole.lines()))
    print(f"\nseed {chosen.seed}: {perf_counter() - began:.0f} s")
    apart = whole.disagreements()
    print("\n".join(apart[:SHOWN]), flush=True)
    sys.exit(1 if apart else 0)


if __name__ == "__main__":
    main()
