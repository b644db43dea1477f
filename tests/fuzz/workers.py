"""Cases run in processes of their own: limited in memory, renewed now and then, watched for what ends them."""

from __future__ import annotations

import contextlib
import faulthandler
import os
import pickle
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.fuzz.cases import CALLS, Maker
from tests.fuzz.corpus import shelf
from tests.fuzz.count import Tally
from tests.fuzz.judge import Fault, faults
from tests.fuzz.trials import Case, Outcome, Trials

IN_MEMORY = "/dev/shm"  # noqa: S108 - only where a folder of our own is made
MOST_MORE = 1 << 30  # bytes that a call may take beside what its process has
BATCH = 5_000  # cases of one process: what earlier ones leave in caches goes with it
BATCH_CPU_S = 120
DUMB_S = 900  # no sign of life for so long: it hangs in a library
KEPT_NEW = 0.25  # how often a file that made a new message is damaged again


@dataclass(frozen=True, slots=True)
class Run:
    """What is asked of a run: which kinds, how many cases, from which seed, for how long."""

    kinds: tuple[str, ...]
    inputs: int
    seed: int
    seconds: float = float("inf")


def run(asked: Run, tell: Callable[[Tally], None] = lambda tally: None) -> Tally:
    """The counts of a run, a process for each batch."""
    _warm_up(asked)
    total, begun, number = Tally(), time.monotonic(), 0
    while total.inputs < asked.inputs and time.monotonic() - begun < asked.seconds:
        total.add(_batch(asked, number, min(BATCH, asked.inputs - total.inputs)))
        number += 1
        tell(total)
    return total


def _warm_up(asked: Run) -> None:
    """Loads what calls load late, so that no process has to do it anew."""
    place = place_for_files()
    with contextlib.chdir(place):
        trials = Trials()
        for kind in asked.kinds:
            for call in CALLS.get(kind, ()):
                if call and "--ask" not in call:
                    trials.run(Case(kind, tuple(call.split()), shelf().files.get(kind, (b"",))[0]))
    shutil.rmtree(place, ignore_errors=True)


def place_for_files() -> str:
    """A folder in memory where there is one."""
    return tempfile.mkdtemp(prefix="fuzz-", dir=IN_MEMORY if os.access(IN_MEMORY, os.W_OK) else None)


def _batch(asked: Run, number: int, count: int) -> Tally:
    """So many cases in a process of their own; one that ends it is a fault."""
    place = place_for_files()
    told = Path(f"{place}.told")
    sys.stdout.flush()
    child = os.fork()
    if not child:
        _work(asked, number, count, place)  # never returns
    _, status = os.waitpid(child, 0)
    try:
        tally: Tally = pickle.loads(told.read_bytes())  # noqa: S301 - written by our own child
    except (OSError, EOFError, pickle.UnpicklingError):
        tally = Tally()
    if status:
        case = Case.of_plain(Path(f"{place}.case").read_text("utf-8"))
        ended = f"signal {os.WTERMSIG(status)}" if os.WIFSIGNALED(status) else f"code {os.WEXITSTATUS(status)}"
        tally.take(case, Outcome(None, "", ""), [Fault("ended", f"{case.verb} {case.kind} by {ended}")])
    shutil.rmtree(place, ignore_errors=True)
    for one in (told, Path(f"{place}.case")):
        one.unlink(missing_ok=True)
    return tally


def _work(asked: Run, number: int, count: int, place: str) -> None:
    """The child: runs its cases, leaves its counts in a file, and ends."""
    tally, case_file = Tally(), f"{place}.case"
    code = 99
    with contextlib.suppress(BaseException):
        os.chdir(place)
        _limit()
        chance, trials, fresh = Random(f"{asked.seed} {asked.kinds} {number}"), Trials(), []
        maker = Maker(asked.kinds)
        while tally.inputs < count and time.process_time() < BATCH_CPU_S:
            case = _next(maker, chance, fresh)
            Path(case_file).write_text(case.plain(), "utf-8")
            faulthandler.dump_traceback_later(DUMB_S, exit=True)
            outcome = trials.run(case)
            if tally.take(case, outcome, list(faults(case, outcome))) and case.kind != "words":
                fresh.append(case)
        code = 0
    tally.worst_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    Path(f"{place}.told").write_bytes(pickle.dumps(tally))
    os._exit(code)


def _next(maker: Maker, chance: Random, fresh: list[Case]) -> Case:
    """Another case, at times one that changes a file further that was told of in new words."""
    from tests.fuzz.damage import damaged

    if fresh and chance.random() < KEPT_NEW:
        one = chance.choice(fresh[-200:])
        if one.kind not in ("reading", "frame") and len(one.content) < 20_000:
            return Case(one.kind, one.call, damaged(chance, one.kind, one.content))
    return maker.case(chance)


def _limit() -> None:
    """No more memory than a call may take; and the usual ways to end."""
    pages = int(Path("/proc/self/statm").read_text().split()[0]) if Path("/proc/self/statm").exists() else 0
    if pages:
        most = pages * resource.getpagesize() + MOST_MORE
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    signal.signal(signal.SIGINT, signal.SIG_DFL)
