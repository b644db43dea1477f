"""`python -m tests.mutants`: how good the tests are, by mutants that no test notices.

    python -m tests.mutants --map                               first: which test comes over which line (45 minutes)
    python -m tests.mutants --room control --sample 100 --seed 1
    python -m tests.mutants --all --sample 100 --seed 2
    python -m tests.mutants --changed main --budget 600         lines that differ from main, until 600 s are over
    python -m tests.mutants --again FILE --with tests/control/test_moves.py    saved survivors by these tests

It needs `pip install -e '.[mutants]'`. Survivors are saved as survivors-ROOM.txt in the folder of `--save`.
"""

import argparse
import os
import queue
import random
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TextIO

from tests.mutants.judging import Bench, Caps, Verdict, asked_of, copy_tree, folders_of_tests
from tests.mutants.places import Mutant, Place, drawn, made, places
from tests.mutants.score import HEADING, Fate, Score
from tests.mutants.tracing import FOLDER

SINGLE = ("exact", "stage", "wholefile")
ROOT = Path()


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__.splitlines()[0])
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--map", action="store_true", help="run the tests and write which comes over which line")
    what.add_argument("--room", action="append", help="a room of tapplan, or one of " + ", ".join(SINGLE))
    what.add_argument("--all", action="store_true", help="every room")
    what.add_argument("--changed", metavar="BASE", help="only lines that differ from this revision")
    what.add_argument("--again", metavar="FILE", type=Path, help="the mutants of a saved list")
    parser.add_argument(
        "--with", dest="files", nargs="+", default=[], metavar="FILE", help="with --again: these tests alone"
    )
    parser.add_argument("--sample", type=int, default=100, help="mutants drawn of each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--budget", type=float, default=float("inf"), metavar="SECONDS", help="judge no more after these"
    )
    parser.add_argument(
        "--cap",
        type=float,
        default=20.0,
        metavar="SECONDS",
        help="processor time that a mutant may cost warm; half of it cold",
    )
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--folder", type=Path, default=Path(".mutants"), help="where the map and the copies of the tree stand"
    )
    parser.add_argument(
        "--tests", nargs="+", metavar="FOLDER", default=folders_of_tests(), help="ask these tests only"
    )
    parser.add_argument("--save", type=Path, default=Path(".mutants"), help="where lists of survivors go")
    return parser.parse_args()


def main(asked: argparse.Namespace) -> int:
    asked.folder = asked.folder.resolve()
    asked.save.mkdir(parents=True, exist_ok=True)
    if asked.map:
        return make_map(asked.folder, asked.tests, asked.workers)
    if asked.again and asked.files:
        tree = asked.folder / f"again-{os.getpid()}"
        asked_of(asked.files, list(saved(asked.again)), tree, tell)
        return 0
    pool = Pool(asked)
    if asked.again:
        verdicts = pool.judged(list(saved(asked.again)), tell)
        (asked.save / asked.again.name).write_text("".join(map(written, lasting(verdicts))), encoding="utf-8")
    elif asked.changed:
        return changed(asked, pool)
    else:
        print(HEADING, flush=True)
        for room in asked.room or rooms():
            judge_room(room, asked, pool)
    pool.close()
    return 0


def make_map(folder: Path, tests: Sequence[str], workers: int) -> int:
    """Run the tests with their lines traced; seconds are of processor time."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in (*folder.glob("lines.*"), *folder.glob("times.*")):
        old.unlink()
    tree = copy_tree(folder / "tree")
    words = [sys.executable, "-m", "pytest", "-q", "-p", "tests.mutants.tracing", "-p", "no:cacheprovider"]
    environment = os.environ | {FOLDER: str(folder), "PYTHONPATH": str(tree)}
    subprocess.run([*words, "-n", str(workers), "--dist", "loadfile", *tests], cwd=tree, env=environment, check=False)
    return 0


def rooms() -> list[str]:
    return [*SINGLE, *sorted(path.name for path in Path("tapplan").iterdir() if (path / "__init__.py").exists())]


def files_of(room: str) -> list[str]:
    single = Path("tapplan", f"{room}.py")
    return [str(single)] if single.exists() else sorted(map(str, Path("tapplan", room).rglob("*.py")))


def judge_room(room: str, asked: argparse.Namespace, pool: "Pool") -> Score:
    """A sample of a room's mutants, its row of the table, and its survivors."""
    all_places = [place for file in files_of(room) for place in places(ROOT, file)]
    chance = random.Random(f"{room} {asked.seed}")
    with (asked.save / f"verdicts-{room}-{asked.seed}.txt").open("w", encoding="utf-8") as log:
        verdicts = pool.judged(sample(all_places, asked.sample, chance), lambda verdict: tell(verdict, log))
    score = Score(
        room,
        len(all_places),
        sum(len(place.changes) for place in all_places),
        Counter(verdict.fate for verdict in verdicts),
    )
    print(score.row(), flush=True)
    (asked.save / f"survivors-{room}.txt").write_text("".join(map(written, lasting(verdicts))), encoding="utf-8")
    for verdict in lasting(verdicts):
        tell(verdict, sys.stderr)
    return score


