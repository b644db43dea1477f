"""Damaged inputs that are led by coverage: `python -m tests.fuzz.guided --inputs 100000 --seed 1`; exit 1 at a fault.

atheris (libFuzzer) keeps the inputs that come over new edges of tapplan and damages those further, more than half of
the time with the damage of `tests.fuzz.damage`, which knows the forms of files, else with its own, which knows
bytes. It judges by the same promises as `python -m tests.fuzz`. Each kind of file is a process of its own, as
libFuzzer wants it. It needs `pip install -e '.[fuzz]'`.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.fuzz.count import Tally

# How many of all inputs each kind gets: all of them are read in this process, by what is quick to call.
SHARES = {
    "design": 30, "request": 10, "sheet": 12, "session": 10, "weights": 8, "priors": 12, "learn": 8, "reading": 10,
}  # fmt: skip
MORE_CALLS = {
    "design": ("table {design} --json", "at {design} 200 --json", "states {design}", "check {design} --json")
}
SELDOM = 24  # of so many inputs one is given to a whole command, the others to the reader alone
LONGEST = 20_000  # bytes
OWN_DAMAGE = 0.6
ANEW = 0.5  # how often that begins from a sound file, so that much is still accepted


def main(words: Sequence[str]) -> int:
    """Runs each kind in a process, and tells what came of all."""
    asked = argparse.ArgumentParser(prog="python -m tests.fuzz.guided", description=__doc__)
    asked.add_argument("--inputs", type=int, default=20_000, help="how many (20000)")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--reader", action="append", choices=sorted(SHARES), help="only this kind of file; repeatable")
    asked.add_argument("--keep", type=Path, help="a folder for the inputs that break a promise")
    asked.add_argument("--told", type=Path, help=argparse.SUPPRESS)
    args = asked.parse_args(words)
    kinds = args.reader or list(SHARES)
    if args.told is not None:
        return _guided(kinds[0], args)
    begun, total, ended = time.monotonic(), None, []
    for kind in kinds:
        found = _child(kind, args, round(args.inputs * SHARES[kind] / sum(SHARES[one] for one in kinds)))
        if found is None:
            ended.append(kind)
        elif total is None:
            total = found
        else:
            total.add(found)
        print(f"{kind}: {'ended' if found is None else found.inputs} at {time.monotonic() - begun:.0f} s", flush=True)
    print(*([total.table()] if total else []), *(f"ended before its time: {kind}" for kind in ended), sep="\n")
    return 1 if ended or total is None or total.faults else 0


def _child(kind: str, args: argparse.Namespace, inputs: int) -> Tally | None:
    """The counts of one kind, None where the process ended before its time."""
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder, "told")
        words = [sys.executable, "-m", "tests.fuzz.guided", "--reader", kind, "--inputs", str(inputs)]
        words += ["--seed", str(args.seed), "--told", str(told)]
        words += [] if args.keep is None else ["--keep", str(args.keep.resolve())]
        with Path(folder, "log").open("w", encoding="utf-8") as log:
            subprocess.run(words, stdout=log, stderr=log, check=False)
        if told.exists():
            return pickle.loads(told.read_bytes())  # type: ignore[no-any-return]  # noqa: S301 - our own child's
        print(Path(folder, "log").read_text("utf-8", "replace")[-2000:], file=sys.stderr)
        return None


def _guided(kind: str, args: argparse.Namespace) -> int:
    """The child: libFuzzer calls `try_one` until the inputs are spent; then the process ends at once."""
    import atheris

    with atheris.instrument_imports(include=["tapplan"]):
        from tests.fuzz.corpus import shelf
        from tests.fuzz.count import Tally
        from tests.fuzz.damage import damaged
        from tests.fuzz.judge import faults
        from tests.fuzz.trials import Case, Trials
        from tests.fuzz.workers import place_for_files

    sound = list(shelf().files.get(kind, ())) or [text.encode() for text in _readings()]
    place, seeds = place_for_files(), tempfile.mkdtemp()
    for number, content in enumerate(sound):
        Path(seeds, str(number)).write_bytes(b"\0" + content)
    os.chdir(place)
    trials, tally = Trials(), Tally()

    def try_one(data: bytes) -> None:
        case = _case(Case, kind, data)
        outcome = trials.run(case)
        tally.take(case, outcome, list(faults(case, outcome)))
        if tally.inputs >= args.inputs:
            _finish(tally, args, [place, seeds])

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        chance = Random(seed)
        if chance.random() > OWN_DAMAGE:
            return atheris.Mutate(data, most)  # type: ignore[no-any-return]
        content = chance.choice(sound) if chance.random() < ANEW or len(data) < 2 else data[1:]
        return (bytes([chance.randrange(256)]) + damaged(chance, kind, content))[:most]

    flags = [f"-seed={args.seed}", f"-max_len={LONGEST}", "-timeout=0", "-rss_limit_mb=3072", "-runs=-1"]
    atheris.Setup([sys.argv[0], *flags, seeds], try_one, custom_mutator=mutate)
    atheris.Fuzz()
    return 1


def _case(made: type[Any], kind: str, data: bytes) -> Any:
    """The first byte chooses the call, the rest is the file."""
    more = MORE_CALLS.get(kind, ())
    first, content = (data[0], data[1:]) if data else (0, b"")
    call = "read"
    if more and first % SELDOM == 0 and first:
        call = more[first // SELDOM % len(more)]
    return made(kind, tuple(call.split()), content)


def _readings() -> Sequence[str]:
    from tests.fuzz.cases import READINGS

    return READINGS


def _finish(tally: Tally, args: argparse.Namespace, folders: Sequence[str]) -> None:
    """Leaves the counts and the inputs that broke a promise, and ends the process, which libFuzzer would keep."""
    import resource

    tally.worst_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if args.keep is not None:
        args.keep.mkdir(parents=True, exist_ok=True)
        for number, case in enumerate(tally.examples.values()):
            Path(args.keep, f"guided-{case.kind}-{args.seed}-{number}.json").write_text(case.plain(), "utf-8")
    args.told.write_bytes(pickle.dumps(tally))
    for folder in folders:
        with contextlib.suppress(OSError):
            shutil.rmtree(folder)
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
