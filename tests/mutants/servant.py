"""A pytest plugin that judges mutants in forked children of a process that has collected the tests.

Two ways. Warm: the code of the mutated function is put into the live function, all caches are emptied, and the tests
run in a child of the process that has imported them; this costs milliseconds. It cannot mutate what runs while
modules are imported, nor what a test's module worked out then, nor a process that a test starts. Cold: the mutated
file stands in a copy of the tree, and a child of a process that has imported general libraries, but nothing of
tapplan, imports and collects anew.
"""

import contextlib
import functools
import gc
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings

REQUESTS = "TAPPLAN_MUTANTS_REQUESTS"
ANSWERS = "TAPPLAN_MUTANTS_ANSWERS"

NOT_WARM = "not warm"
_MEMORY = 6 << 30
_EXAMPLES = 40  # of a property; a fault that needs more counts as not found
_EARLY = "ignore:Module already imported:pytest.PytestAssertRewriteWarning"
_WORDS = ("-q", "-s", "-W", _EARLY, "-p", "no:cacheprovider", "-p", "no:xdist")


@dataclass(frozen=True, slots=True)
class Job:
    """A file's text and the tests to ask, with the processor seconds that each may take, until `cap_s` is spent."""

    file: str
    text: str
    tests: Sequence[tuple[str, float]]
    cap_s: float


def load_settings() -> None:
    """Property tests as in CI, but a failing case is not made smaller: that it fails is all that is asked."""
    settings.register_profile(
        "mutants",
        deadline=None,
        derandomize=True,
        max_examples=_EXAMPLES,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    settings.load_profile("mutants")


@dataclass(slots=True, eq=False)  # pytest keeps its plugins in a set
class Judge:
    """Runs some of the tests of a session until one fails, in a child of its own; tells by `tell`."""

    limits: dict[str, float]
    cap_s: float
    tell: Callable[[str], None]
    _began: float | None = None

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.tell(f"killed {report.nodeid}")
            os._exit(1)

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        if self._began is None:
            self._began = _spent()
        if _spent() - self._began > self.cap_s:
            self.tell("lived capped")
            os._exit(0)
        self.tell(f"at {item.nodeid}")
        signal.setitimer(signal.ITIMER_PROF, self.limits.get(item.nodeid, 20.0))
        try:
            return (yield)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.tell(f"killed {report.nodeid} (import)")
            os._exit(1)


def _spent() -> float:
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


class Server:
    """Takes jobs as lines of JSON from a pipe and answers each with a line."""

    def __init__(self, judge: Callable[[Job, Callable[[str], None]], None]) -> None:
        self._judge = judge

    def serve(self, first: str = "ready") -> None:
        with os.fdopen(int(os.environ[REQUESTS])) as requests, os.fdopen(int(os.environ[ANSWERS]), "w") as answers:
            print(first, file=answers, flush=True)
            for line in requests:
                print(self._answer(Job(**json.loads(line))), file=answers, flush=True)

    def _answer(self, job: Job) -> str:
        reading, writing = os.pipe()
        child = os.fork()
        if not child:
            os.close(reading)
            os.setsid()
            if "TAPPLAN_MUTANTS_LOUD" not in os.environ:
                _silence()
            resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
            try:
                self._judge(job, lambda said: _tell(writing, said))
            except BaseException as error:  # else the child would go on as a second server
                _tell(writing, f"failed {error!r}".replace("\n", " "))
            os._exit(0)
        os.close(writing)
        last = _heard(reading, time.monotonic() + 60 + 40 * job.cap_s)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return last


def _heard(reading: int, until: float) -> str:
    """What a child said last, in its own words or, if it ended without a word or too late, in ours."""
    import select

    said, rest = "", b""
    while (left := until - time.monotonic()) > 0 and select.select([reading], [], [], left)[0]:
        some = os.read(reading, 65536)
        if not some:
            break
        *whole, rest = (rest + some).split(b"\n")
        if whole:
            said = whole[-1].decode()
        if said.startswith(("killed", "lived", NOT_WARM)):  # a process that a test started may keep the pipe open
            break
    os.close(reading)
    return said.replace("at ", "timed out ", 1) if said.startswith("at ") else said or "said nothing"


def _tell(writing: int, said: str) -> None:
    os.write(writing, said.encode() + b"\n")


def _silence() -> None:
    nothing = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nothing, number)


# -- warm


class Warm:
    """Serves from within a session that has collected every test."""

    def pytest_configure(self, config: pytest.Config) -> None:
        load_settings()

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        functions = _functions()
        caches = [found for found in gc.get_objects() if isinstance(found, functools._lru_cache_wrapper)]
        gc.collect()
        gc.freeze()
        Server(lambda job, tell: _judge_warm(job, tell, items, functions, caches)).serve(json.dumps(list(items)))
        return True


