"""Many logs put to workers: the same figures whoever does the work, and when a worker is lost."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from tapplan.logs.form import LogForm
from tapplan.logs.sources import FileLog, logs_in
from tapplan.replay.plain import as_plain, from_plain
from tapplan.replay.region import FailedLog, Region, Site, given, runs_here
from tapplan.replay.replayed import LogRun, Running
from tapplan.replay.workers import Cluster, Cores, Done, Finished, Handed
from tests.replay.against import Both, drawn


@dataclass(frozen=True)
class Scene:
    """A folder of logs, and what one process makes of them."""

    both: Both
    logs: tuple[FileLog, ...]
    wanted: list[object]


def written(path: Path, samples: Sequence[tuple[int, object]]) -> None:
    rows = [f"{time / 1e6:.6f},{float(volts)}" for time, volts in samples]  # type: ignore[arg-type]
    path.write_text("\n".join(["time,volts", *rows]) + "\n")


def scene(folder: Path, logs: int = 6, rows: int = 400) -> Scene:
    from tests.outside import replay as outside

    chance = Random(5)
    both = drawn(chance)
    for number in range(logs):
        volts = outside._random_volts(chance, both.plain, outside.Fraction(1, 10), rows)
        now, samples = 1_700_000_000_000_000, []
        for one in volts:
            now += chance.choice((20_000, 20_000, 20_000, 30_000, 200_000))
            samples.append((now, one))
        written(folder / f"site-{number}.csv", samples)
    found = logs_in([str(folder)], LogForm())
    runs = list(runs_here(found, [both.machine], Running()))
    assert all(isinstance(run, LogRun) for run in runs)
    figures = [both.found(run) for run in runs if isinstance(run, LogRun)]
    assert sum(sum(one.changes.values()) for one in figures) > 100
    return Scene(both, found, list(figures))


@dataclass(frozen=True)
class Alone:
    """Pieces one after the other, in this process."""

    def each(self, work: Callable[[Handed], Done], pieces: Sequence[Handed]) -> Iterator[Finished[Done]]:
        for place, piece in enumerate(pieces):
            yield Finished(place, work(piece))


def region_of(both: Both, workers: object) -> Region:
    return Region(given([both.machine.table], None, None), workers)  # type: ignore[arg-type]


def figures_of(both: Both, runs: Iterator[LogRun | FailedLog]) -> list[object]:
    return [both.found(run) if isinstance(run, LogRun) else run for run in runs]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("region")


@pytest.fixture(scope="module")
def made(folder: Path) -> Scene:
    return scene(folder)


def test_processes_give_what_one_gives(made: Scene) -> None:
    runs = region_of(made.both, Cores(2)).runs([Site(log) for log in made.logs])
    assert figures_of(made.both, runs) == made.wanted


def test_a_log_whose_parts_are_run_apart_gives_what_it_gives_whole(made: Scene) -> None:
    (whole,) = logs_in([log.name for log in made.logs[:1]], LogForm(), joined=True)
    assert whole.shares(4) == ()
    one_after_other = Path(made.logs[0].name).parent / "later"
    one_after_other.mkdir()
    shift = 0
    for number, log in enumerate(made.logs):
        lines = Path(log.name).read_text().splitlines()
        rows = [line.split(",") for line in lines[1:]]
        moved = [f"{float(time) + shift:.6f},{volts}" for time, volts in rows]
        (one_after_other / f"part-{number}.csv").write_text("\n".join([lines[0], *moved]) + "\n")
        shift += 1000
    paths = [str(one_after_other / f"part-{number}.csv") for number in range(len(made.logs))]
    (log,) = logs_in(paths, LogForm(), joined=True)
    shares = log.shares(4)
    assert len(shares) == 4
    (at_once,) = runs_here([log], [made.both.machine], Running())
    (apart,) = region_of(made.both, Alone()).runs([Site(log, shares)])
    assert isinstance(at_once, LogRun)
    assert isinstance(apart, LogRun)
    assert made.both.found(apart) == made.both.found(at_once)
    assert (apart.first, apart.last, apart.step, apart.bad) == (
        at_once.first,
        at_once.last,
        at_once.step,
        at_once.bad,
    )


def test_a_log_that_fails_is_told_and_the_others_go_on(made: Scene, tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("time,volts\n")
    (failing,) = logs_in([str(bad)], LogForm())
    runs = list(region_of(made.both, Alone()).runs([Site(made.logs[0]), Site(failing), Site(made.logs[1])]))
    assert [type(run) for run in runs] == [LogRun, FailedLog, LogRun]
    assert isinstance(runs[1], FailedLog)
    assert "bad.csv" in runs[1].why


def killed_once(mark: str) -> str:
    """A piece of work that ends its own process the first time it is done."""
    path = Path(mark)
    if path.suffix == ".kill" and not path.exists():
        path.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    return mark


def test_a_process_that_is_killed_costs_no_answer(tmp_path: Path) -> None:
    pieces = [str(tmp_path / name) for name in ("a", "b", "c.kill", "d", "e")]
    done = sorted(Cores(2).each(killed_once, pieces), key=lambda one: one.place)
    assert done == [Finished(place, piece) for place, piece in enumerate(pieces)]
    assert (tmp_path / "c.kill").exists()


def test_a_cluster_that_loses_a_worker_gives_what_one_process_gives(made: Scene) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        victims = [worker.process.pid for worker in cluster.workers.values()]
        sites = [Site(log) for log in made.logs for _ in range(3)]
        found: list[object] = []
        for number, run in enumerate(region_of(made.both, Cluster(cluster.scheduler_address)).runs(sites)):
            if number == 1:
                os.kill(victims[0], signal.SIGKILL)
            found.append(made.both.found(run) if isinstance(run, LogRun) else run)
    assert found == [one for one in made.wanted for _ in range(3)]


def test_no_scheduler_is_a_clear_error() -> None:
    from tapplan.errors import UsageError

    pytest.importorskip("distributed")
    with pytest.raises(UsageError, match=re.escape('--cluster: found "tcp://127.0.0.1:9"')):
        list(Cluster("tcp://127.0.0.1:9").each(killed_once, ["a"]))


def test_a_run_is_kept_as_plain_lists_and_read_back(made: Scene) -> None:
    import json

    for run in runs_here(made.logs, [made.both.machine], Running()):
        assert isinstance(run, LogRun)
        back = from_plain(json.loads(json.dumps(as_plain(run))), [made.both.machine])
        assert as_plain(back) == as_plain(run)
        assert made.both.found(back) == made.both.found(run)
