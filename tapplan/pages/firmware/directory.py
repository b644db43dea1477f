"""All files of a design's firmware, by name."""

from __future__ import annotations

from tapplan.control.program import Program
from tapplan.errors import UsageError
from tapplan.pages.firmware.averaging import averaging
from tapplan.pages.firmware.interface import interface
from tapplan.pages.firmware.named import firmware_name, given_name
from tapplan.pages.firmware.packed import packed
from tapplan.pages.firmware.parts import Parts
from tapplan.pages.firmware.readme import readme
from tapplan.pages.firmware.source import source
from tapplan.pages.firmware.ticks import tick_of
from tapplan.pages.firmware.witnessed import host_program

MOST_STANDINGS = 255  # a band is one byte


def firmware(made: Program, *, tick_ms: int | None = None, name: str | None = None) -> dict[str, str]:
    """The texts of header, source, host program and README, by file name; nothing is proven again for the tick.

    Raises:
        UsageError: as `parts_of`.
    """
    return files(parts_of(made, tick_ms=tick_ms, name=name))


def files(parts: Parts) -> dict[str, str]:
    """The same of parts made ready."""
    return {
        f"{parts.lower}.h": interface(parts),
        f"{parts.lower}.c": source(parts),
        "vectors.c": host_program(parts),
        "README.txt": readme(parts),
    }


def parts_of(made: Program, *, tick_ms: int | None = None, name: str | None = None) -> Parts:
    """What the files are written from.

    Raises:
        UsageError: a threshold that the converter cannot read, a time that a tick or 32 bits cannot hold, or a name
            that C does not take.
    """
    highest = max(made.thresholds, default=0)
    if made.most_reading is not None and highest > made.most_reading:
        limit = f"up to {made.most_reading}, above which the converter cuts off what it reads"
        raise UsageError(f"found a threshold at {highest} counts; accepted: {limit}")
    if len(made.nodes) > MOST_STANDINGS:
        raise UsageError(f"found {len(made.nodes) - 1} bands; accepted: up to {MOST_STANDINGS - 1} in firmware")
    lower = firmware_name(made.table.stated) if name is None else given_name(name)
    return Parts(made, lower, packed(made), averaging(made), tick_of(made, tick_ms))
