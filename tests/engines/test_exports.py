"""Each export with an outside consumer: a C compiler, ngspice, sympy as second minimiser, a CSV reader.

Decisions are held against the literal judge of `tests.outside.rule`, whose thresholds are rounded here once more.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil
from pathlib import Path
from random import Random
from typing import Any

import pytest
from sympy import symbols
from sympy.logic import SOPform

from tapplan.cli.main import main
from tapplan.control.counts import converter, counted_table
from tapplan.control.equations import equations, minimal
from tapplan.control.program import Program, program
from tapplan.control.standing import Change
from tapplan.control.table import ControlTable, control_table
from tapplan.design import model
from tapplan.design.file import load, parse
from tapplan.errors import UsageError
from tapplan.network.states import each_state
from tapplan.pages.exports import FORMS
from tapplan.pages.firmware import c_header, comment, identifiers, logic, vectors
from tapplan.pages.netlists import spice
from tests.engines.judging import changes, in_whole, judged, latest, marks, per_volt, searched, standings
from tests.engines.netlists import need_ngspice
from tests.examples import PAIR, ROOT, SHIPPED, TAPPED, design
from tests.outside.designs import random_design
from tests.outside.rule import Table, decide
from tests.outside.stage import AWAY
from tests.outside.test_rule import known_answer, telling_readings

F = Fraction
MOST = 2**31 - 1


@dataclass(frozen=True)
class Case:
    """A design with what the judge knows of it, in volts and in whole readings."""

    name: str
    table: ControlTable

    @property
    def design(self) -> model.Design:
        return self.table.design

    @cached_property
    def program(self) -> Program:
        return program(self.table)

    @cached_property
    def scale(self) -> Fraction:
        return per_volt(self.table)

    @cached_property
    def judge(self) -> Table:
        return in_whole(judged(self.table), self.scale)

    def decided(self, row: str, reading: int) -> str:
        return decide(self.judge, row, reading / self.scale)

    @cached_property
    def readings(self) -> list[int]:
        """At and around every place where a decision can change, and some anywhere."""
        chance, ends = Random(self.name), [mark * self.scale for mark in marks(self.judge)]
        near = {int(end) + step for end in ends for step in (-2, -1, 0, 1, 2)}
        anywhere = {chance.randint(0, int(2 * ends[-1])) for _ in range(300)}
        return sorted({reading for reading in near | anywhere if reading >= 0} | {0, MOST})

    @cached_property
    def energised(self) -> dict[str, frozenset[str]]:
        """The relays driven in each band and while away, as the design states them."""
        driven = {row.name: frozenset(row.energised) for row in self.table.rows}
        driven |= {band.name: frozenset(band.energised) for band in self.design.bands}
        backup = self.design.backup
        return driven | {AWAY: frozenset(() if backup is None else backup.energised)}

    @cached_property
    def changes(self) -> set[tuple[str, str]]:
        """The moves that the controller makes; out of all bands as well, where there is no backup."""
        return changes(self.judge, self.scale)

    def mask(self, energised: frozenset[str]) -> int:
        return sum(1 << place for place, relay in enumerate(self.design.relays) if relay.name in energised)

    def order(self, start: str, end: str) -> Sequence[str] | None:
        """The order that the file states for a move; None where it states none."""
        stated = self.design.sequence.moves
        return next((one.order for one in stated if (one.old, one.new) == (start, end)), None)

    def one_by_one(self, start: str, end: str) -> bool:
        return self.design.sequence.order == "safest" or self.order(start, end) is not None


def cases() -> list[Case]:
    """The shipped designs; the same with relays in the safest order; and random ones that read in all places."""
    shipped = [Case(path.stem, control_table(load(path))) for path in SHIPPED]
    found = [*shipped, *(in_safest_order(one) for one in shipped)]
    chance, wanted = Random(17), {"input": 6, "output": 6, "winding": 6}
    while any(wanted.values()):
        drawn = random_design(chance)
        if wanted[drawn.sensed]:
            wanted[drawn.sensed] -= 1
            found.append(Case(f"{drawn.sensed} {wanted[drawn.sensed]}", control_table(parse(drawn.text))))
    return found


def in_safest_order(case: Case) -> Case:
    order = replace(case.design.sequence, order="safest")
    return Case(f"{case.name} in order", replace(case.table, design=replace(case.design, sequence=order)))


CASES = cases()
EACH = pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)


def case_of(name: str) -> Case:
    return next(case for case in CASES if case.name == name)


def test_cases_reach_all_that_an_export_depends_on() -> None:
    assert {str(case.design.sensing.at) for case in CASES} > {"input", "output"}
    assert sum(not isinstance(case.design.sensing.at, str) for case in CASES) > 5
    assert {case.design.backup is None for case in CASES} == {True, False}
    assert {case.design.controller is None for case in CASES} == {True, False}
    assert sum(bool(case.design.sequence.moves) for case in CASES) > 2
    assert sum(case.design.sequence.pause_ms is not None for case in CASES) > 2
    assert sum(case.design.sequence.blank_ms > 0 for case in CASES) > 2
    assert sum(case.program.per_volt != 1000 for case in CASES) >= 2
    assert max(len(masks) for case in CASES for masks in case.program.paths.values()) > 2


@EACH
def test_thresholds_in_whole_readings(case: Case) -> None:
    """The rounding of the judge is that of the counted table, and the program says how many go to a volt."""
    assert case.program.per_volt == case.scale
    assert [row.name for row in case.judge.rows] == [row.name for row in case.table.rows]
    controller = case.design.controller
    if controller is not None:
        counted = counted_table(case.table, converter(case.design, controller))
        assert [(row.kept.low, row.kept.high) for row in counted.rows] == list(case.judge.holds)
        backup = counted.design.backup
        assert case.judge.back == (None if backup is None else backup.return_v)


# C


WALK = """
#include <stdio.h>
INCLUDES
int main(void)
{
  int design, band;
  long reading;
  while (scanf("%d %d %ld", &design, &band, &reading) == 3) {
SERVED
  }
  return 0;
}
"""

SERVED = '    if (design == NUMBER) printf("%d\\n", LOWER_next(band, (int32_t)reading));'

TOLD = """
#include <stdio.h>
#include "table.h"
#define TELL(what) printf("%s %ld\\n", #what, (long)(what))
#define COUNT(array) (int)(sizeof(array) / sizeof(array[0]))
#define LIST(array) do { int n; printf(#array); for (n = 0; n < COUNT(array); n++) printf(" %ld", (long)array[n]); \\
  printf("\\n"); } while (0)
