"""Logs for the report: run as the sites of `replay`, and the one with the most time outside seen once more."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from time import monotonic

from tapplan.answers.replay import SideBySide, replay
from tapplan.cli.logged import form_of, micros_of
from tapplan.cli.watching import KEPT, Headway, Watch, watched
from tapplan.control.table import ControlTable
from tapplan.errors import LogError, UsageError, escaped
from tapplan.logs.sources import FileLog, logs_in
from tapplan.pages.measured import Measured
from tapplan.replay.machine import machine
from tapplan.replay.region import FailedLog, runs_here
from tapplan.replay.replayed import LogRun, Running
from tapplan.replay.view import viewed
from tapplan.replay.zone import Zone

MOST_TOLD = 5  # logs that failed, when all did


def measured(args: argparse.Namespace, tables: Sequence[ControlTable]) -> Measured:
    """The logs of a call through its design and, where there is one, the revision it is compared with.

    Raises:
        LogError: no log can be read.
        UsageError: it was stopped before any log was read.
    """
    machines = tuple(machine(one, Zone(args.zone)) for one in tables)
    logs = logs_in(args.log, form_of(args))
    gap = None if args.max_gap is None else micros_of(args.max_gap)
    with watched(None) as watch:
        found = tuple(runs_here(logs, machines, Running(max_gap=gap, stop=watch.stop, tell=_told(watch, logs))))
        runs = [one for one in found if isinstance(one, LogRun)]
        failed = [one.why for one in found if isinstance(one, FailedLog)]
        if not runs:
            raise _nothing(failed)
        worst = max(runs, key=lambda run: run.tallies[0].outside)
        log = next(one for one in logs if one.name == worst.name)
        view = viewed(log, machines[0], worst, tell=_told(watch, [log]))
    names = tuple(escaped(name) for name in (args.design, args.compare) if name is not None)
    answer = replay(SideBySide(machines, names), runs, failed, stopped=len(found) < len(logs))
    return Measured(answer, machines[0], view, worst.name, counted=args.step is not None)


def _told(watch: Watch, logs: Sequence[FileLog]) -> Callable[[int], None]:
    """How far the logs are."""
    begun, whole = monotonic(), sum(stand.bytes for log in logs for stand in log.stands)

    def tell(samples: int) -> None:
        rate = samples / max(monotonic() - begun, 1e-3)
        read = sum(log.read_bytes for log in logs)
        watch.show(Headway(read, whole, f"{samples / 1e6:,.1f} M samples, {rate / 1e6:.1f} M a second {KEPT}"))

    return tell


def _nothing(failed: Sequence[str]) -> LogError | UsageError:
    """Why there is no answer."""
    if not failed:
        return UsageError("found Ctrl-C before any log was read; accepted: more time")
    more = [f"{len(failed)} logs cannot be read"] if len(failed) > MOST_TOLD else []
    return LogError("\n".join([*failed[:MOST_TOLD], *more]))
