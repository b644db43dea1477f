"""Closed loops of isolation and a simulated board: is the truth kept, is it named, and after how many readings.

`python -m tests.bench.loops --count 60 --seed 1` prints a table; `--random` takes random stages in place of shipped
designs, `--wrong` replaces one reading of each loop by one that another fault shows.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from random import Random
from time import perf_counter
from typing import Any

from tapplan.bench.defects import HEALTHY, Hypothesis, defects
from tapplan.bench.dictionary import hypothesis_name
from tapplan.bench.isolation import Isolation, Reading
from tapplan.bench.wavering import wavering
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load
from tapplan.design.model import Backup, Band, Design, Sensing
from tapplan.errors import TapplanError
from tests.bench.board import Board
from tests.examples import SHIPPED, Sections, design

F = Fraction
MOST_READINGS = 60
BASE = 300


@dataclass(frozen=True, slots=True)
class Loop:
    """How one loop ended.

    `included`: the truth, or what goes by its name, is in some group; `share` that of the first group, `named`
    whether the truth is in it, `firm` whether that is a verdict. `unsafe`: a reading on the line was asked for while
    the truth could short the mains, before any test that could show it.
    """

    title: str
    truth: Hypothesis
    readings: tuple[Reading, ...]
    included: bool
    share: float
    named: bool
    unsafe: bool
    conflict: bool
    firm: bool
    seconds: float

    @property
    def wrong_verdict(self) -> bool:
        """Whether something else is the verdict."""
        return self.firm and not self.named

    @property
    def wavers(self) -> bool:
        """Whether the truth is a fault that shows itself now and then."""
        return wavering(self.truth) is not None

    def told(self) -> str:
        """The truth in a few words."""
        return " and ".join(defect.told() for defect in self.truth) or "no fault"


def loop(table: ControlTable, hypothesis: Hypothesis, random: Random, wrong: int | None = None) -> Loop:
    """Measures what is proposed on a board with this fault until nothing more tells.

    With `wrong` the reading of that place is one that a board with another fault shows.
    """
    began = perf_counter()
    isolation, board = Isolation(table), Board(table, hypothesis, random)
    asked: list[Reading] = []
    unsafe = False
    found = isolation.diagnosis()
    while found.next is not None and len(asked) < MOST_READINGS:
        measure = found.next.entry.measure
        tested = any(one.measure.condition.power in ("off", "low") for one in asked)
        unsafe = unsafe or (measure.condition.power == "line" and board.shorts() and not tested)
        shows = board if len(asked) != wrong else Board(table, (random.choice(defects(table)),), random)
        reading = Reading(measure, shows.show(measure))
        asked.append(reading)
        isolation.add(reading)
        found = isolation.diagnosis()
    groups = found.groups
    return Loop(
        table.design.title,
        hypothesis,
        tuple(asked),
        any(_goes_by(hypothesis, one) for group in groups for one in group.members),
        groups[0].share,
        any(_goes_by(hypothesis, one) for one in groups[0].members),
        unsafe,
        bool(found.conflict),
        found.firm,
        perf_counter() - began,
    )


def _goes_by(truth: Hypothesis, named: Hypothesis) -> bool:
    """Whether a hypothesis names the truth: the same mend, or shorted turns, whose number nobody knows."""
    kinds = [{one.fault for one in each} for each in (truth, named)]
    return hypothesis_name(truth) == hypothesis_name(named) or kinds == [{"shorted-turns"}] * 2


# Random stages -----------------------------------------------------------------------------------------------------

Links = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Plan:
    """A wiring, and the lowest and the highest of its ratios."""

    sections: Sections
    links: Links
    terminals: tuple[str, str, str]
    low: Fraction
    high: Fraction


def _tapped(steps: Sequence[int]) -> list[tuple[str, str, str, Any]]:
    rows = [(f"step {i}", f"T{i - 1}", f"T{i}", step) for i, step in enumerate(steps, 1)]
    return [("base", "N", "T0", BASE), *rows]


def _links(prefix: str, side: str, middle: str, length: int) -> Links:
    """Changeovers one behind the other that choose one of `length + 1` taps."""
    return {
        f"{prefix}{i}": (
            side if i == 1 else f"{middle}{i}",
            f"T{i - 1}",
            f"{middle}{i + 1}" if i < length else f"T{length}",
        )
        for i in range(1, length + 1)
    }


def _steps(random: Random, count: int) -> list[int]:
    return [random.randint(22, 34) for _ in range(count)]


def _output_chain(random: Random) -> Plan:
    steps = _steps(random, random.randint(2, 4))
    most = F(BASE + sum(steps), BASE)
    return Plan(_tapped(steps), _links("K", "OUT", "X", len(steps)), ("T0", "N", "OUT"), F(1), most)


def _line_chain(random: Random) -> Plan:
    steps = _steps(random, random.randint(2, 4))
    least = F(BASE, BASE + sum(steps))
    return Plan(_tapped(steps), _links("L", "LINE", "Y", len(steps)), ("LINE", "N", "T0"), least, F(1))


def _both_sides(random: Random) -> Plan:
    steps = _steps(random, random.randint(1, 3))
    links = _links("L", "LINE", "Y", len(steps)) | _links("K", "OUT", "X", len(steps))
    share = F(BASE, BASE + sum(steps))
    return Plan(_tapped(steps), links, ("LINE", "N", "OUT"), share, 1 / share)


def _add_in(random: Random) -> Plan:
    """Sections that one relay each leaves out at rest or puts in."""
    count, one = random.randint(2, 3), random.randint(16, 22)
    sections: list[tuple[str, str, str, Any]] = [("exciter", "N", "LINE", BASE)]
    links: Links = {}
    for i in range(count):
        start, after = "LINE" if i == 0 else f"S{i}", f"S{i + 1}" if i + 1 < count else "OUT"
        sections.append((f"part {i}", start, f"F{i}", one * 2**i))
        links[f"K{i}"] = (after, start, f"F{i}")
    most = F(BASE + one * (2**count - 1), BASE)
    return Plan(sections, links, ("LINE", "N", "OUT"), F(1), most)


def _reversing(random: Random) -> Plan:
    """Sections that add at rest and take away where their relay turns them round, each left out by another relay."""
    turns = [random.randint(24, 32)] + ([random.randint(10, 14)] if random.random() < 0.5 else [])
    sections: list[tuple[str, str, str, Any]] = [("exciter", "N", "LINE", BASE)]
    links: Links = {}
    for i, each in enumerate(turns):
        start, after = "LINE" if i == 0 else f"S{i}", f"S{i + 1}" if i + 1 < len(turns) else "OUT"
        sections.append((f"swing {i}", f"A{i}", f"B{i}", each))
        links[f"R{i}"] = [(start, f"A{i}", f"B{i}"), (f"M{i}", f"B{i}", f"A{i}")]
        links[f"P{i}"] = (after, f"M{i}", start)
    total = sum(turns)
    return Plan(sections, links, ("LINE", "N", "OUT"), F(BASE - total, BASE), F(BASE + total, BASE))


def _dressed(made: Design, random: Random) -> Design:
    """Some of the figures that a file may state: copper, coils, contacts."""
    relays, windings = made.relays, made.windings
    if random.random() < 0.6:
        volts, watts = F(random.choice([5, 12, 24])), F(random.choice(["0.36", "0.4", "0.53"]))
        relays = tuple(replace(one, coil_v=volts, coil_w=watts) for one in relays)
    if random.random() < 0.5:
        ohm = F(random.randint(4, 20), 1000)
        windings = tuple(replace(one, resistance_ohm=round(one.turns * ohm, 3)) for one in windings)
    return replace(made, relays=relays, windings=windings)


def _designed(plan: Plan, random: Random) -> Design:
    """A design of this wiring for all of the mains that its ratios serve."""
    window, error = (F(205), F(255)), F(random.choice(["0", "0.5", "1"]))
    low, high = F(205) / plan.high * F(106, 100), F(255) / plan.low * F(94, 100)
    sensing = Sensing(
        at=random.choice(["input", "input", "input", "output"]),
        error_pct=error,
        noise_v=F(random.choice(["0", "0.5", "1"])),
        hysteresis_v=F(random.choice([2, 3])),
    )
    made = design(
        plan.sections,
        plan.links,
        terminals=plan.terminals,
        mains=(230, round(low), round(high)),
        window=(230, *window),
        sensing=sensing,
        load_va=random.choice([None, 300, 600]),
    )
    return _dressed(made, random)


def _banded(table: ControlTable, random: Random) -> ControlTable:
    """The table, now and then with its bands in the file, or with a backup."""
    made = table.design
    chance = random.random()
    if chance < 0.4:
        bands = tuple(
            Band(name=row.name, energised=row.energised, hold_v=(row.hold.low, row.hold.high)) for row in table.rows
        )
        made = replace(made, bands=bands)
    if chance > 0.7 and made.sensing.at == "input":
        low, high = table.rows[0].hold.low, table.rows[-1].hold.high
        made = replace(made, backup=Backup(leave_v=(low - 4, high + 4), return_v=(low, high)))
    return control_table(made)


PLANS: tuple[Callable[[Random], Plan], ...] = (_output_chain, _line_chain, _both_sides, _add_in, _reversing)


def random_stage(random: Random) -> ControlTable:
    """A sound stage of two to six relays: every row has a ratio, and neighbours overlap."""
    while True:
        made = _designed(random.choice(PLANS)(random), random)
        try:
            table = _banded(control_table(made), random) if 2 <= len(made.relays) <= 6 else None
        except TapplanError:
            continue
        if table is not None and _sound(table):
            return table


def _sound(table: ControlTable) -> bool:
    known = all(row.ratio is not None and row.ratio > 0 and row.sensed for row in table.rows)
    return len(table.rows) >= 2 and known and all(meeting.margin > 0 for meeting in table.meetings())


# The command -------------------------------------------------------------------------------------------------------


@cache
def _shipped() -> tuple[ControlTable, ...]:
    return tuple(control_table(load(path)) for path in SHIPPED)


def run(count: int, seed: int, *, wrong: bool, drawn: bool) -> list[Loop]:
    """So many loops, each on a stage and with a truth drawn anew; every kind of fault is as likely as another."""
    found = []
    for number in range(count):
        random = Random(f"{seed} {number}")
        table = random_stage(random) if drawn else random.choice(_shipped())
        by_fault: dict[str, list[Hypothesis]] = {"none": [HEALTHY]}
        for defect in Isolation(table).singles:
            by_fault.setdefault(defect.fault, []).append((defect,))
        truth = random.choice(by_fault[random.choice(list(by_fault))])
        found.append(loop(table, truth, random, random.randrange(8) if wrong else None))
    return found


def printed(loops: Sequence[Loop]) -> None:
    """The table, and the loops that went wrong with their readings."""
    lengths = [len(one.readings) for one in loops]
    rows = {
        "loops": len(loops),
        "truth excluded": sum(not one.included for one in loops),
        "of these told as a conflict": sum(one.conflict for one in loops),
        "wrong verdicts": sum(one.wrong_verdict for one in loops),
        "of these of what does not always show": sum(one.wrong_verdict and one.wavers for one in loops),
        "no verdict in the end": sum(not one.firm for one in loops),
        "truth in the first group": sum(one.named for one in loops),
        "line asked while the truth shorts": sum(one.unsafe for one in loops),
        "mean readings": f"{sum(lengths) / max(len(lengths), 1):.1f}",
        "worst readings": max(lengths, default=0),
        "seconds a loop": f"{sum(one.seconds for one in loops) / max(len(loops), 1):.2f}",
    }
    for name, value in rows.items():
        print(f"{name:40} {value}")
    for one in loops:
        if not one.included or one.wrong_verdict or one.unsafe:
            print(f"\n{one.title}: {one.told()}: {_fate(one)}")
            for reading in one.readings:
                print(f"    {_told(reading)}")


def _fate(one: Loop) -> str:
    words = ["kept" if one.included else "excluded", f"first group {one.share:.0%}"]
    words += ["a conflict"] * one.conflict + ["WRONG VERDICT"] * one.wrong_verdict + ["UNSAFE"] * one.unsafe
    return ", ".join(words)


def _told(reading: Reading) -> str:
    measure, value = reading.measure, reading.value
    condition = measure.condition
    volts = "" if condition.volts is None else f" {float(condition.volts):g} V"
    fed = "" if condition.fed is None else f" on {' '.join(condition.fed)}"
    coils = "" if condition.coils is None else f" coils {' '.join(sorted(condition.coils)) or 'none'}"
    ends = " ".join(measure.at)
    shown = "unknown" if value is None else f"{float(value):.6g}"
    return f"{condition.power}{volts}{fed} {condition.course or ''}{coils}: {measure.what} {ends} = {shown}"


def main() -> None:
    """Runs the loops that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wrong", action="store_true", help="replace one reading of each loop")
    parser.add_argument("--random", action="store_true", help="random stages in place of shipped designs")
    asked = parser.parse_args()
    printed(run(asked.count, asked.seed, wrong=asked.wrong, drawn=asked.random))


if __name__ == "__main__":
    main()