int main(void)
{
  int from, to, step;
  LIST(LOWER_begin); LIST(LOWER_cut); LIST(LOWER_answer); LIST(LOWER_coils);
  for (from = 0; from <= UPPER_BANDS; from++) for (to = 0; to <= UPPER_BANDS; to++) {
    printf("path %d %d", from, to);
    for (step = 0; step < UPPER_STEPS; step++) printf(" %lu", (unsigned long)LOWER_path[from][to][step]);
    printf("\\nwait %d %d", from, to);
    for (step = 0; step < UPPER_STEPS; step++) printf(" %ld", (long)LOWER_wait_ms[from][to][step]);
    printf("\\nblind %d %d %ld\\n", from, to, (long)LOWER_blind_ms[from][to]);
  }
  TELL(UPPER_BANDS); TELL(UPPER_AWAY); TELL(UPPER_STEPS);
  TELL(UPPER_CONFIRM_UP_US); TELL(UPPER_CONFIRM_DOWN_US); TELL(UPPER_RETURN_AFTER_US);
NAMED
  return 0;
}
"""

FLAGS = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror"]


def compiled(folder: Path, main_c: str, headers: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """What the compiler says; the program is `walk`."""
    if shutil.which("gcc") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("gcc is not installed, and CI must not go without it")
        pytest.skip("gcc is not installed: apt-get install gcc")
    for name, text in headers.items():
        (folder / name).write_text(text)
    (folder / "main.c").write_text(main_c)
    made = ["gcc", *FLAGS, "-o", "walk", "main.c"]
    return subprocess.run(made, cwd=folder, capture_output=True, text=True, check=False)


def answered(folder: Path, told: str = "") -> list[str]:
    return subprocess.run(
        [folder / "walk"], input=told, capture_output=True, text=True, check=True
    ).stdout.splitlines()


def prefixes(header: str) -> tuple[str, str]:
    """What every name of a header begins with: of macros, of all else."""
    found = re.search(r"static inline int (tapplan_\w+)_next\(", header)
    assert found is not None
    return found[1].upper(), found[1]


def walker(headers: Sequence[str]) -> str:
    """A program that serves these headers, by their number."""
    names = [f'#include "table{number or ""}.h"' for number in range(len(headers))]
    served = [
        SERVED.replace("NUMBER", str(number)).replace("LOWER", prefixes(header)[1])
        for number, header in enumerate(headers)
    ]
    return WALK.replace("INCLUDES", "\n".join(names)).replace("SERVED", "\n".join(served))


def walks_as_judged(folder: Path, walked: Sequence[Case]) -> None:
    """Every reading from every standing, of all these designs in one program."""
    asked = [
        (number, place, reading, standings(case.judge).index(case.decided(row, reading)))
        for number, case in enumerate(walked)
        for place, row in enumerate(standings(case.judge))
        for reading in case.readings
    ]
    Random(1).shuffle(asked)  # nothing is remembered from one call to the next
    told = answered(folder, "\n".join(f"{number} {place} {reading}" for number, place, reading, _ in asked))
    for (number, place, reading, then), line in zip(asked, told, strict=True):
        assert int(line) == then, (walked[number].name, place, reading)


@EACH
def test_the_c_table_walks_as_the_rule_says(case: Case, tmp_path: Path) -> None:
    header = c_header(case.program)
    done = compiled(tmp_path, walker([header]), {"table.h": header})
    assert (done.returncode, done.stderr) == (0, "")
    walks_as_judged(tmp_path, [case])
    last = len(case.judge.rows)
    for band in (-1, last + 1, 10**6):  # what is no band counts as away
        for reading in case.readings[::20]:
            (line,) = answered(tmp_path, f"0 {band} {reading}")
            assert int(line) == standings(case.judge).index(case.decided(AWAY, reading))


@dataclass(frozen=True)
class Told:
    """What a header's arrays and macros hold."""

    lists: dict[str, list[int]]
    values: dict[str, int]
    paths: dict[tuple[str, str], list[int]]
    waits: dict[tuple[str, str], list[int]]
    blind: dict[tuple[str, str], int]


