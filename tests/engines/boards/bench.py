"""Firmware of a design on simulated boards: compiled, sized, walked through courses.

The files are those of `tapplan export DESIGN --to firmware`. Flash and RAM are of the design's own object with the
parts of the compiler's library that it calls, without the walk around it; the state belongs to the caller, and is
told apart.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from tapplan.control.program import Program
from tapplan.pages.firmware.directory import firmware
from tests.engines.boards.courses import Course
from tests.engines.boards.windows import Window

HERE = Path(__file__).parent
STRICT = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion", "-Werror"]
FITS = 2600  # steps of 7 bytes, beside the firmware, in the 32 kB of an ATmega328P


@dataclass(frozen=True)
class Board:
    """A simulated board: its tools, how they are called, and the unit of its clock."""

    name: str
    unit: str
    tools: tuple[str, ...]
    packages: str
    compiler: tuple[str, ...]
    around: tuple[str, ...]  # what the walk is compiled and linked with, besides
    library: tuple[str, ...]
    size: str
    run: tuple[str, ...]

    def need(self) -> None:
        """Goes on only where all tools are there; without the heavy ones CI may step aside, and says so."""
        missing = [tool for tool in self.tools if shutil.which(tool) is None and not Path(tool).exists()]
        if missing and os.environ.get("CI") == "true" and self is not CORTEX_M0:
            pytest.fail(f"{' and '.join(missing)} not installed, and CI must not go without")
        if missing:
            pytest.skip(
                f"stepped aside: no {self.name} without {' and '.join(missing)}: apt-get install {self.packages}"
            )


ATMEGA328P = Board(
    "ATmega328P",
    "cycles",
    ("avr-gcc", "avr-size", "simavr", "/usr/include/simavr/avr/avr_mcu_section.h"),
    "gcc-avr avr-libc simavr libsimavr-dev",
    ("avr-gcc", "-mmcu=atmega328p"),
    (
        "-I/usr/include/simavr",
        str(HERE / "atmega328p.c"),
        "-Wl,--undefined=_mmcu,--section-start=.mmcu=0x910000",
    ),
    ("-lgcc", "-lm", "-lc"),
    "avr-size",
    ("simavr",),
)
CORTEX_M0 = Board(
    "Cortex-M0",
    "instructions",
    ("arm-none-eabi-gcc", "arm-none-eabi-size", "qemu-system-arm"),
    "gcc-arm-none-eabi libnewlib-arm-none-eabi qemu-system-arm",
    ("arm-none-eabi-gcc", "-mcpu=cortex-m0", "-mthumb"),
    (str(HERE / "cortex_m0.c"), "-nostartfiles", "-T", str(HERE / "cortex_m0.ld")),
    ("-lgcc", "-lc", "-lgcc"),
    "arm-none-eabi-size",
    ("qemu-system-arm", "-M", "microbit", "-nographic", "-semihosting", "-icount", "shift=10", "-kernel"),
)
BOARDS = (ATMEGA328P, CORTEX_M0)


def done(command: Sequence[str | Path], folder: Path) -> str:
    """What a command says, and that it ends well; QEMU has its semihosting among the errors."""
    ran = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=120)
    assert ran.returncode == 0, f"{' '.join(map(str, command))}\n{ran.stdout}{ran.stderr}"
    return ran.stdout + ran.stderr


@dataclass(frozen=True)
class Firmware:
    """The files of a design's firmware in a folder; all names of it begin with `name`."""

    folder: Path
    name: str

    @property
    def source(self) -> Path:
        return self.folder / f"{self.name}.c"

    @property
    def header(self) -> str:
        return (self.folder / f"{self.name}.h").read_text()


def written(made: Program, folder: Path) -> Firmware:
    """The firmware of a program in a new folder."""
    folder.mkdir()
    for name, text in firmware(made).items():
        (folder / name).write_text(text)
    (source,) = folder.glob("tapplan_*.c")
    return Firmware(folder, source.stem)


@dataclass(frozen=True)
class Sizes:
    """Bytes of the firmware, without the walk around it; `control` is the flash where a program averages itself."""

    flash: int
    control: int
    ram: int


def sizes(board: Board, made: Firmware) -> Sizes:
    """The firmware compiled for size by strict rules, with what it calls of the compiler's library."""
    compiled(board, made)
    called = [f"-Wl,-u,{made.name}_{one}" for one in ("start", "band", "self_test")]
    control = [*called, "-Wl,--gc-sections", f"-Wl,-e,{made.name}_step"]
    whole, part = (_joined(board, made, options) for options in ([], control))
    return Sizes(whole.flash, part.flash, whole.ram)