def sample(all_places: Sequence[Place], size: int, chance: random.Random) -> list[Mutant]:
    """Mutants at places drawn without putting back; a place that has none makes room for the next."""
    found: list[Mutant] = []
    for place in chance.sample(all_places, len(all_places)):
        if len(found) == size:
            break
        if mutant := drawn(ROOT, place, chance):
            found.append(mutant)
    return found


def changed(asked: argparse.Namespace, pool: "Pool") -> int:
    """Mutants on lines that differ from a revision, in a drawn order, until the budget is spent."""
    lines = changed_lines(asked.changed)
    found = [place for file in lines for place in places(ROOT, file) if place.line in lines[file]]
    chance = random.Random(asked.seed)
    verdicts = pool.judged(sample(found, asked.sample, chance), lambda _: None)
    score = Score(
        "changed", len(found), sum(len(place.changes) for place in found), Counter(v.fate for v in verdicts)
    )
    print(HEADING, score.row(), sep="\n")
    for verdict in lasting(verdicts):
        tell(verdict)
    pool.close()
    return 0


def changed_lines(base: str) -> dict[str, set[int]]:
    """For each file of tapplan that differs from a revision, the numbers of its new lines."""
    words = ["git", "diff", "--unified=0", base, "--", "tapplan"]
    found: dict[str, set[int]] = {}
    file = ""
    for line in subprocess.run(words, capture_output=True, text=True, check=True).stdout.splitlines():
        if line.startswith("+++ "):
            file = line.removeprefix("+++ b/")
        elif line.startswith("@@") and file.endswith(".py"):
            begin, _, count = line.split("+")[1].split(" ")[0].partition(",")
            found.setdefault(file, set()).update(range(int(begin), int(begin) + int(count or 1)))
    return found


class Pool:
    """Workers, each with a bench of its own."""

    def __init__(self, asked: argparse.Namespace) -> None:
        caps = Caps(asked.cap, asked.cap / 2)
        made_in = asked.folder / f"benches-{os.getpid()}"
        self._benches = [
            Bench(made_in / str(number), asked.folder, caps, asked.tests) for number in range(asked.workers)
        ]
        self._until = time.monotonic() + asked.budget
        for bench in self._benches:
            bench.ready()

    def judged(self, mutants: Iterable[Mutant], say: Callable[[Verdict], None]) -> list[Verdict]:
        """The verdicts on mutants, in their order."""
        waiting: queue.SimpleQueue[tuple[int, Mutant]] = queue.SimpleQueue()
        for number, mutant in enumerate(mutants):
            waiting.put((number, mutant))
        found: dict[int, Verdict] = {}
        threads = [threading.Thread(target=self._work, args=(bench, waiting, found, say)) for bench in self._benches]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return [found[number] for number in sorted(found)]

    def _work(
        self,
        bench: Bench,
        waiting: "queue.SimpleQueue[tuple[int, Mutant]]",
        found: dict[int, Verdict],
        say: Callable[[Verdict], None],
    ) -> None:
        while time.monotonic() < self._until:
            try:
                number, mutant = waiting.get_nowait()
            except queue.Empty:
                return
            found[number] = bench.judge(mutant)
            say(found[number])

    def close(self) -> None:
        for bench in self._benches:
            bench.close()


def lasting(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """The verdicts on mutants that nothing noticed."""
    return [verdict for verdict in verdicts if verdict.fate in (Fate.SURVIVED, Fate.NOT_REACHED)]


def written(verdict: Verdict) -> str:
    mutant = verdict.mutant
    return f"{mutant.name} | {mutant.before} -> {mutant.after} | {verdict.fate}\n"


def saved(file: Path) -> Iterable[Mutant]:
    """The mutants of a saved list, made anew; one whose line has moved is looked for by what it was."""
    for line in file.read_text(encoding="utf-8").splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        name, _, rest = line.partition(" | ")
        where, operator, _ = name.split(" ")
        path, number, column = where.split(":")
        before, after = rest.rpartition(" | ")[0].split(" -> ", 1)
        if found := refound(Place(path, int(number), int(column), "", ()), operator, before, after):
            yield found


def refound(then: Place, operator: str, before: str, after: str) -> Mutant | None:
    """A saved mutant in the file as it is now."""
    source = Path(then.file).read_text(encoding="utf-8")
    near = sorted(places(ROOT, then.file), key=lambda place: abs(place.line - then.line))
    lines = source.splitlines()
    for place in near:
        if before.split() != lines[place.line - 1].split() and before not in source:
            continue
        for change in place.changes:
            mutant = made(source, place, change) if change.operator == operator else None
            if mutant and (mutant.before, mutant.after) == (before, after):
                return mutant
    print(f"{then.file}: no line reads so any more, or it is left out by rule: {before}", file=sys.stderr)
    return None


def tell(verdict: Verdict, file: TextIO | None = None) -> None:
    mutant = verdict.mutant
    print(
        f"{mutant.file}:{mutant.line}  {verdict.fate}: {mutant.before}  ->  {mutant.after}  [{verdict.told}]",
        file=file,
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main(arguments()))