KNOWN: dict[str, Told] = {}


def told_by(case: Case, folder: Path) -> Told:
    if case.name not in KNOWN:
        KNOWN[case.name] = _told_by(case, folder)
    return KNOWN[case.name]


def _told_by(case: Case, folder: Path) -> Told:
    header = c_header(case.program)
    upper, lower = prefixes(header)
    named = [f"  TELL({name});" for name in re.findall(r"#define (\w+_(?:BAND|COIL)_\w+)", header)]
    text = TOLD.replace("LOWER", lower).replace("UPPER", upper).replace("NAMED", "\n".join(named))
    done = compiled(folder, text, {"table.h": header})
    assert (done.returncode, done.stderr) == (0, "")
    found = Told({}, {}, {}, {}, {})
    rows = standings(case.judge)
    for line in answered(folder):
        name, *numbers = line.split()
        if name in ("path", "wait", "blind"):
            ends = rows[int(numbers[0])], rows[int(numbers[1])]
            values = [int(one) for one in numbers[2:]]
            if name == "blind":
                (found.blind[ends],) = values
            else:
                (found.paths if name == "path" else found.waits)[ends] = values
        elif name.startswith(f"{lower}_"):
            found.lists[name.removeprefix(f"{lower}_")] = [int(one) for one in numbers]
        else:
            found.values[name.removeprefix(f"{upper}_")] = int(numbers[0])
    return found


@EACH
def test_what_the_header_holds(case: Case, tmp_path: Path) -> None:
    """The arrays searched by themselves, the coils, the names, the times of a decision."""
    told, rows = told_by(case, tmp_path), standings(case.judge)
    begin, cut, answer = (told.lists[name] for name in ("begin", "cut", "answer"))
    assert len(begin) == len(rows) + 1
    assert begin[-1] <= len(cut)
    for place, row in enumerate(rows):
        firsts = cut[begin[place] : begin[place + 1]]
        answers = [rows[one] for one in answer[begin[place] + place : begin[place + 1] + place + 1]]
        assert firsts == sorted(set(firsts))
        assert all(one != other for one, other in pairwise(answers))
        for reading in case.readings[::3]:
            assert searched(firsts, answers, reading) == case.decided(row, reading)
    assert told.lists["coils"] == [case.mask(case.energised[row]) for row in rows]
    bands, coils = (
        [value for name, value in told.values.items() if name.startswith(one)] for one in ("BAND_", "COIL")
    )
    assert bands == list(range(len(rows) - 1))
    assert coils == [1 << place for place in range(len(case.design.relays))]
    assert (told.values["BANDS"], told.values["AWAY"]) == (len(rows) - 1, len(rows) - 1)
    assert told.values["STEPS"] == max(len(dropped(path)) for path in told.paths.values())
    sensing, backup = case.design.sensing, case.design.backup
    up, down = (
        sensing.confirm_ms if one is None else one for one in (sensing.confirm_up_ms, sensing.confirm_down_ms)
    )
    assert told.values["CONFIRM_UP_US"] == ceil(1000 * up)
    assert told.values["CONFIRM_DOWN_US"] == ceil(1000 * down)
    assert told.values["RETURN_AFTER_US"] == (0 if backup is None else ceil(1000 * backup.return_after_ms))


def dropped(path: list[int]) -> list[int]:
    """The masks of a path, its last one once."""
    return path[: path.index(path[-1]) + 1]