def _joined(board: Board, made: Firmware, options: Sequence[str]) -> Sizes:
    joined = f"{made.name}.joined.o"
    given = ["-r", "-nostdlib", *options, f"{made.name}.o", *board.library]
    done([*board.compiler, *given, "-o", joined], made.folder)
    text, data, bss = map(int, done([board.size, joined], made.folder).splitlines()[1].split()[:3])
    return Sizes(text + data, text + data, data + bss)


def compiled(board: Board, made: Firmware) -> None:
    """The firmware's own object."""
    kept = ["-Os", "-ffunction-sections", "-fdata-sections", "-c", made.source.name, "-o", f"{made.name}.o"]
    done([*board.compiler, *STRICT, *kept], made.folder)


@dataclass(frozen=True)
class Walk:
    """What a board told: a mask and a cost for each step; of each window a reading, its cost and that of a sample.

    `told`: the deepest stack of a step, bytes of a state and of a window, and what the self-test found.
    """

    masks: tuple[int, ...]
    costs: tuple[int, ...]
    readings: tuple[int, ...]
    reading_costs: tuple[int, ...]
    sample_costs: tuple[int, ...]
    told: dict[str, int]


def walked(board: Board, made: Firmware, walk: Sequence[Course], sums: Sequence[Window]) -> Walk:
    """Courses, each from a start, and windows of samples on a board; costs include the call."""
    compiled(board, made)
    parts = [_walked(board, made, part, sums) for part in _parts(walk)]
    masks, costs = ([one for part in parts for one in getattr(part, told)] for told in ("masks", "costs"))
    return replace(
        parts[0],
        masks=tuple(masks),
        costs=tuple(costs),
        told={word: max(part.told[word] for part in parts) for word in parts[0].told},
    )


def _parts(walk: Sequence[Course]) -> Iterator[list[Course]]:
    """As many courses at a time as the smaller board's flash holds."""
    part: list[Course] = []
    for course in walk:
        if part and sum(map(len, (*part, course))) > FITS:
            yield part
            part = []
        part.append(course)
    yield part


def _walked(board: Board, made: Firmware, walk: Sequence[Course], sums: Sequence[Window]) -> Walk:
    given = {
        "COURSES": [
            f"{{{int(place == 0)}, {step.elapsed_ms}, {_written(step.reading)}}}"
            for course in walk
            for place, step in enumerate(course)
        ],
        "LENGTHS": [str(len(one.samples)) for one in sums],
        "SAMPLES": [_written(sample) for one in sums for sample in one.samples],
    }
    for word, lines in given.items():
        (made.folder / f"{word.lower()}.inc").write_text(",\n".join(lines) + "\n")
    named = [f"-DDESIGN={made.name}", f'-DHEADER="{made.name}.h"', *(f'-D{one}="{one.lower()}.inc"' for one in given)]
    around = ["-std=gnu99", "-Os", "-Wall", "-Wextra", "-Werror", f"-I{HERE}", "-I."]
    sources = [str(HERE / "walk.c"), f"{made.name}.o"]
    done([*board.compiler, *around, *named, *sources, *board.around, "-Wl,--gc-sections", "-o", "walk"], made.folder)
    return _read(done([*board.run, "walk"], made.folder))


def _written(number: int) -> str:
    return "(-2147483647 - 1)" if number == -(2**31) else str(number)


def _read(text: str) -> Walk:
    """Lines of two or three hexadecimal numbers, or of a word and one; simavr marks and colours each."""
    plain = re.sub(r"\x1b\[[0-9;]*m|\r", "", text)
    lines = [one.removeprefix("O:").split() for one in plain.splitlines() if re.fullmatch("(O:)?[0-9a-f ]+", one)]
    steps, sums = ([[int(one, 16) for one in line] for line in lines if len(line) == size] for size in (2, 3))
    told = re.findall(r"^(?:O:)?([a-z_]+)=([0-9a-f]+)$", plain, re.MULTILINE)
    return Walk(
        tuple(mask for mask, _ in steps),
        tuple(cost for _, cost in steps),
        tuple(reading - (reading >> 31 << 32) for reading, _, _ in sums),
        tuple(cost for _, cost, _ in sums),
        tuple(cost for _, _, cost in sums),
        {word: int(number, 16) for word, number in told},
    )
