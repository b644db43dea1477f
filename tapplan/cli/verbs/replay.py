"""The verb `replay`: logs of measured mains through the controller of a design, or of several side by side."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from time import monotonic

from tapplan.answers.replay import SideBySide, replay, spread_lines
from tapplan.cli.keeping import kept_in
from tapplan.cli.logged import form_of, log_arguments, micros_of
from tapplan.cli.opened import table_in
from tapplan.cli.options import Excludes
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, on_screen
from tapplan.cli.values import cores, span_s
from tapplan.cli.watching import KEPT, Headway, Watch, watched
from tapplan.design.fingerprint import fingerprint
from tapplan.errors import LogError, UsageError
from tapplan.logs.sources import FileLog, logs_in
from tapplan.replay.machine import Machine, machine
from tapplan.replay.region import FailedLog, Region, Site, given, runs_here
from tapplan.replay.replayed import LogRun, Running
from tapplan.replay.workers import Cluster, Cores, Workers
from tapplan.replay.zone import Zone

EXAMPLES = (
    "tapplan replay designs/ridge-dispensary.toml feeder.csv --column voltage",
    "tapplan replay designs/ridge-dispensary.toml logs/ --cores 4 --keep done.jsonl --json",
)
LAWS = (Excludes("--cluster", "--cores"),)
SHARED_BYTES = 1 << 26  # logs that are smaller together are run in this process
SHARE_BYTES = 1 << 27  # a log is cut into shares of about so much
MOST_TOLD = 5  # logs that failed, when all did


def arguments(verb: argparse.ArgumentParser) -> None:
    """The logs, how they are read, and who works."""
    verb.add_argument("logs", nargs="+", metavar="LOG", help="a CSV or Parquet file, a folder of them, or a URL")
    verb.add_argument("--max-gap", type=span_s, metavar="S", help="longer steps are gaps; left out, 3 usual steps")
    verb.add_argument("--joined", action="store_true", help="the logs are the parts of one, in this order")
    verb.add_argument(
        "--beside", action="append", metavar="DESIGN", help="another design on the same logs; repeatable"
    )
    verb.add_argument("--spread", metavar="FILE", help="write how long the mains stood where, for fit --weights")
    verb.add_argument(
        "--cores", type=cores, metavar="N", help="processes that share the logs; left out, as many as help"
    )
    verb.add_argument(
        "--cluster", metavar="ADDRESS", help="share the logs on a Dask cluster, such as tcp://host:8786"
    )
    verb.add_argument("--keep", metavar="FILE", help="keep each finished log in FILE, and go on from what it has")
    log_arguments(verb)


def answer(args: argparse.Namespace) -> Reply:
    """What the logs make the controller do."""
    names = (args.design, *(args.beside or ()))
    zone = Zone(args.zone)
    machines = tuple(machine(table_in(name), zone) for name in names)
    logs = logs_in(args.logs, form_of(args), args.joined)
    asked = SideBySide(machines, names)
    with watched(None) as watch:
        found = _Found(len(logs))
        for one in _runs(args, machines, logs, watch):
            found.take(one)
    if not found.runs:
        raise found.nothing()
    order = {log.name: place for place, log in enumerate(logs)}
    runs = sorted(found.runs, key=lambda run: order[run.name])
    told = replay(asked, runs, found.failed, stopped=found.left > 0)
    if args.spread is not None:
        write_whole(args.spread, spread_lines(told), force=args.force)
    return on_screen(told, "replay")


class _Found:
    """What has come of the logs so far."""

    def __init__(self, logs: int) -> None:
        self.left = logs
        self.runs: list[LogRun] = []
        self.failed: list[str] = []

    def take(self, one: LogRun | FailedLog) -> None:
        self.left -= 1
        if isinstance(one, LogRun):
            self.runs.append(one)
        else:
            self.failed.append(one.why)

    def nothing(self) -> LogError | UsageError:
        """Why there is no answer."""
        if not self.failed:
            return UsageError("found Ctrl-C before any log was read; accepted: more time")
        more = [f"{len(self.failed)} logs cannot be read"] if len(self.failed) > MOST_TOLD else []
        return LogError("\n".join([*self.failed[:MOST_TOLD], *more]))


def _runs(
    args: argparse.Namespace, machines: Sequence[Machine], logs: Sequence[FileLog], watch: Watch
) -> Iterator[LogRun | FailedLog]:
    """Each log, those first that are finished and kept."""
    marks = _Marks(args, machines)
    kept = kept_in(args.keep, machines)
    keys = {log.name: marks.key(log) for log in logs} if args.keep is not None else {}
    left = []
    for log in logs:
        known = kept.get(keys[log.name]) if keys else None
        if known is None:
            left.append(log)
        else:
            yield known
    for one in _worked(args, machines, left, watch):
        if isinstance(one, LogRun) and keys:
            kept.add(keys[one.name], one)
        yield one


@dataclass(frozen=True)
class _Marks:
    """What a finished log hangs on beside the log itself."""

    args: argparse.Namespace
    machines: Sequence[Machine]

    def key(self, log: FileLog) -> str:
        designs = [fingerprint(one.table.design) for one in self.machines]
        return repr((designs, self.args.max_gap, log.form, log.name, log.stands))


def _worked(
    args: argparse.Namespace, machines: Sequence[Machine], logs: Sequence[FileLog], watch: Watch
) -> Iterator[LogRun | FailedLog]:
    """The logs run here, or put to workers."""
    gap = None if args.max_gap is None else micros_of(args.max_gap)
    workers = _workers(args, logs)
    if workers is None:
        clock = _Passed(watch, logs)
        yield from runs_here(logs, machines, Running(max_gap=gap, stop=watch.stop, tell=clock.tell))
        return
    region = Region(given([one.table for one in machines], args.zone, gap), workers, _pieces(watch), watch.stop)
    yield from region.runs([_site(log) for log in logs])


def _workers(args: argparse.Namespace, logs: Sequence[FileLog]) -> Workers | None:
    """Who shares the work; None where it is done here."""
    if args.cluster is not None:
        return Cluster(args.cluster)
    count = args.cores or (os.cpu_count() or 1 if len(logs) > 1 and _bytes(logs) > SHARED_BYTES else 1)
    return Cores(count) if count > 1 else None


def _bytes(logs: Sequence[FileLog]) -> int:
    return sum(stand.bytes for log in logs for stand in log.stands)


def _site(log: FileLog) -> Site:
    return Site(log, log.shares(_bytes([log]) // SHARE_BYTES + 1))


def _pieces(watch: Watch) -> Callable[[int, int], None]:
    return lambda done, of: watch.show(Headway(done, of, f"pieces of the logs {KEPT}"))


class _Passed:
    """How fast samples pass, and how much of the files is left."""

    def __init__(self, watch: Watch, logs: Sequence[FileLog]) -> None:
        self.watch, self.logs, self.begun = watch, logs, monotonic()
        self.whole, self.before, self.last = _bytes(logs), 0, 0

    def tell(self, samples: int) -> None:
        """So many samples of the present log have passed."""
        if samples < self.last:  # another log has begun
            self.before += self.last
        self.last = samples
        samples += self.before
        rate = samples / max(monotonic() - self.begun, 1e-3)
        read = sum(log.read_bytes for log in self.logs)
        self.watch.show(
            Headway(read, self.whole, f"{samples / 1e6:,.1f} M samples, {rate / 1e6:.1f} M a second {KEPT}")
        )