@EACH
def test_paths_end_where_they_lead_and_keep_the_order(case: Case, tmp_path: Path) -> None:
    told, relays = told_by(case, tmp_path), [relay.name for relay in case.design.relays]
    ordered = 0
    for (start, end), path in told.paths.items():
        old, new = case.energised[start], case.energised[end]
        masks, movers = [case.mask(old), *dropped(path)], old ^ new
        assert path[-1] == case.mask(new)
        flips = [[relay for place, relay in enumerate(relays) if (a ^ b) >> place & 1] for a, b in pairwise(masks)]
        if (start, end) in case.changes and case.one_by_one(start, end) and movers:
            assert all(len(flip) == 1 for flip in flips), (start, end)
            moved = tuple(relay for flip in flips for relay in flip)
            assert sorted(moved) == sorted(movers)
            assert moved == (case.order(start, end) or moved)
            ordered += len(movers) > 1
        else:
            assert len(flips) == 1
    if case.design.sequence.order == "safest" and max(map(len, case.energised.values())) > 2:
        assert ordered


@EACH
def test_waits_are_the_pauses_and_what_the_relays_take(case: Case, tmp_path: Path) -> None:
    """From the masks on: each pause, the last relay's rest or the blanking, whichever is later."""
    told, relays = told_by(case, tmp_path), {relay.name: relay for relay in case.design.relays}
    sequence = case.design.sequence
    for start, end in case.changes:
        new, here, now, rests = case.energised[end], case.mask(case.energised[start]), F(0), [F(0)]
        begins = []
        for mask in dropped(told.paths[start, end]):
            moved = [one for place, one in enumerate(relays.values()) if (here ^ mask) >> place & 1]
            takes = [latest(one, driven=one.name in new) for one in moved]
            rests += [now + one for one in takes]
            begins.append(now)
            now += max(takes, default=F(0)) if sequence.pause_ms is None else sequence.pause_ms
            here = mask
        over = max(*rests, begins[-1] + sequence.blank_ms) if case.energised[start] != new else F(0)
        waits = [later - earlier for earlier, later in pairwise([*begins, over])]
        assert told.waits[start, end][: len(waits)] == [ceil(one) for one in waits], (start, end)
        assert told.blind[start, end] >= sum(waits), (start, end)
        if all(one.denominator == 1 for one in waits):
            assert told.blind[start, end] == sum(waits), (start, end)


def test_whoever_takes_every_step_is_blind_for_as_long(tmp_path: Path) -> None:
    """All masks and all waits of a path in a loop, repeated ones included."""
    case = case_of("ridge-dispensary in order")
    told = told_by(case, tmp_path)
    assert told.values["STEPS"] == 2
    for ends in case.changes:
        assert sum(told.waits[ends]) == told.blind[ends], ends


def test_readings_count_no_sooner_than_whole_waits_are_over(tmp_path: Path) -> None:
    """A pause of no whole millisecond is rounded up, and with it all that comes after."""
    case = case_of("orchard-cold-room in order")
    sequence = replace(case.design.sequence, pause_ms=F(15, 2))
    case = Case("broken", replace(case.table, design=replace(case.design, sequence=sequence)))
    told = told_by(case, tmp_path)
    for ends in case.changes:
        waits = told.waits[ends][: len(dropped(told.paths[ends]))]
        assert sum(waits) == told.blind[ends], ends


def test_two_designs_side_by_side(tmp_path: Path) -> None:
    pair = [case_of("ridge-dispensary"), case_of("spring-pump")]
    headers = [c_header(case.program) for case in pair]
    done = compiled(tmp_path, walker(headers), {"table.h": headers[0], "table1.h": headers[1]})
    assert (done.returncode, done.stderr) == (0, "")
    walks_as_judged(tmp_path, pair)


def test_every_shipped_design_in_one_program(tmp_path: Path) -> None:
    shipped = [case_of(path.stem) for path in SHIPPED]
    headers = [c_header(case.program) for case in shipped]
    assert len({prefixes(header) for header in headers}) == len(headers)
    files = {f"table{number or ''}.h": header for number, header in enumerate(headers)}
    done = compiled(tmp_path, walker(headers), files)
    assert (done.returncode, done.stderr) == (0, "")
    walks_as_judged(tmp_path, shipped)


def test_two_revisions_of_a_design_are_refused(tmp_path: Path) -> None:
    """By the preprocessor, with words that say what to do; the same header twice is nothing new."""
    case = case_of("ridge-dispensary")
    bands = (replace(case.design.bands[0], hold_v=(F(176), F(203))), *case.design.bands[1:])
    later = c_header(program(control_table(replace(case.design, bands=bands))))
    first = c_header(case.program)
    assert prefixes(first) == prefixes(later)
    for order in ((first, later), (later, first)):
        done = compiled(tmp_path, walker(order), {"table.h": order[0], "table1.h": order[1]})
        assert done.returncode != 0
        assert f"two revisions of {prefixes(first)[1].removeprefix('tapplan_')} in one unit" in done.stderr
        assert "title of its own" in done.stderr
    twice = walker([first]).replace(
        '#include "table.h"', '#include "table.h"\n#include "table.h"\n#include "again.h"'
    )
    done = compiled(tmp_path, twice, {"table.h": first, "again.h": '#include "table.h"\n'})
    assert (done.returncode, done.stderr) == (0, "")
    walks_as_judged(tmp_path, [case])