def _functions() -> dict[tuple[str, str, int], list[FunctionType]]:
    found: dict[tuple[str, str, int], list[FunctionType]] = {}
    for function in gc.get_objects():
        if isinstance(function, FunctionType):
            code = function.__code__
            found.setdefault((code.co_filename, code.co_qualname, code.co_firstlineno), []).append(function)
    return found


def _judge_warm(
    job: Job, tell: Callable[[str], None], items: dict[str, Any], functions: Any, caches: list[Any]
) -> None:
    if job.text and not _put(job, functions):
        tell(NOT_WARM)
        os._exit(0)
    for cache in caches:
        cache.cache_clear()
    wanted = [items[test] for test, _ in job.tests if test in items]
    if not wanted:
        tell("lived")
        os._exit(0)
    config = wanted[0].config
    folder = Path(tempfile.mkdtemp(prefix="judged-"))
    config._tmp_path_factory._basetemp = folder
    config.pluginmanager.register(Judge(dict(job.tests), job.cap_s, tell))
    try:
        for item, following in zip(wanted, [*wanted[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    tell("lived")


def _put(job: Job, functions: Any) -> bool:
    """Put the code of the changed function into the live ones; whether that was possible."""
    path = str(Path(job.file).resolve())
    old = _codes(compile(Path(path).read_text(encoding="utf-8"), path, "exec"))
    new = _codes(compile(job.text, path, "exec"))
    if old.keys() != new.keys():
        return False
    changed = [key for key in old if old[key] != new[key]]
    if not changed or any(not functions.get((path, *key)) for key in changed if "<" not in key[0]):
        return False
    for key in changed:
        for function in functions.get((path, *key), ()):
            if len(function.__code__.co_freevars) != len(new[key].co_freevars):
                return False
            function.__code__ = new[key]
    return True


def _codes(module: CodeType) -> dict[tuple[str, int], CodeType]:
    """The code of every function of a module, those inside functions too; and of the module and its classes."""
    found: dict[tuple[str, int], CodeType] = {("module", 0): module.replace(co_consts=_plain(module))}
    waiting = [part for part in module.co_consts if isinstance(part, CodeType)]
    while waiting:
        code = waiting.pop()
        inner = [part for part in code.co_consts if isinstance(part, CodeType)]
        is_class = not code.co_flags & 2  # no fast locals
        found[code.co_qualname, code.co_firstlineno] = code.replace(co_consts=_plain(code)) if is_class else code
        waiting += inner
    return found


def _plain(code: CodeType) -> tuple[object, ...]:
    return tuple(part for part in code.co_consts if not isinstance(part, CodeType))


# -- cold


def _judge_cold(job: Job, tell: Callable[[str], None]) -> None:
    os.environ["PYTHONPATH"] = os.getcwd()
    folder = tempfile.mkdtemp(prefix="judged-")
    limits = dict(job.tests)
    file = Path(job.file)
    if job.text:
        file.write_text(job.text, encoding="utf-8")
    files = {test.partition("::")[0] for test in limits}
    chosen = Chosen(limits)
    try:
        arguments = [*_WORDS, "-x", f"--basetemp={folder}", *sorted(files)]
        ended = pytest.main(arguments, plugins=[chosen, Judge(limits, job.cap_s, tell)])
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    tell("lived" if ended in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED) else f"failed {ended!r}")


class Chosen:
    """Leaves of what was collected the tests that are asked, in their order."""

    def __init__(self, limits: dict[str, float]) -> None:
        self._order = {test: number for number, test in enumerate(limits)}
        self._files = {test for test in limits if "::" not in test}  # all of their tests

    def pytest_configure(self, config: pytest.Config) -> None:
        load_settings()

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        wanted = [
            item for item in items if item.nodeid in self._order or item.nodeid.partition("::")[0] in self._files
        ]
        items[:] = sorted(wanted, key=lambda item: self._order.get(item.nodeid, -1))


def serve_cold() -> None:
    """Import what is not tapplan's, and serve."""
    import hypothesis.strategies
    import networkx
    import numpy
    import pydantic
    import rich.console
    import rich.table
    import sympy
    import tomlkit

    del hypothesis, networkx, numpy, pydantic, rich, sympy, tomlkit
    gc.freeze()
    Server(_judge_cold).serve()


def serve_warm(folders: Sequence[str]) -> None:
    """Collect the tests in these folders, and serve."""
    os.environ["PYTHONPATH"] = os.getcwd()
    arguments = [*_WORDS, *folders]
    sys.exit(pytest.main(arguments, plugins=[Warm()]))


if __name__ == "__main__":
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    if sys.argv[1] == "cold":
        serve_cold()
    else:
        serve_warm(sys.argv[2:])
