"""A pytest plugin that writes down which test executes which line of tapplan.

It is loaded by `python -m tests.mutants --map`. Each worker writes a data file of coverage, where every line has the
tests that came over it as its contexts, and a list of tests with their seconds of processor time. Lines that only a
process started by a test comes over are not seen.
"""

import json
import os
import signal
import time
from collections.abc import Generator
from pathlib import Path

import pytest
from coverage import Coverage
from hypothesis import settings

FOLDER = "TAPPLAN_MAP_FOLDER"
COLLECTED = "collected"

_LONGEST_S = 240  # a test that takes longer could judge no mutant
_EXAMPLES = 12  # of a property: enough to see where it goes


class Tracer:
    """Coverage of one pytest process, with the name of the running test as its context."""

    def __init__(self, folder: Path) -> None:
        worker = os.environ.get("PYTEST_XDIST_WORKER", "alone")
        self._times = folder / f"times.{worker}"
        self._coverage = Coverage(data_file=str(folder / f"lines.{worker}"), source=[str(Path("tapplan").resolve())])
        self._coverage.start()
        self._coverage.switch_context(COLLECTED)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        self._coverage.switch_context(item.nodeid)
        signal.alarm(_LONGEST_S)
        began = time.process_time()
        try:
            return (yield)
        finally:
            signal.alarm(0)
            self._note(item.nodeid, time.process_time() - began + _of_children())
            self._coverage.switch_context(COLLECTED)

    def pytest_sessionfinish(self) -> None:
        self._coverage.stop()
        self._coverage.save()

    def _note(self, test: str, seconds: float) -> None:
        with self._times.open("a", encoding="utf-8") as file:
            file.write(json.dumps([test, seconds]) + "\n")


def pytest_configure(config: pytest.Config) -> None:
    """Start tracing in the process that runs tests: a worker, or the only one."""
    signal.signal(signal.SIGALRM, _too_long)
    settings.register_profile("map", deadline=None, derandomize=True, database=None, max_examples=_EXAMPLES)
    settings.load_profile("map")
    if hasattr(config, "workerinput") or not config.getoption("numprocesses", default=None):
        config.pluginmanager.register(Tracer(Path(os.environ[FOLDER])), "tapplan-tracer")


def _too_long(_number: int, _frame: object) -> None:
    raise TimeoutError("longer than a test may take here")


_spent = 0.0


def _of_children() -> float:
    global _spent
    before, now = _spent, os.times()
    _spent = now.children_user + now.children_system
    return _spent - before