@EACH
def test_units_are_told(case: Case) -> None:
    """What a reading is, where it is taken, and how many go to a volt."""
    counted, at = case.design.controller is not None, case.design.sensing.at
    place = f"at the {at}" if isinstance(at, str) else f"between {at[0]} and {at[1]}"
    unit = "counts of the converter" if counted else "millivolts"
    told = re.search(
        r"Readings are (.*) of the voltage sensed \((.*)\): (\S+) for one volt\.", c_header(case.program)
    )
    assert told is not None
    assert told.groups()[:2] == (unit, place)
    assert float(told[3]) == pytest.approx(float(case.scale), rel=1e-8)
    if not case.name.endswith("in order"):
        listed = re.findall(r"^#   cmp_\d+: \d+ (\w+)$", logic(equations(case.program), case.program), re.MULTILINE)
        assert set(listed) == {"counts" if counted else "mV"}


# Equations and gates


@dataclass(frozen=True)
class Netlist:
    """A logic export: comparators by their readings, coils by their relays, equations, and gates in their order."""

    comparators: dict[str, int]
    coils: dict[str, str]
    equations: dict[str, str]
    gates: list[tuple[str, str, list[str]]]

    @classmethod
    def of(cls, text: str) -> Netlist:
        head, _, gates = text.partition("# gates: name, kind, inputs\n")
        compared, _, rest = head.partition("# coils, each by its relay\n")
        named, _, sums = rest.partition("# states,")
        listed = r"^#   (\w+): (.*)$"
        lines = [line.split() for line in gates.splitlines()]
        return cls(
            {name: int(told.split()[0]) for name, told in re.findall(listed, compared, re.MULTILINE)},
            dict(re.findall(listed, named, re.MULTILINE)),
            dict(re.findall(r"^next_(\w+) = (.*)$", sums, re.MULTILINE)),
            [(name, kind, inputs) for name, kind, *inputs in lines],
        )

    @property
    def inputs(self) -> list[str]:
        """What a controller brings: comparators, and the present state."""
        return [*self.comparators, *self.coils, AWAY]

    def names(self) -> list[str]:
        return [*self.inputs, *(name for name, _, _ in self.gates)]

    def bits(self, reading: int, driven: frozenset[str], *, away: bool) -> dict[str, bool]:
        bits = {name: reading >= least for name, least in self.comparators.items()}
        return bits | {coil: relay in driven for coil, relay in self.coils.items()} | {AWAY: away}

    def by_gates(self, bits: dict[str, bool]) -> dict[str, bool]:
        """Every gate's output, each worked out from what stands before it."""
        known = dict(bits)
        for name, kind, inputs in self.gates:
            assert name not in known, name
            if kind == "const":
                (known[name],) = (one == "1" for one in inputs)
                continue
            values = [known[one.removeprefix("!")] ^ one.startswith("!") for one in inputs]
            known[name] = {"and": all, "or": any}[kind](values)
        return {name.removeprefix("next_"): value for name, value in known.items() if name.startswith("next_")}

    def by_equations(self, bits: dict[str, bool]) -> dict[str, bool]:
        """The sums of products as they are written."""
        return {
            name: any(
                all(bits[one.removeprefix("!")] ^ one.startswith("!") for one in product.split(" & ") if one != "1")
                for product in text.split(" | ")
                if product != "0"
            )
            for name, text in self.equations.items()
        }


def test_a_netlist_by_hand() -> None:
    """What the evaluators make of a text that uses all that there is."""
    text = (
        "#   cmp_1: 100 mV\n# coils, each by its relay\n#   coil_k: K 1\n# states,\n"
        "next_coil_k = cmp_1 & !away | coil_k\nnext_away = 1\n# gates: name, kind, inputs\n"
        "and_1_coil_k  and  cmp_1 !away\nand_2_coil_k  and  coil_k\nnext_coil_k  or  and_1_coil_k and_2_coil_k\n"
        "next_away  const  1\n"
    )
    found = Netlist.of(text)
    for reading, driven, away, then in ((99, "", False, False), (100, "", False, True), (100, "", True, False)):
        bits = found.bits(reading, frozenset({driven}), away=away)
        assert found.by_gates(bits) == found.by_equations(bits) == {"coil_k": then, "away": True}
    assert found.by_gates(found.bits(0, frozenset({"K 1"}), away=True))["coil_k"]


