"""Calls made in this process, each within a time, and what came of them."""

from __future__ import annotations

import base64
import io
import json
import os
import shutil
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from types import FrameType

from tapplan.bench.filled import load_plain, load_sheet
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.priors import load_priors
from tapplan.bench.readings import reading_of
from tapplan.bench.session import load_session
from tapplan.cli.main import main
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load, load_request, parse
from tapplan.errors import TapplanError, visible
from tapplan.exact import Span
from tapplan.study.weights import load_weights
from tests.fuzz.corpus import NAMES, SMALL, shelf

MOST_CPU_S = 10  # of one call; what takes longer is told
MOST_S = 600  # by the clock: something waits
OUTPUT = "answer.out"
TABLE: dict[str, ControlTable] = {}


@dataclass(frozen=True, slots=True)
class Case:
    """One call: the file that is damaged, and the words, in which `{kind}` stands for a file of that kind.

    The first word is a verb, or `read` for the reader of the kind alone.
    """

    kind: str
    call: tuple[str, ...]
    content: bytes

    @property
    def verb(self) -> str:
        """The verb called, or how the reader was called."""
        return self.call[0]

    def words(self) -> list[str]:
        """The words of the call."""
        return [NAMES[word[1:-1]] if word[:1] == "{" and word[1:-1] in NAMES else word for word in self.call]

    def plain(self) -> str:
        """The case as a text that `of_plain` reads."""
        told = asdict(self)
        return json.dumps({**told, "content": base64.b64encode(self.content).decode()}, indent=1) + "\n"

    @staticmethod
    def of_plain(text: str) -> Case:
        """A case that was kept."""
        told = json.loads(text)
        return Case(told["kind"], tuple(told["call"]), base64.b64decode(told["content"]))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a call: its exit code, or what it raised; what it printed and wrote; how long it took."""

    code: int | None
    out: str
    err: str
    written: bytes | None = None
    raised: str = ""
    place: str = ""
    cpu_s: float = 0.0


class Hung(BaseException):
    """A call took too long; no `except Exception` may take it."""


class Trials:
    """Runs cases in the present folder, which holds a sound file of each kind."""

    def __init__(self) -> None:
        files = shelf().files
        self._sound = {kind: contents[0] for kind, contents in files.items() if kind in NAMES}
        self._names = set(NAMES.values())
        self._table = control_table(parse(SMALL))
        self._dirty = set(NAMES)
        self._restore()

    def run(self, case: Case) -> Outcome:
        """What comes of a case."""
        self._restore()
        if case.kind == "words":
            self._dirty |= set(NAMES)
        elif case.kind in NAMES:
            Path(NAMES[case.kind]).write_bytes(case.content)
            self._dirty.add(case.kind)
        if "--keep" in case.call:
            self._dirty |= {"search", "runs"}
        if "--resume" in case.call or "save" in case.call:
            self._dirty.add("session")
        if "--write" in case.call:
            self._dirty.add("design")
        return self._read(case) if case.verb == "read" else _called(case)

    def _restore(self) -> None:
        for kind in self._dirty:
            file = Path(NAMES[kind])
            file.write_bytes(self._sound[kind])
            if kind == "log":
                os.utime(file, ns=(1_700_000_000_000_000_000,) * 2)
        self._dirty = set()
        for name in os.listdir():
            if name not in self._names:
                _without(name)

    def _read(self, case: Case) -> Outcome:
        """The reader alone, its error told as `main` tells it."""
        name = NAMES.get(case.kind, "")
        table = self._table

        def read() -> int:
            match case.kind:
                case "design":
                    load(name)
                case "request":
                    load_request(name)
                case "priors":
                    load_priors(name, table)
                case "sheet":
                    load_sheet(name, table, any_revision="--any-revision" in case.call)
                case "session":
                    load_session(name, table, any_revision="--any-revision" in case.call)
                case "weights":
                    load_weights(name, Span(*table.design.mains.range_v))
                case "learn":
                    load_plain(name, Names(None, None, (), ("OUT", "N")))
                case "reading":
                    reading_of(case.content.decode("utf-8", "replace"), Names.of(table))
                case _:
                    raise ValueError(case.kind)
            return 0

        return _guarded(read)


def _without(name: str) -> None:
    shutil.rmtree(name) if os.path.isdir(name) and not os.path.islink(name) else os.unlink(name)


def _called(case: Case) -> Outcome:
    """The whole command, as its process would run it."""
    stdin = sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(case.content if case.kind == "answers" else b""), "utf-8")
    try:
        found = _guarded(lambda: main(case.words()))
    finally:
        sys.stdin = stdin
    written = Path(OUTPUT).read_bytes() if os.path.isfile(OUTPUT) else None
    return Outcome(found.code, found.out, found.err, written, found.raised, found.place, found.cpu_s)


def _guarded(call: object) -> Outcome:
    """A call with its printing caught and its time limited."""
    with _caught() as caught:
        begun, code, raised, place = time.process_time(), None, "", ""
        try:
            with _timed():
                code = call()  # type: ignore[operator]
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 2
        except (TapplanError, ReadingError) as error:  # of a reader alone
            caught.err.write(f"{visible(str(error))}\n")
            code = 2
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            raised, place = f"{type(error).__name__}: {str(error)[:200]}", _where(error)
        cpu = time.process_time() - begun
    return Outcome(code, caught.text(caught.out), caught.text(caught.err), None, raised, place, cpu)


def _where(error: BaseException) -> str:
    """The innermost line of tapplan's own that the error came through."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [one for one in frames if "/tapplan/" in one.filename]
    last = own[-1] if own else frames[-1]
    return f"{last.filename.rpartition('/tapplan/')[2]}:{last.lineno}"


class _Caught:
    """What is printed, kept as a process's own streams would write it."""

    def __init__(self) -> None:
        self.out = io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True, newline="")
        self.err = io.TextIOWrapper(io.BytesIO(), "utf-8", errors="backslashreplace", write_through=True, newline="")

    @staticmethod
    def text(stream: io.TextIOWrapper) -> str:
        stream.flush()
        return stream.buffer.getvalue().decode("utf-8", "surrogateescape")  # type: ignore[attr-defined]


@contextmanager
def _caught() -> Iterator[_Caught]:
    caught = _Caught()
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = caught.out, caught.err
    try:
        with warnings.catch_warnings():  # so that each call warns anew, as each process does
            yield caught
    finally:
        sys.stdout, sys.stderr = before


@contextmanager
def _timed() -> Iterator[None]:
    """Ends what takes too long, by the processor's time or by the clock."""

    def hang(number: int, frame: FrameType | None) -> None:
        raise Hung(f"more than {MOST_CPU_S} s of the processor or {MOST_S} s by the clock")

    before = {one: signal.signal(one, hang) for one in (signal.SIGPROF, signal.SIGALRM)}
    signal.setitimer(signal.ITIMER_PROF, MOST_CPU_S)
    signal.setitimer(signal.ITIMER_REAL, MOST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for one, handler in before.items():
            signal.signal(one, handler)
