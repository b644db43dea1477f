"""How fast logs are replayed, side by side with the alternatives: `python -m tests.benchmarks.replay`.

[--samples N] of the traces, 100 million when left out; [--folder DIR] keeps the region that is written there, and
[--region N] is how many samples it has. Nothing is asserted but that all engines agree; best of several runs,
which take turns where they are compared. What two cores can do at all is shown by numpy.sum in the same blocks.
"""

from __future__ import annotations

import argparse
import itertools
import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf, pi
from pathlib import Path
from typing import TypeVar

import numpy as np
from rich.console import Console
from rich.table import Table

from tapplan.control.table import control_table
from tapplan.design.file import load, parse
from tapplan.design.model import Design
from tapplan.replay.cells import ReadingCells
from tapplan.replay.course import CarriedOn, Followed, Pieces, Stretch, followed, joined
from tapplan.replay.engines import NUMPY, compiled
from tapplan.replay.machine import machine
from tests.examples import ROOT

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
NONE = np.zeros(0, np.int64)
SECOND = 1_000_000
HEAD = 4096  # samples of a block that are followed again
SUM, SUM_2, LOOP = "numpy.sum", "numpy.sum, in blocks on 2 cores", "plain loop"
ONE, TWO = "compiled", "compiled, in blocks on 2 cores"
Item = TypeVar("Item")


def best(action: Callable[[], object], times: int = 3) -> float:
    """Seconds of the quickest run."""
    return quickest({"": action}, times)[""]


def quickest(actions: Mapping[str, Callable[[], object]], times: int = 9) -> dict[str, float]:
    """Seconds of the quickest run of each; they take turns, so that what else the machine does falls on all."""
    taken = dict.fromkeys(actions, inf)
    for _ in range(times):
        for name, action in actions.items():
            start = time.perf_counter()
            action()
            taken[name] = min(taken[name], time.perf_counter() - start)
    return taken


@dataclass(frozen=True)
class Trace:
    """A made-up mains at one sample a second."""

    name: str
    stretch: Stretch