def logic_is_judged(case: Case) -> Netlist:
    """Every case that occurs, equations and gates alike; no name twice, however letters are told apart."""
    found = Netlist.of(logic(equations(case.program), case.program))
    relays = [relay.name for relay in case.design.relays]
    assert list(found.coils.values()) == [comment(relay) for relay in relays]
    found.coils.update(zip(found.coils, relays, strict=True))
    assert set(found.equations) == {*found.coils, AWAY}
    names = found.names()
    assert len({name.lower() for name in names}) == len(names)
    for row in standings(case.judge):
        for reading in {0, *(least + step for least in found.comparators.values() for step in (-1, 0, 1))}:
            then = case.decided(row, reading)
            expected = {coil: relay in case.energised[then] for coil, relay in found.coils.items()}
            bits = found.bits(reading, case.energised[row], away=row == AWAY)
            assert found.by_gates(bits) == expected | {AWAY: then == AWAY}, (row, reading)
            assert found.by_equations(bits) == expected | {AWAY: then == AWAY}, (row, reading)
    return found


SHORT = [case for case in CASES if not case.name.endswith("in order")]


@pytest.mark.parametrize("case", SHORT, ids=lambda case: case.name)
def test_equations_and_gates_are_the_table(case: Case) -> None:
    logic_is_judged(case)


def ladder(relays: Sequence[str], *, at: str = "input") -> Case:
    """A chain of relays by these names: with the first n driven, the output is at the n-th tap."""
    count = len(relays)
    heights = [300 + 25 * step for step in range(count + 1)]
    sections = [("base", "N", "T0", 300), *((f"s{n}", f"T{n - 1}", f"T{n}", 25) for n in range(1, count + 1))]
    links = {
        name: ("OUT" if n == 0 else f"X{n}", f"T{n}", f"X{n + 1}" if n + 1 < count else f"T{count}")
        for n, name in enumerate(relays)
    }
    bands = []
    for n in reversed(range(count + 1)):
        share = F(heights[n], 300) if at == "output" else F(1)
        middle = F(230 * 300, heights[n])
        low, high = (F(int(middle * side * share)) for side in (F(95, 100), F(105, 100)))
        bands.append((f"b{n}", list(relays[:n]), low, high))
    made = design(sections, links, terminals=("T0", "N", "OUT"), bands=bands, mains=(230, 150, 240),
                  sensing=model.Sensing(at=at))  # fmt: skip
    return Case(f"{'+'.join(relays)} {at}", control_table(made))


@pytest.mark.parametrize(
    ("relays", "at"),
    [
        (("A", "A 1", "c1", "c2"), "input"),
        (("away", "cmp_1", "and_1_A", "next_A", "coil_a"), "input"),
        (("A", "a", "A_2", "a 2", "and_1_coil_a"), "input"),
        (("A", "A 1", "c1", "c2", "away", "cmp_1", "and_1_A", "next_A", "coil_a"), "output"),
        (("next_away", "and_1_away", "1", "é", "-"), "output"),
    ],
)
def test_relays_whose_names_could_collide(relays: tuple[str, ...], at: str, tmp_path: Path) -> None:
    case = ladder(relays, at=at)
    found = logic_is_judged(case)
    assert found.coils.keys().isdisjoint(found.comparators)
    told = told_by(case, tmp_path)
    assert [value for name, value in told.values.items() if name.startswith("COIL_")] == [
        1 << place for place in range(len(relays))
    ]


def test_no_more_terms_than_a_second_minimiser() -> None:
    """sympy's sum of products on random functions of six variables, half of the cases free."""
    random, variables = Random("minimal"), symbols("a:f")
    for _ in range(40):
        cases = [tuple(number >> n & 1 for n in range(6)) for number in range(64)]
        kinds = [random.choice([0, 1, 2, 2]) for _ in cases]
        ones, zeros, free = ([c for c, k in zip(cases, kinds, strict=True) if k == kind] for kind in (1, 0, 2))
        ours = minimal(ones, zeros)
        assert all(any(all(case[n] == v for n, v in term) for term in ours) for case in ones)
        assert not any(any(all(case[n] == v for n, v in term) for term in ours) for case in zeros)
        theirs = SOPform(variables, [list(one) for one in ones], [list(one) for one in free])
        count = len(theirs.args) if theirs.func.__name__ == "Or" else 1
        assert len(ours) <= count


# Test vectors, the compiled decisions, and all kinds


