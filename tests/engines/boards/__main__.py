"""Prints what the firmware of each design takes on each board: `python -m tests.engines.boards`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.engines.boards.bench import BOARDS, Board, Firmware, sizes, walked, written
from tests.engines.boards.courses import Doing, courses
from tests.engines.boards.samples import SAMPLES, Sample
from tests.engines.boards.windows import Limits, windows

HEADINGS = (
    "design",
    "relays",
    "bands",
    "flash B",
    "without averaging",
    "static RAM",
    "state B",
    "window B",
    "stack B",
    *(f"a call that {one.name.lower()}" for one in Doing),
    "a sample",
    "a reading",
)


def measured(given: Sample, board: Board, made: Firmware) -> list[str]:
    """A row of the table; costs from the least to the most, with the call."""
    walk = courses(given.program)
    found, room = walked(board, made, walk, windows(given.design, Limits.of(made.header))), sizes(board, made)
    doing = [step.doing for course in walk for step in course]
    by_doing = [[cost for one, cost in zip(doing, found.costs, strict=True) if one is wanted] for wanted in Doing]
    costs = [
        f"{min(one)}-{max(one)}" if one else "-"
        for one in (*by_doing, [one for one in found.sample_costs if one], found.reading_costs)
    ]
    sizes_told = (room.flash, room.control, room.ram, *(found.told[one] for one in ("state", "window", "stack")))
    relays, bands = len(given.design.relays), len(given.program.nodes) - 1
    return [given.name, *map(str, (relays, bands, *sizes_told)), *costs]


def printed(rows: Sequence[Sequence[str]]) -> None:
    for row in rows:
        print("| " + " | ".join(row) + " |")


def main() -> None:
    for board in BOARDS:
        print(f"\n{board.name}, costs in {board.unit}\n")
        printed([HEADINGS, ["---"] * len(HEADINGS)])
        for given in SAMPLES:
            with TemporaryDirectory() as folder:
                printed([measured(given, board, written(given.program, Path(folder) / "made"))])


if __name__ == "__main__":
    main()
