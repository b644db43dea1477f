"""The map from a line of code to the tests that come over it, cheapest first."""

import difflib
import json
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from tests.mutants.tracing import COLLECTED

_FLOOR_S = 0.002
_NEAR = 0.25  # tests of the mutant's own room are asked as if they took a quarter of their time
_NEXT = 0.05  # and those of its own module a twentieth


@dataclass(frozen=True, slots=True)
class Tests:
    """Tests that may notice a mutant, in their order; how many come over its line, and how many of the first may."""

    names: tuple[str, ...]
    over_line: int
    first: int


class Reach:
    """What a run of `--map` wrote into its folder: where it ran, in the copy `tree`, tests came over lines.

    Code may have changed since. A line is looked for by its text; a new one is taken for the last old one before it.
    """

    def __init__(self, folder: Path, unknown: frozenset[str] = frozenset()) -> None:
        self._files = sorted(folder.glob("lines.*"))
        self._tree = (folder / "tree").resolve()
        self._unknown = unknown
        self._noticed: dict[str, Counter[str]] = {}
        self.seconds = {
            test: seconds
            for file in sorted(folder.glob("times.*"))
            for test, seconds in map(json.loads, file.read_text(encoding="utf-8").splitlines())
        }

    @lru_cache(maxsize=400)  # noqa: B019 -- one map lives as long as the program
    def _lines(self, file: str) -> dict[int, frozenset[str]]:
        from coverage import CoverageData

        found: dict[int, set[str]] = {}
        for name in self._files:
            read = CoverageData(basename=str(name))
            read.read()
            for line, tests in read.contexts_by_lineno(str(self._tree / file)).items():
                found.setdefault(line, set()).update(tests)
        return {line: frozenset(tests) for line, tests in found.items()}

    def noticed(self, file: str, test: str) -> None:
        """A test has noticed a mutant of a file; it is asked first of the next one, where it comes over its line."""
        self._noticed.setdefault(file, Counter())[test] += 1

    @lru_cache(maxsize=400)  # noqa: B019
    def _line_then(self, file: Path) -> dict[int, int]:
        """For each line of a file as it is now, where it stood when the map was made."""
        before = self._tree / file
        old = before.read_text(encoding="utf-8").splitlines() if before.exists() else []
        new = file.read_text(encoding="utf-8").splitlines()
        found: dict[int, int] = {}
        for _, begin, end, first, last in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
            for number in range(first, last):
                found[number + 1] = min(begin + number - first + 1, max(end, begin))
        return found

    def tests(self, file: str, now: int) -> Tests:
        """The tests over a line and those that the map does not know; then others of their files and of the room."""
        line = self._line_then(Path(file)).get(now, now)
        over = {test for test in self._lines(file).get(line, ()) if test in self.seconds}
        if not over and COLLECTED in self._lines(file).get(line, ()):  # a constant: whoever uses the file
            over = {test for tests in self._lines(file).values() for test in tests if test in self.seconds}
        homes = {test.partition("::")[0] for test in over}
        room = _mirror(file)
        rest = {test for test in self.seconds if test.partition("::")[0] in homes or test.startswith(room)} - over
        fresh = {test for test in self._unknown if test.startswith(room)}
        fresh |= {test for test in rest if test.startswith(_own(file))}  # a table's print comes over no line of it
        rest -= fresh
        return Tests((*self._ordered(over | fresh, file), *self._ordered(rest, file)), len(over), len(over | fresh))

    def _ordered(self, tests: set[str], file: str) -> list[str]:
        """Those that noticed a mutant of the file; then cheapest first, the cases of one test spread among others."""
        room, module = _mirror(file), _own(file)
        seen: Counter[str] = Counter()
        ranked: list[tuple[float, str]] = []
        for test in sorted(tests, key=lambda test: (self.seconds.get(test, 0.1), test)):
            function = test.partition("[")[0]
            near = _NEXT if test.startswith(module) else _NEAR if test.startswith(room) else 1
            ranked.append(((self.seconds.get(test, 0.1) + _FLOOR_S) * near * (1 + seen[function] / 4), test))
            seen[function] += 1
        noticed = self._noticed.setdefault(file, Counter())
        return [test for _, test in sorted(ranked, key=lambda one: (-noticed[one[1]], *one))]


def _own(file: str) -> str:
    """The tests of a module, as far as they mirror it."""
    return f"{_mirror(file)}test_{Path(file).stem}.py"


def _mirror(file: str) -> str:
    room = file.removeprefix("tapplan/").partition("/")[0]
    return f"tests/{room}/" if not room.endswith(".py") else f"tests/test_{room.removesuffix('.py')}"