def traces(samples: int) -> list[Trace]:
    """Quiet mains that stay within one band; mains with the day's swing, drift and noise; white noise of 15 V."""
    rng, times = np.random.default_rng(1), np.arange(samples, dtype=np.int64) * SECOND
    quiet, smooth, rough = (np.empty(samples, np.float32) for _ in range(3))
    for begin in range(0, samples, 10_000_000):
        part = slice(begin, min(begin + 10_000_000, samples))
        count = part.stop - begin
        seconds = np.arange(begin, part.stop)
        noise = rng.normal(size=count)
        day = np.sin(2 * pi * seconds / 86400)
        knots = rng.normal(size=count // 900 + 2) * 6
        drift = np.interp(np.arange(count), np.arange(len(knots)) * 900, knots)
        quiet[part] = np.round(228 + 3 * day + 0.5 * noise, 1)
        smooth[part] = np.round(228 + 8 * day + drift + 0.3 * noise, 1)
        rough[part] = np.round(228 + 15 * noise, 1)
    named = zip(("quiet", "smooth", "rough"), (quiet, smooth, rough), strict=True)
    return [Trace(name, Stretch(times, volts, NONE)) for name, volts in named]


def plain_loop(cells: ReadingCells, stretch: Stretch) -> int:
    """The obvious way: a list, one sample after the other; without times, so for designs without a confirmation."""
    begins, answers = cells.begins.tolist(), cells.answers.tolist()
    standing, count = cells.away, 0
    keeps = [[(low, high) for low, high in _kept(begins[s], answers[s], s)] for s in range(len(answers))]
    low, high = inf, -inf
    for volts in stretch.readings[:-1].tolist():  # the last only ends the one before
        if low <= volts < high:
            continue
        line = begins[standing]
        cell = 0
        while line[cell + 1] <= volts:
            cell += 1
        new = answers[standing][cell]
        if new != standing:
            count += standing != cells.away or count > 0
            standing = new
        low, high = next(((a, b) for a, b in keeps[standing] if a <= volts < b), (inf, -inf))
    return count


def _kept(begins: list[float], answers: list[int], standing: int) -> list[tuple[float, float]]:
    return [
        (begins[cell], begins[cell + 1])
        for cell in range(len(begins) - 1)
        if answers[cell] == standing and begins[cell] < inf
    ]


def shared(work: Callable[[Stretch], Item], parts: Sequence[Stretch], cores: int) -> list[Item]:
    """What comes of each part; threads take the next one when they are done, so that all end at about one time."""
    waiting, done = iter(range(len(parts))), dict[int, Item]()

    def some() -> None:
        for place in waiting:
            done[place] = work(parts[place])

    others = [threading.Thread(target=some) for _ in range(cores - 1)]
    for one in others:
        one.start()
    some()
    for one in others:
        one.join()
    if len(done) < len(parts):
        raise RuntimeError("a thread failed; what it said stands above")
    return [done[place] for place in range(len(parts))]


def blocks(stretch: Stretch, cores: int) -> list[Stretch]:
    """A stretch in parts that grow smaller, each a share of what is left, down to a hundredth of the whole.

    None is so short that nothing would come after its head.
    """
    last = len(stretch.times) - 1
    edges = [0]
    while edges[-1] < last:
        end = edges[-1] + max((last - edges[-1]) // (2 * cores), last // 100, 2 * HEAD)
        edges.append(end if end + 2 * HEAD < last else last)
    return [part_of(stretch, begin, end) for begin, end in itertools.pairwise(edges)]


def part_of(stretch: Stretch, begin: int, end: int) -> Stretch:
    """From one sample to another, both included."""
    return Stretch(stretch.times[begin : end + 1], stretch.readings[begin : end + 1], NONE)


@dataclass(frozen=True)
class Guess:
    """A block from switch-on: its first samples, where they lead, and the others."""

    block: Stretch
    head: Stretch
    middle: CarriedOn
    tail: Followed


def guess(cells: ReadingCells, block: Stretch) -> Guess:
    """The course of a block as if nothing had come before it."""
    engine, at = compiled().course, min(HEAD, len(block.times) - 1)
    head = part_of(block, 0, at)
    middle = followed(engine, cells, head, CarriedOn()).carried
    return Guess(block, head, middle, followed(engine, cells, part_of(block, at, len(block.times) - 1), middle))


def by_blocks(cells: ReadingCells, stretch: Stretch, cores: int) -> Followed:
    """The stretch in blocks, each followed from switch-on by a thread, and joined to what one run gives."""
    engine, carried, found = compiled().course, CarriedOn(), list[Pieces]()
    for known in shared(lambda block: guess(cells, block), blocks(stretch, cores), cores):
        real = followed(engine, cells, known.head, carried)
        if real.carried == known.middle:
            found += [real.pieces, known.tail.pieces]
            carried = known.tail.carried
        else:
            whole = followed(engine, cells, known.block, carried)
            found.append(whole.pieces)
            carried = whole.carried
    return Followed(joined(found), carried)


def changes(pieces: Pieces) -> int:
    """How often the standing changes."""
    return int(np.count_nonzero(np.diff(pieces.standings)))


def kernels(shown: Table, samples: int) -> None:
    """The course alone: plain loop, numpy, compiled, compiled on two cores; with and without a confirmation."""
    text = RIDGE.read_text(encoding="utf-8")
    confirmed = text.replace("[sensing]", "[sensing]\nconfirm_ms = 3000", 1) if "confirm_ms" not in text else text
    designs = {"": load(str(RIDGE)), ", 3 s confirmed": parse(confirmed, "confirmed")}
    for trace in traces(samples):
        for name, design in designs.items():
            _course(shown, trace, name, design)


def _course(shown: Table, trace: Trace, name: str, design: Design) -> None:
    cells = machine(control_table(design)).cells(Fraction(1), np.dtype(np.float32))
    count = len(trace.stretch.times)
    short = part_of(trace.stretch, 0, min(count, 3_000_000) - 1)
    medium = part_of(trace.stretch, 0, min(count, 20_000_000 if trace.name != "rough" else 1_000_000) - 1)
    engine = compiled().course
    whole = followed(engine, cells, trace.stretch, CarriedOn())
    assert changes(by_blocks(cells, trace.stretch, 2).pieces) == changes(whole.pieces)
    loop = best(lambda: plain_loop(cells, short)) / len(short.times)
    numpy = best(lambda: followed(NUMPY.course, cells, medium, CarriedOn())) / len(medium.times)
    runs = {
        SUM: lambda: trace.stretch.readings.sum(),
        SUM_2: lambda: shared(lambda block: block.readings.sum(), blocks(trace.stretch, 2), 2),
        ONE: lambda: followed(engine, cells, trace.stretch, CarriedOn()),
        TWO: lambda: by_blocks(cells, trace.stretch, 2),
    }
    each = {told: seconds / count for told, seconds in quickest(runs, 3 if trace.name == "rough" else 9).items()}
    if not name:
        assert plain_loop(cells, short) == changes(followed(NUMPY.course, cells, short, CarriedOn()).pieces)
    lone = {SUM_2: SUM, TWO: ONE}
    rows = {SUM: each[SUM], SUM_2: each[SUM_2], LOOP: loop, "numpy": numpy, **each}
    for told, taken in rows.items():
        scaled = f"{each[lone[told]] / taken:.2f}" if told in lone else ""
        shown.add_row(
            f"{trace.name}{name}: {told}", rate(1, taken), f"{loop / taken:.0f}", f"{each[SUM] / taken:.4f}", scaled
        )


def rate(count: float, seconds: float) -> str:
    """Millions of samples a second."""
    return f"{count / seconds / 1e6:,.0f}"


# From files


def written(folder: Path, sites: int, days: float, step: str = "1") -> None:
    """A made region as Parquet: evenings on a weak feeder, a seed a site."""
    words = ["trace", "evening", "--design", str(RIDGE), "--around", "222", "--swing", "14", "--step", step]
    words += ["--days", f"{days:g}", "--sites", str(sites), "--to", "parquet", "-o", str(folder)]
    subprocess.run([sys.executable, "-m", "tapplan", *words], check=True, stdout=subprocess.DEVNULL)


def files(shown: Table, folder: Path) -> None:
    """A year of seconds: the columns read by the columnar library, the log read, the log replayed; then as CSV."""
    import pyarrow.parquet as pq

    from tapplan.logs.form import LogForm
    from tapplan.logs.sources import logs_in
    from tapplan.replay.engines import Engines
    from tapplan.replay.replayed import Running, replayed

    written(folder, 1, 365)
    (path,) = folder.iterdir()
    found, how = machine(control_table(load(str(RIDGE)))), Running(engines=Engines(compiled()))

    def columns(names: list[str]) -> int:
        with pq.ParquetFile(path, memory_map=True) as file:
            return sum(batch.num_rows for batch in file.iter_batches(batch_size=1 << 20, columns=names))

    count = columns(["volts"])
    (log,) = logs_in([str(path)], LogForm())
    taken = quickest(
        {
            "volts by pyarrow": lambda: columns(["volts"]),
            "time and volts by pyarrow": lambda: columns(["time", "volts"]),
            "read as a log": lambda: sum(len(chunk.times) for chunk in log.chunks()),
            "replayed, histograms and all": lambda: replayed(log, [found], how),
        }
    )
    alone, both = taken["volts by pyarrow"], taken["time and volts by pyarrow"]
    for told, seconds in taken.items():
        shown.add_row(f"Parquet: {told}", rate(count, seconds), f"{alone / seconds:.2f}", f"{both / seconds:.2f}")


def asked(folder: Path, *words: str) -> subprocess.Popen[str]:
    """A region replayed by a process of its own."""
    call = [sys.executable, "-m", "tapplan", "replay", str(RIDGE), str(folder), "--json", *words]
    return subprocess.Popen(call, stdout=subprocess.PIPE, text=True)


def region(shown: Table, folder: Path, samples: int) -> None:
    """Many sites on one core, on two, and on a cluster that loses a worker on its way: one answer."""
    if not folder.exists() or not any(folder.iterdir()):
        sites = 32
        start = time.perf_counter()
        written(folder, sites, samples / sites / 86400)
        shown.add_row("region: made and written", rate(samples, time.perf_counter() - start), "", "")
    answers, first = {}, inf
    for told, words in (("one core", ["--cores", "1"]), ("two cores", ["--cores", "2"])):
        start = time.perf_counter()
        out, _ = asked(folder, *words).communicate()
        taken, answers[told] = time.perf_counter() - start, out
        first = min(first, taken)
        shown.add_row(f"region: {told}", rate(samples, taken), f"{first / taken:.2f}", most_memory())
    start = time.perf_counter()
    answers["cluster"] = with_a_lost_worker(folder)
    taken = time.perf_counter() - start
    shown.add_row(
        "region: Dask, one of two workers killed", rate(samples, taken), f"{first / taken:.2f}", most_memory()
    )
    assert len(set(answers.values())) == 1, "the answers differ"


def with_a_lost_worker(folder: Path) -> str:
    """The answer of a cluster of two workers, of which one is killed while it works."""
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as cluster:
        victim = next(iter(cluster.workers.values())).process.pid
        running = asked(folder, "--cluster", cluster.scheduler_address)
        threading.Timer(8, lambda: os.kill(victim, signal.SIGKILL)).start()
        out, _ = running.communicate()
        return out


def most_memory() -> str:
    """The most memory that a process started here has had."""
    return f"{resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:,.0f} MiB"


def main() -> None:
    """The table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=float, default=1e8)
    parser.add_argument("--region", type=float, default=0)
    parser.add_argument("--folder", default="")
    args = parser.parse_args()
    shown = Table(title=f"Replay, millions of samples a second; {os.cpu_count()} cores", title_justify="left")
    for head in ("what", "M samples/s", "to the first", "to numpy.sum / pyarrow / memory", "to one core"):
        shown.add_column(head, justify="left" if head == "what" else "right")
    with tempfile.TemporaryDirectory() as made:
        if args.samples:
            kernels(shown, int(args.samples))
            files(shown, Path(made) / "year")
        if args.region:
            region(shown, Path(args.folder or made) / "region", int(args.region))
    Console(width=120).print(shown)


if __name__ == "__main__":
    main()
