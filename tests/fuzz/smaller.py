"""A failing case made smaller while it fails in the same way."""

from __future__ import annotations

from dataclasses import replace

from tests.fuzz.judge import faults
from tests.fuzz.trials import Case, Trials

MOST_TRIES = 300


def smaller(case: Case, mark: str, trials: Trials) -> Case:
    """The smallest found by leaving out lines, then letters, in ever smaller pieces."""
    tries = 0
    for parted in (case.content.splitlines(keepends=True), None):
        pieces = [bytes([one]) for one in case.content] if parted is None else parted
        size = len(pieces) // 2
        while size and tries < MOST_TRIES:
            place = 0
            while place < len(pieces) and tries < MOST_TRIES:
                left = pieces[:place] + pieces[place + size :]
                tries += 1
                if mark in {one.mark for one in faults(case, trials.run(replace(case, content=b"".join(left))))}:
                    pieces = left
                else:
                    place += size
            size //= 2
        case = replace(case, content=b"".join(pieces))
    return case