@EACH
def test_every_vector_is_judged(case: Case) -> None:
    relays = [relay.name for relay in case.design.relays]
    rows = list(csv.DictReader(io.StringIO(vectors(case.program))))
    for row in rows:
        reading, then = int(row["reading"]), case.decided(row["from"], int(row["reading"]))
        assert row["to"] == then, row
        assert [row[relay] for relay in relays] == [str(int(relay in case.energised[then])) for relay in relays]
        assert float(row["volts"]) == pytest.approx(float(reading / case.scale), abs=1e-4)
    asked = {(row["from"], int(row["reading"])) for row in rows}
    assert len(asked) == len(rows)
    for one in standings(case.judge):
        for reading in case.readings[:-1]:
            if reading and case.decided(one, reading) != case.decided(one, reading - 1):
                assert {(other, at) for other in standings(case.judge) for at in (reading - 1, reading)} <= asked


def test_a_threshold_at_the_first_count_of_all() -> None:
    """A reading of nought is one of the vectors, where it is just below a threshold."""
    table = case_of("shepherds-hut").table
    low = replace(table.rows[0], kept=replace(table.rows[0].kept, low=F(1, 1000)))
    made = program(replace(table, rows=(low, *table.rows[1:])))
    rows = {(row["from"], row["reading"]): row["to"] for row in csv.DictReader(io.StringIO(vectors(made)))}
    assert rows[low.name, "0"] == AWAY
    assert rows[low.name, "1"] == low.name
    assert not any(reading.startswith("-") for _, reading in rows)


