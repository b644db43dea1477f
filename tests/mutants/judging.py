"""The servants that judge mutants, and the order in which they are asked."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

from tests.mutants.places import Mutant
from tests.mutants.reach import Reach
from tests.mutants.score import Fate
from tests.mutants.servant import ANSWERS, NOT_WARM, REQUESTS, Job

COPIED = (
    "tapplan",
    "tests",
    "designs",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    ".ci",
    ".gitignore",
)
ROOMS_OF_TESTS = (
    *("answers", "bench", "checks", "cli", "control", "design", "guide", "logs", "loop", "network"),
    *("outside", "pages", "pictures", "published", "rating", "replay", "study"),
)
COUNTED = "failed"  # no test did, but the run: one that asserts in loops only never asserted
LEFT_OUT = ("tests/loop/test_doors.py",)  # and the engines: a case takes longer than a mutant may

_MOST_TESTS = 400
_MOST_FILES = 6  # to collect for a cold child, which costs more than most tests


@dataclass(frozen=True, slots=True)
class Caps:
    """Seconds of processor time for a mutant, in each way of judging it."""

    warm_s: float
    cold_s: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a mutant, and what noticed it or why nothing did."""

    mutant: Mutant
    fate: Fate
    told: str


def copy_tree(into: Path) -> Path:
    """A copy of the project, for children that write mutants into it."""
    shutil.rmtree(into, ignore_errors=True)
    into.mkdir(parents=True)
    for name in COPIED:
        source = Path(name)
        if source.is_dir():
            shutil.copytree(source, into / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy2(source, into / name)
    return into


def folders_of_tests() -> list[str]:
    """What the warm process collects and the map runs."""
    rooms = [f"tests/{name}" for name in ROOMS_OF_TESTS if Path("tests", name).exists()]
    ignored = [f"--ignore={name}" for name in LEFT_OUT]
    return [*rooms, *(str(file) for file in sorted(Path("tests").glob("test_*.py"))), *ignored]


@cache
def same() -> dict[tuple[str, str], str]:
    """Mutants that do what the code does, by file and change, and why, as same.txt has them."""
    lines = Path(__file__).with_name("same.txt").read_text(encoding="utf-8").splitlines()
    found: dict[tuple[str, str], str] = {}
    for line in lines:
        if line and not line.startswith("#"):
            file, _, rest = line.partition(" | ")  # a change may have bars of its own
            change, _, why = rest.rpartition(" | ")
            found[file, change] = why
    return found


def temporary(tree: Path) -> Path:
    """Where the tests that run in a tree put their files; a child that ends at a failing test leaves them."""
    return tree.with_name(tree.name + "-tmp")


class Servant:
    """A process that judges one mutant after the other, in its own copy of the tree."""

    def __init__(self, tree: Path, words: Sequence[str]) -> None:
        to_it, from_us = os.pipe()
        to_us, from_it = os.pipe()
        temporary(tree).mkdir(exist_ok=True)
        environment = os.environ | {
            REQUESTS: str(to_it),
            ANSWERS: str(from_it),
            "PYTHONPATH": str(tree),
            "PYTHONDONTWRITEBYTECODE": "1",
            "TMPDIR": str(temporary(tree)),
        }
        with (tree.with_name(f"{tree.name}-{words[0]}.log")).open("w") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.mutants.servant", *words],
                cwd=tree,
                env=environment,
                pass_fds=(to_it, from_it),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        os.close(to_it)
        os.close(from_it)
        self._asking, self._answers = os.fdopen(from_us, "w"), os.fdopen(to_us)
        self._first = ""

    def first(self) -> str:
        """What it said when it was ready."""
        self._first = self._first or self._heard()
        return self._first

    def judge(self, job: Job) -> str:
        """Its last words on a job."""
        self.first()
        print(json.dumps(asdict(job)), file=self._asking, flush=True)
        return self._heard()

    def close(self) -> None:
        """Let it end."""
        self._asking.close()
        self._process.wait()

    def _heard(self) -> str:
        line = self._answers.readline()
        if not line:
            message = f"a servant ended with {self._process.wait()}; its log stands beside its tree"
            raise RuntimeError(message)
        return line.strip()


class Bench:
    """A warm and a cold servant in one copy of the tree."""

    def __init__(self, tree: Path, map_folder: Path, caps: Caps, tests: Sequence[str]) -> None:
        self._tree = copy_tree(tree)
        self._caps = caps
        self._cold = Servant(tree, ["cold"])
        self._warm = Servant(tree, ["warm", *tests])
        self._map = map_folder
        self._unsound: set[str] = set()
        self._sound: set[str] = set()
        self.reach: Reach | None = None

    def ready(self) -> None:
        """Wait for the servants; tests that the warm one has and the map has not are new."""
        known = Reach(self._map).seconds
        self.reach = Reach(self._map, frozenset(json.loads(self._warm.first())) - known.keys())

    def judge(self, mutant: Mutant) -> Verdict:
        """Ask tests until one notices, warm and then cold."""
        assert self.reach is not None
        if why := same().get((mutant.file, f"{mutant.before} -> {mutant.after}")):
            return Verdict(mutant, Fate.SAME, why)
        tests = self.reach.tests(mutant.file, mutant.line)
        told = (
            self._asked(self._warm, mutant, tests.names[: tests.first], self._caps.warm_s)
            if tests.first
            else NOT_WARM
        )
        if not _killer(told):
            told = self._asked_cold(mutant, self._of_few_files(tests.names))
        if killer := _killer(told):
            self.reach.noticed(mutant.file, killer)
        return Verdict(mutant, _fate(told, reached=bool(tests.over_line or not self.reach.seconds)), told)

    def _asked_cold(self, mutant: Mutant, tests: Sequence[str]) -> str:
        file = self._tree / mutant.file
        original, state = file.read_bytes(), file.stat()
        try:
            return self._asked(self._cold, mutant, tests, self._caps.cold_s)
        finally:
            file.write_bytes(original)
            os.utime(file, ns=(state.st_atime_ns, state.st_mtime_ns))

    def _asked(self, servant: Servant, mutant: Mutant, tests: Sequence[str], cap_s: float) -> str:
        """Its last words; a test that also fails without the mutant is asked no more."""
        while True:
            chosen = self._within(tests, cap_s)
            if not chosen:
                return "lived: no test to ask"
            told = servant.judge(Job(mutant.file, mutant.text, chosen, cap_s))
            killer = _killer(told)
            original = Path(mutant.file).read_text(encoding="utf-8") if servant is self._cold else ""
            if told.startswith(COUNTED):
                without = servant.judge(Job(mutant.file, original, chosen, cap_s))
                return "lived" if without.startswith(COUNTED) else "killed by a loop that asserts nothing any more"
            if not killer or killer in self._sound:
                return told
            again = servant.judge(
                Job(mutant.file, original, [one for one in chosen if one[0] == killer] or chosen[:1], 60.0)
            )
            (self._sound if again.startswith("lived") or "(import)" in told else self._unsound).add(killer)
            if killer in self._sound:
                return told

    def _within(self, tests: Sequence[str], cap_s: float) -> list[tuple[str, float]]:
        assert self.reach is not None
        chosen, spent = [], 0.0
        for test in tests:
            seconds = self.reach.seconds.get(test, 0.1)
            if seconds > cap_s or test in self._unsound:
                continue
            spent += seconds
            if spent > 2 * cap_s or len(chosen) == _MOST_TESTS:
                break
            chosen.append((test, 8 + 12 * seconds))
        return chosen

    @staticmethod
    def _of_few_files(tests: Sequence[str]) -> list[str]:
        files = dict.fromkeys(test.partition("::")[0] for test in tests)
        few = set(list(files)[:_MOST_FILES])
        return [test for test in tests if test.partition("::")[0] in few]

    def close(self) -> None:
        """End both servants."""
        self._cold.close()
        self._warm.close()
        for made in (self._tree, temporary(self._tree)):
            shutil.rmtree(made, ignore_errors=True)


def _killer(told: str) -> str:
    for sign in ("killed ", "timed out "):
        if told.startswith(sign):
            return told.removeprefix(sign).removesuffix(" (import)")
    return ""


def _fate(told: str, *, reached: bool) -> Fate:
    if told.startswith("killed"):
        return Fate.KILLED
    if told.startswith("timed out"):
        return Fate.TIMED_OUT
    return Fate.SURVIVED if reached else Fate.NOT_REACHED


def asked_of(files: Sequence[str], mutants: Sequence[Mutant], tree: Path, say: Callable[[Verdict], None]) -> None:
    """Judge mutants by the tests of some files alone, cold."""
    copy_tree(tree)
    servant = Servant(tree, ["cold"])
    for mutant in mutants:
        original = (tree / mutant.file).read_bytes()
        told = servant.judge(Job(mutant.file, mutant.text, [(file, 600.0) for file in files], 600.0))
        (tree / mutant.file).write_bytes(original)
        say(Verdict(mutant, _fate(told, reached=True), told))
    servant.close()
    for made in (tree, temporary(tree)):
        shutil.rmtree(made, ignore_errors=True)
