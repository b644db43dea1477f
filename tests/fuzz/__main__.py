"""Damaged inputs: `python -m tests.fuzz --inputs 1000000 --seed 1`; exit 1 when a promise is broken."""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import shutil
import sys
import time
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from tests.fuzz.cases import SHARES
from tests.fuzz.count import Tally
from tests.fuzz.judge import faults
from tests.fuzz.smaller import smaller
from tests.fuzz.trials import Case, Trials
from tests.fuzz.workers import Run, place_for_files, run


def _arguments() -> argparse.ArgumentParser:
    asked = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    asked.add_argument("--inputs", type=int, default=20_000, help="how many (20000)")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--reader", action="append", choices=sorted(SHARES), help="only this kind of file; repeatable")
    asked.add_argument("--seconds", type=float, default=float("inf"), help="no longer than this")
    asked.add_argument("--keep", type=Path, help="a folder for the inputs that break a promise, made small")
    asked.add_argument("--again", type=Path, help="one kept input once more")
    return asked


def main(words: Sequence[str]) -> int:
    """Runs what is asked and tells what came of it."""
    args = _arguments().parse_args(words)
    if args.again is not None:
        return _again(args.again)
    kinds = tuple(args.reader or SHARES)
    asked = Run(kinds, args.inputs, args.seed, args.seconds)
    begun = time.monotonic()

    def tell(tally: Tally) -> None:
        if args.keep is not None:
            _keep_raw(args.keep.resolve(), tally)
        print(
            f"\r{tally.inputs} in {time.monotonic() - begun:.0f} s, {len(tally.faults)} faults ",
            end="",
            file=sys.stderr,
        )

    tally = run(asked, tell)
    print(f"\n{tally.table()}\n{time.monotonic() - begun:.0f} s by the clock")
    if args.keep is not None:
        _keep(args.keep.resolve(), tally)
    return 1 if tally.faults else 0


def _name(mark: str) -> str:
    words = re.sub(r"[^a-z]+", "-", mark.lower())[:50].strip("-")
    return f"{words}-{sha256(mark.encode()).hexdigest()[:6]}.json"


def _keep_raw(folder: Path, tally: Tally) -> None:
    """The inputs as they are, at once, should the run be ended."""
    folder.mkdir(parents=True, exist_ok=True)
    for mark, case in tally.examples.items():
        if not (folder / _name(mark)).exists():
            (folder / _name(mark)).write_text(case.plain(), "utf-8")


def _keep(folder: Path, tally: Tally) -> None:
    """One small input for each fault."""
    folder.mkdir(parents=True, exist_ok=True)
    place = place_for_files()
    with contextlib.chdir(place):
        trials = Trials()
        for mark, case in tally.examples.items():
            small = case if mark.startswith("ended") or "Hung" in mark else smaller(case, mark, trials)
            (folder / _name(mark)).write_text(small.plain(), "utf-8")
    shutil.rmtree(place, ignore_errors=True)


def _again(file: Path) -> int:
    case = Case.of_plain(file.read_text("utf-8"))
    place = place_for_files()
    before = os.getcwd()
    os.chdir(place)
    try:
        outcome = Trials().run(case)
        found = list(faults(case, outcome))
    finally:
        os.chdir(before)
        shutil.rmtree(place, ignore_errors=True)
    print(
        f"call: {case.words()}\ncontent: {case.content[:2000]!r}\n"
        f"code: {outcome.code}, {outcome.cpu_s:.2f} s of the processor"
    )
    print(
        f"raised: {outcome.raised} at {outcome.place}\nstderr: {outcome.err[:2000]!r}\nstdout: {outcome.out[:500]!r}"
    )
    print("\n".join(one.mark for one in found) or "every promise is kept")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
