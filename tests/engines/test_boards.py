"""The firmware on simulated boards: an ATmega328P by simavr, a Cortex-M0 by QEMU, and its text read by cppcheck."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from pathlib import Path

import pytest

from tests.engines.boards.bench import ATMEGA328P, BOARDS, HERE, Board, Firmware, done, sizes, walked, written
from tests.engines.boards.courses import Doing, Step, courses
from tests.engines.boards.samples import FOUR_RELAYS_EIGHT_BANDS, SAMPLES, Sample
from tests.engines.boards.windows import NO_READING, Limits, Window, windows

NO_SUMS = [Window((), NO_READING)]

EACH = pytest.mark.parametrize("given", SAMPLES, ids=lambda one: one.name)
ON_BOARDS = pytest.mark.parametrize("board", BOARDS, ids=lambda one: one.name)


@ON_BOARDS
@EACH
def test_coils_and_readings_as_the_rule_has_them(given: Sample, board: Board, tmp_path: Path) -> None:
    """After every call of every course the coils; of every window of samples the reading; and sound tables."""
    board.need()
    made = written(given.program, tmp_path / "made")
    walk, sums = courses(given.program), windows(given.design, Limits.of(made.header))
    found = walked(board, made, walk, sums)
    steps = [step for course in walk for step in course]
    wrong = [(step, mask) for step, mask in zip(steps, found.masks, strict=True) if mask != step.mask]
    assert not wrong, wrong[:3]
    assert found.readings == tuple(one.reading for one in sums)
    assert found.told["self_test"] == 0


def test_courses_reach_all_that_a_call_can_come_to() -> None:
    doing = [Counter(step.doing for course in courses(one.program) for step in course) for one in SAMPLES]
    assert all(sum(found.values()) > 500 for found in doing)
    assert all(found[one] > 20 for found in doing for one in (Doing.WAITS, Doing.KEEPS, Doing.MOVES))
    assert sum(found[Doing.DOUBTS] > 100 for found in doing) > 4
    lengths = {len(one.masks) for sample in SAMPLES for one in sample.program.passings.values()}
    assert lengths >= {1, 2, 3}
    assert {sample.design.sensing.detector for sample in SAMPLES} == {"rms", "average", "peak"}
    assert {str(sample.design.sensing.at) for sample in SAMPLES} > {"input", "output"}
    assert {sample.design.controller is None for sample in SAMPLES} == {True, False}


@ON_BOARDS
def test_a_course_that_is_off_is_seen(board: Board, tmp_path: Path) -> None:
    """One threshold a count higher, and one wait a millisecond longer."""
    board.need()
    given = FOUR_RELAYS_EIGHT_BANDS
    walk = courses(given.program)
    wanted = tuple(step.mask for course in walk for step in course)
    first = given.program.nodes[3].firsts[4]
    for number, (old, new) in enumerate([(f"{first}U", f"{first + 1}U"), ("30U", "31U")]):
        made = written(given.program, tmp_path / str(number))
        text = made.source.read_text()
        assert old in text
        made.source.write_text(text.replace(old, new, 1))
        assert walked(board, made, walk, NO_SUMS).masks != wanted


@ON_BOARDS
def test_the_clock_of_a_board_counts_each_instruction(board: Board, tmp_path: Path) -> None:
    """An instruction that does nothing takes one cycle on an AVR, and is one on a Cortex-M0."""
    board.need()
    costs = []
    for count in (0, 1, 20, 40):
        folder = tmp_path / str(count)
        folder.mkdir()
        for ending in ("h", "c"):
            text = (HERE / f"idle.{ending}").read_text().replace("COUNT", str(count))
            (folder / f"idle.{ending}").write_text(text)
        found = walked(board, Firmware(folder, "idle"), [(Step(0, 0, 0, Doing.KEEPS),)], NO_SUMS)
        costs.append(found.costs[0])
    assert [one - costs[0] for one in costs] == [0, 1, 20, 40]


# What a call may take on an ATmega328P: measured 94, 290 and 436 cycles, and a tenth for another compiler.
MOST_CYCLES = {Doing.WAITS: 103, Doing.KEEPS: 319, Doing.MOVES: 480}


def test_it_fits_a_small_controller(tmp_path: Path) -> None:
    """Four relays and eight bands on an ATmega328P, read in counts as a true effective value.

    Bytes and cycles are those of the compiler's -Os and of simulated instructions: the same on every computer.
    """
    ATMEGA328P.need()
    given = FOUR_RELAYS_EIGHT_BANDS
    assert (len(given.design.relays), len(given.program.nodes) - 1) == (4, 8)
    made = written(given.program, tmp_path / "made")
    room = sizes(ATMEGA328P, made)
    assert room.control < room.flash < 2048
    assert room.ram == 0
    walk = courses(given.program)
    found = walked(ATMEGA328P, made, walk, NO_SUMS)
    assert found.told["state"] + found.told["window"] < 32
    costs = [
        (step.doing, cost)
        for step, cost in zip((step for course in walk for step in course), found.costs, strict=True)
    ]
    most = {one: max(cost for doing, cost in costs if doing is one) for one in MOST_CYCLES}
    assert {one for one in MOST_CYCLES if most[one] > MOST_CYCLES[one]} == set(), most


# What is not kept of MISRA C:2012, and why. All are advisory.
DEVIATIONS = {
    "2.5": "macros of the header are for the caller; not every program uses each",
    "8.7": "functions of the interface are called from other files, which the check of one file does not see",
}


@pytest.mark.parametrize("name", ["ridge-dispensary", "four relays, eight bands", "five minutes away", "peak"])
def test_misra_is_kept_but_for_what_is_listed(name: str, tmp_path: Path) -> None:
    """Sums of 64 and of 32 bits, times of 16 and of 32."""
    given = next(one for one in SAMPLES if one.name == name)
    told = checked(written(given.program, tmp_path / "made"))
    rules = {one.removeprefix("misra-c2012-"): places for one, places in told.items()}
    assert not {one: places for one, places in rules.items() if one not in DEVIATIONS}
    assert rules.keys() == DEVIATIONS.keys()


def checked(made: Firmware) -> dict[str, list[str]]:
    """What cppcheck finds, and where; nothing calls the functions of a library here."""
    if shutil.which("cppcheck") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("cppcheck is not installed, and CI must not go without it")
        pytest.skip("stepped aside: cppcheck is not installed: apt-get install cppcheck")
    options = ["--std=c99", "--enable=all", "--inconclusive", "--addon=misra", "--quiet"]
    silent = ["--suppress=missingIncludeSystem", "--suppress=unusedFunction"]
    found: dict[str, list[str]] = {}
    for platform in ("avr8", "unix32"):
        told = done(
            [
                "cppcheck",
                *options,
                *silent,
                f"--platform={platform}",
                "--template={id} {file}:{line}",
                made.source.name,
            ],
            made.folder,
        )
        for line in told.splitlines():
            rule, place = line.split(" ", 1)
            found.setdefault(rule, []).append(f"{platform} {place}")
    return found
