"""How fast logs are replayed, side by side with the alternatives: `python -m tests.benchmarks.replay`.

[--samples N] of the traces, 100 million when left out; [--folder DIR] keeps the region that is written there, and
[--region N] is how many samples it has. Nothing is asserted but that all engines agree; best of several runs.
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
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from math import inf, pi
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from tapplan.control.table import control_table
from tapplan.design.file import load, parse
from tapplan.design.model import Design
from tapplan.replay.cells import ReadingCells
from tapplan.replay.course import CarriedOn, Followed, Pieces, Stretch, followed
from tapplan.replay.engines import NUMPY, compiled
from tapplan.replay.machine import machine
from tests.examples import ROOT

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
NONE = np.zeros(0, np.int64)
SECOND = 1_000_000
BLOCKS = 8


def best(action: Callable[[], object], times: int = 3) -> float:
    """Seconds of the quickest run."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return min(taken)


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


def by_blocks(cells: ReadingCells, stretch: Stretch, cores: int) -> Followed:
    """The stretch in blocks, each followed from switch-on by a thread, and joined to what one run gives."""
    engine = compiled().course
    edges = np.linspace(0, len(stretch.times) - 1, BLOCKS + 1).astype(np.int64)
    parts = [
        Stretch(stretch.times[begin : end + 1], stretch.readings[begin : end + 1], NONE)
        for begin, end in itertools.pairwise(edges)
    ]
    with ThreadPoolExecutor(cores) as pool:
        known = list(pool.map(lambda part: followed(engine, cells, part, CarriedOn()), parts))
    carried, found = CarriedOn(), []
    for part, guess in zip(parts, known, strict=True):
        head = Stretch(part.times[:4097], part.readings[:4097], NONE)
        real, guessed = followed(engine, cells, head, carried), followed(engine, cells, head, CarriedOn())
        if real.carried != guessed.carried:
            whole = followed(engine, cells, part, carried)
            found.append(whole.pieces)
            carried = whole.carried
            continue
        late = guess.pieces.times >= head.times[-1]
        found += [
            real.pieces,
            Pieces(*(getattr(guess.pieces, name)[late] for name in ("times", "standings", "outside"))),
        ]
        carried = guess.carried
    joined = Pieces(
        *(np.concatenate([getattr(one, name) for one in found]) for name in ("times", "standings", "outside"))
    )
    return Followed(joined, carried)


def changes(pieces: Pieces) -> int:
    """How often the standing changes."""
    return int(np.count_nonzero(np.diff(pieces.standings)))


def kernels(shown: Table, samples: int) -> None:
    """The course alone: plain loop, numpy, compiled, compiled on two cores; with and without a confirmation."""
    text = RIDGE.read_text(encoding="utf-8")
    confirmed = text.replace("[sensing]", "[sensing]\nconfirm_ms = 3000", 1) if "confirm_ms" not in text else text
    designs = {"": load(str(RIDGE)), ", 3 s confirmed": parse(confirmed, "confirmed")}
    for trace in traces(samples):
        total = best(lambda trace=trace: trace.stretch.readings.sum())
        count = len(trace.stretch.times)
        shown.add_row(f"{trace.name}: numpy.sum", rate(count, total), "", "1")
        for name, design in designs.items():
            _course(shown, trace, name, design, total)


def _course(shown: Table, trace: Trace, name: str, design: Design, total: float) -> None:
    found = machine(control_table(design))
    cells = found.cells(Fraction(1), np.dtype(np.float32))
    count = len(trace.stretch.times)
    few = min(count, 3_000_000)
    short = Stretch(trace.stretch.times[:few], trace.stretch.readings[:few], NONE)
    loop = best(lambda: plain_loop(cells, short)) / few
    engine = compiled().course
    whole = followed(engine, cells, trace.stretch, CarriedOn())
    if not name:
        assert plain_loop(cells, short) == changes(followed(NUMPY.course, cells, short, CarriedOn()).pieces)
        shown.add_row(f"{trace.name}: plain loop", rate(1, loop), "1", f"{total / count / loop:.4f}")
    medium = min(count, 20_000_000 if trace.name != "rough" else 1_000_000)
    part = Stretch(trace.stretch.times[:medium], trace.stretch.readings[:medium], NONE)
    runs = {
        "numpy": (lambda: followed(NUMPY.course, cells, part, CarriedOn()), medium),
        "compiled": (lambda: followed(engine, cells, trace.stretch, CarriedOn()), count),
        "compiled, in blocks on 2 cores": (lambda: by_blocks(cells, trace.stretch, 2), count),
    }
    assert changes(by_blocks(cells, trace.stretch, 2).pieces) == changes(whole.pieces)
    for told, (run, size) in runs.items():
        taken = best(run) / size
        ratio = f"{total / count / taken:.2f}"
        shown.add_row(f"{trace.name}{name}: {told}", rate(1, taken), f"{loop / taken:.0f}", ratio)


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
    alone = best(lambda: columns(["volts"]))
    both = best(lambda: columns(["time", "volts"]))
    read = best(lambda: sum(len(chunk.times) for chunk in log.chunks()))
    whole = best(lambda: replayed(log, [found], how))
    for told, taken in (
        ("Parquet: volts by pyarrow", alone),
        ("Parquet: time and volts by pyarrow", both),
        ("Parquet: read as a log", read),
        ("Parquet: replayed, histograms and all", whole),
    ):
        shown.add_row(told, rate(count, taken), f"{alone / taken:.2f}", f"{both / taken:.2f}")


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
    for head in ("what", "M samples/s", "to the first", "to numpy.sum / pyarrow / memory"):
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
