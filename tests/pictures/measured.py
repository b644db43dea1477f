"""Small logs for pictures and pages: what they show is worked out in the tests from these very samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from random import Random

from tapplan.answers.replay import Replay, SideBySide, replay
from tapplan.control.table import ControlTable
from tapplan.pages.measured import Measured
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import replayed
from tapplan.replay.view import LogView, viewed
from tapplan.replay.zone import Zone
from tests.bench.stages import table
from tests.examples import ROOT
from tests.replay.against import Listed

MINUTE, HOUR, DAY = 60_000_000, 3_600_000_000, 86_400_000_000
SUNDAY = 1_200_787_200_000_000  # 2008-01-20 00:00 UTC


def stage(name: str) -> ControlTable:
    return table(ROOT / "designs" / f"{name}.toml")


@dataclass(frozen=True)
class Site:
    """A log, the machine it went through, what came of it."""

    log: Listed
    machine: Machine
    view: LogView
    answer: Replay

    @property
    def measured(self) -> Measured:
        return Measured(self.answer, self.machine, self.view, self.log.name)


def site(log: Listed, one: ControlTable, zone: str | None = None, columns: int = 1000) -> Site:
    made = machine(one, Zone(zone))
    run = replayed(log, [made])
    return Site(log, made, viewed(log, made, run, columns), replay(SideBySide((made,), ("one.toml",)), [run]))


def wandering(days: float, step: int, seed: int = 1, wide: int = 90, begin: int = SUNDAY) -> Listed:
    """A line that walks about nominal, as far as that many volts off, with a gap in the middle of each fifth day."""
    chance, volts, samples = Random(seed), 230.0, []
    for time in range(begin, begin + round(days * DAY), step):
        volts = min(max(volts + chance.gauss(0, 3) + (230 - volts) / 40, 230 - wide), 230 + wide)
        if not (time // DAY % 5 == 0 and HOUR * 11 < time % DAY < HOUR * 13):
            samples.append((time, Fraction(round(volts * 10), 10)))
    return Listed(samples, name=f"feeder {seed}")


def level(volts: Sequence[float], step: int = MINUTE, begin: int = SUNDAY) -> Listed:
    """These volts, one each step."""
    return Listed([(begin + place * step, Fraction(str(one))) for place, one in enumerate(volts)])


def write_csv(path: Path, log: Listed) -> Path:
    """The log as a file."""
    lines = [f"{time / 1e6:.3f},{float(volts)}" for time, volts in log.samples]
    path.write_text("time,volts\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path