def told_decisions(path: Path, capsys: Any) -> dict[str, Any]:
    """The export as text and within an answer; both are the same."""
    assert main(["export", str(path), "--to", "decisions"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert main(["export", str(path), "--to", "decisions", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["verb"] == "export"
    assert answer["to"] == "decisions"
    assert "kill" in answer["caution"]
    assert set(found) == {"nodes", "coils", "orders"}
    assert {key: answer[key] for key in found} == found
    return found


GOLDEN = json.loads((ROOT / "tests/control/decisions_golden.json").read_text())


def decisions_are_judged(found: dict[str, Any], case: Case) -> None:
    table, rows = judged(case.table), standings(judged(case.table))
    assert [node["row"] for node in found["nodes"]] == rows
    golden = GOLDEN[0]["nodes"][0]
    everywhere = [F(cut["mark"]) for node in found["nodes"] for cut in node["cuts"]]
    for node in found["nodes"]:
        assert list(node) == list(golden)
        assert all(list(cut) == list(golden["cuts"][0]) for cut in node["cuts"])
        assert all(isinstance(cut["mark"], str) and str(F(cut["mark"])) == cut["mark"] for cut in node["cuts"])
        assert all(cut["above"] in (True, False) for cut in node["cuts"])
        assert len(node["answers"]) == len(node["cuts"]) + 1
        assert all(one != other for one, other in pairwise(node["answers"]))
        places = [(F(cut["mark"]), cut["above"]) for cut in node["cuts"]]
        assert places == sorted(set(places))
        for reading in {*telling_readings(node), *everywhere, *marks(table)}:
            assert decide(table, node["row"], reading) == known_answer(node, reading), (node["row"], reading)
    relays = [relay.name for relay in case.design.relays]
    assert found["coils"] == {row: [one for one in relays if one in case.energised[row]] for row in rows}
    assert list(found["coils"]) == rows
    for one in found["orders"]:
        assert list(one) == ["from", "to", "order"]


def orders_are_kept(found: dict[str, Any], case: Case) -> None:
    """Just the moves that are made one relay after the other; each names every relay that moves, once."""
    orders = {(one["from"], one["to"]): one["order"] for one in found["orders"]}
    assert len(orders) == len(found["orders"])
    for start, end in changes(judged(case.table), case.scale):
        movers = case.energised[start] ^ case.energised[end]
        if len(movers) < 2 or not case.one_by_one(start, end):
            assert (start, end) not in orders
            continue
        order = orders.pop((start, end))
        assert sorted(order) == sorted(movers)
        assert order == list(case.order(start, end) or order)
        masks = [case.mask(case.energised[start])]
        for relay in order:
            masks.append(masks[-1] ^ case.mask(frozenset({relay})))
        if (start, end) in case.changes:
            ends = [case.program.standings[standings(case.judge).index(row)] for row in (start, end)]
            assert list(case.program.paths[Change(*ends)]) == masks[1:]
    assert orders == {}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_decisions_of_shipped_designs(path: Path, capsys: Any) -> None:
    case, found = case_of(path.stem), told_decisions(path, capsys)
    decisions_are_judged(found, case)
    orders_are_kept(found, case)


def test_decisions_of_random_designs(capsys: Any, tmp_path: Path) -> None:
    chance, orders = Random(23), 0
    for number in range(40):
        drawn = random_design(chance)
        path = tmp_path / f"{number}.toml"
        path.write_text(drawn.text)
        case, found = Case(str(number), control_table(parse(drawn.text))), told_decisions(path, capsys)
        decisions_are_judged(found, case)
        orders_are_kept(found, case)
        orders += len(found["orders"])
    assert orders > 20


HOSTILE = '*/ int x; /* <script> ??/ \\ "=1+1" \u202e'


def test_hostile_names_stay_text_in_c(tmp_path: Path) -> None:
    table = case_of("ridge-dispensary").table
    rows = tuple(replace(row, name=f"{HOSTILE} {'x' * 9000} {n}") for n, row in enumerate(table.rows))
    evil = replace(table, design=replace(table.design, title=HOSTILE * 50), rows=rows)
    header = c_header(program(evil))
    done = compiled(tmp_path, walker([header]), {"table.h": header})
    assert (done.returncode, done.stderr) == (0, "")
    assert "*/" not in comment(HOSTILE)
    assert identifiers(("a b", "a-b", "é", "")) == ["A_B", "A_B_2", "X", "X_2"]
    assert identifiers(("y" * 50, "y" * 40)) == ["Y" * 40, "Y" * 40 + "_2"]


@pytest.mark.parametrize("kind", [one for one in FORMS if one != "decisions"])  # that answers with its own JSON
def test_every_kind_by_name_and_by_ending(kind: str, capsys: Any, tmp_path: Path) -> None:
    design = str(ROOT / "designs" / "ridge-dispensary.toml")
    assert main(["export", design, "--to", kind]) == 0
    plain = capsys.readouterr().out
    assert main(["export", design, "--to", kind, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["text"] == plain
    assert "kill" in answer["caution"]
    target = tmp_path / "out.txt"
    assert main(["export", design, "--to", kind, "-o", str(target)]) == 0
    assert target.read_text() == plain


@pytest.mark.parametrize(
    "words",
    [[], ["--to", "c", "--energised", "KL"], ["--to", "spice", "--energised", "KX"], ["-o", "x.unknown"]],
)
def test_bad_calls(words: list[str], capsys: Any) -> None:
    assert main(["export", str(ROOT / "designs" / "ridge-dispensary.toml"), *words]) == 2
    assert "accepted" in capsys.readouterr().err


def test_what_cannot_be_exported_says_why() -> None:
    table = case_of("ridge-dispensary").table
    with pytest.raises(UsageError, match="no bands"):
        program(replace(table, rows=()))
    narrow = replace(table.rows[1], kept=replace(table.rows[1].kept, low=F("200.0001"), high=F("200.0002")))
    with pytest.raises(UsageError, match="whole counts leave nothing"):
        program(replace(table, rows=(table.rows[0], narrow, *table.rows[2:])))
    high = replace(table.rows[-1], kept=replace(table.rows[-1].kept, high=F(2**31, 1000)))
    with pytest.raises(UsageError, match=f"threshold at {2**31 + 1}.* up to {MOST}"):
        program(replace(table, rows=(*table.rows[:-1], high)))
    alike = replace(table.rows[1], state=table.rows[0].state)
    with pytest.raises(UsageError, match="two bands with the same relays"):
        equations(program(replace(table, rows=(table.rows[0], alike, *table.rows[2:]))))
    links = PAIR | dict.fromkeys((f"K{number}" for number in range(30)), ("X", "A", "B"))
    bands = [("b", ["K29"], 180, 250)]
    assert program(control_table(design(TAPPED, links, bands=bands))).coils == (2**31, 0)
    with pytest.raises(UsageError, match="33 relays; accepted: up to 32"):
        program(control_table(design(TAPPED, links | {"KX": ("X", "A", "B")}, bands=bands)))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_netlist_in_ngspice(path: Path, tmp_path: Path) -> None:
    """Every state with a ratio: the output over the line is the ratio of the turns."""
    need_ngspice()
    table = control_table(load(path))
    design = replace(table.design, windings=tuple(replace(w, resistance_ohm=None) for w in table.design.windings))
    circuit = replace(
        table.circuit,
        sections=tuple(replace(one, resistance_ohm=None) for one in table.circuit.sections),
        contacts=tuple(replace(one, ohm=0) for one in table.circuit.contacts),
    )
    tried = 0
    for state in each_state(circuit):
        if not state.usable or tried >= 6:
            continue
        tried += 1
        (tmp_path / "deck.cir").write_text(spice(design, circuit, state.energised))
        run = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, text=True, check=False)
        volts = next(float(line.split()[2]) for line in run.stdout.splitlines() if line.startswith("0\t"))
        assert volts == pytest.approx(float(state.ratio * design.mains.nominal_v), rel=1e-4), state.energised
    assert tried
