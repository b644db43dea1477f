"""The firmware of a design, compiled: each decision, each time, each coil, against what does not know it.

Decisions are held against the literal judge of `tests.outside.rule`, courses against the simulator in time of
`tests.outside.loop`, whose controller is then this firmware, and against a plain course of this file's own.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections import Counter
from contextlib import redirect_stdout
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import floor
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest

from tapplan.cli.main import main
from tapplan.control.table import control_table
from tapplan.design.file import parse
from tapplan.pages.firmware.directory import firmware
from tests.engines.firmware import Loaded, compiled, name_of, put, told
from tests.engines.judging import standings
from tests.engines.test_exports import CASES, EACH, MOST, Case, case_of
from tests.examples import ROOT
from tests.outside.designs import random_design
from tests.outside.loop import Decision, Record, Settings, _Copper, _Course, line
from tests.outside.rule import decide, table_of
from tests.outside.stage import AWAY, Network, read

F = Fraction
SHIPPED = [case for case in CASES if (ROOT / "designs" / f"{case.name}.toml").exists()]
EACH_SHIPPED = pytest.mark.parametrize("case", SHIPPED, ids=lambda case: case.name)


@cache
def texts_of(case_name: str) -> dict[str, str]:
    return firmware(case_of(case_name).program)


def loaded(case: Case, folder: Path) -> Loaded:
    return Loaded(folder, texts_of(case.name))


@EACH
@pytest.mark.parametrize("tool", ["gcc", "clang"])
def test_the_program_that_comes_with_it_finds_nothing_wrong(case: Case, tool: str, tmp_path: Path) -> None:
    texts = texts_of(case.name)
    put(tmp_path, texts)
    compiled(tmp_path, ["vectors.c", f"{name_of(texts)}.c"], tool=tool)
    (last,) = told(tmp_path)
    assert last.endswith(" 0 wrong")
    assert int(last.split()[0]) >= 2 * len(case.program.thresholds)


@EACH_SHIPPED
def test_a_wrong_vector_is_told(case: Case, tmp_path: Path) -> None:
    """The program that comes with it can find something wrong: every decision and every line of the course turned."""
    texts = dict(texts_of(case.name))
    away = len(case.judge.rows)
    lines = [line for line in texts["vectors.c"].splitlines() if line.startswith("  {") and line.count(",") >= 2]
    assert len(lines) >= 2
    put(tmp_path, texts)
    chance = Random(case.name)
    for wrong in chance.sample(lines, 2):
        numbers = wrong.strip(" {},").replace("U", "").replace("L", "").split(", ")
        place = 1 if len(numbers) == 3 else 2  # the band that follows, in a decision and in a course
        numbers[place] = str((int(numbers[place]) + 1) % (away + 1))
        turned = texts["vectors.c"].replace(wrong, f"  {{{', '.join(numbers)}}},".replace("},", "}", 1) + ",", 1)
        put(tmp_path, {"vectors.c": turned.replace("},,", "},")})
        compiled(tmp_path, ["vectors.c", f"{name_of(texts)}.c"])
        with pytest.raises(AssertionError):
            told(tmp_path)


EVERY = """
#include <stdio.h>
#include <stdlib.h>
#include "LOWER.h"
int main(int count, char **words)
{
  const long most = count > 1 ? atol(words[1]) : 0;
  long reading;
  unsigned band;
  for (band = 0U; band <= UPPER_AWAY; band++) {
    int last = -1;
    for (reading = 0; reading <= most; reading++) {
      const int then = (int)LOWER_next((uint8_t)band, (int32_t)reading);
      if (then != last) printf("%u %ld %d\\n", band, reading, then);
      last = then;
    }
  }
  return 0;
}
"""


@EACH_SHIPPED
def test_every_band_with_every_count(case: Case, tmp_path: Path) -> None:
    """From 0 to well above the highest threshold, one by one; the ends of what is alike are the program's."""
    texts = texts_of(case.name)
    name, made = name_of(texts), case.program
    text = EVERY.replace("UPPER", name.upper()).replace("LOWER", name)
    compiled(put(tmp_path, {**texts, "every.c": text}), ["every.c", f"{name}.c"], "-O2")
    most = 4096 if made.counted else 2 * max(made.thresholds)
    found = [tuple(map(int, line.split())) for line in told(tmp_path, str(most))]
    sound = most + 1 if made.most_reading is None else made.most_reading + 1
    wanted = [
        (place, first, made.number(answer))
        for place, node in enumerate(made.nodes)
        for first, answer in zip((0, *node.firsts), node.answers, strict=True)
    ]
    assert max(first for _, first, _ in wanted) < sound
    away = len(made.nodes) - 1
    ends = {place: then for place, _, then in wanted}
    assert found == sorted(
        wanted + [(place, sound, away) for place, last in ends.items() if sound <= most and last != away]
    )


@EACH
def test_decisions_as_the_rule_reads(case: Case, tmp_path: Path) -> None:
    here, rows = loaded(case, tmp_path), standings(case.judge)
    most = case.program.most_reading
    for place, row in enumerate(rows):
        for reading in case.readings:
            then = AWAY if most is not None and reading > most else case.decided(row, reading)
            assert here.next(place, reading) == rows.index(then), (row, reading)
        assert here.next(place, -1) == here.next(place, -MOST - 1) == len(rows) - 1
    assert here.next(len(rows), case.readings[20]) == here.next(255, case.readings[20])
    assert here.next(255, case.readings[20]) == here.next(len(rows) - 1, case.readings[20])
    assert here.self_test() == 0


# Courses in the simulator


class Driven(_Course):
    """The simulated stage with the firmware for its controller, called every millisecond, settling or not."""

    def __init__(self, case: Case, here: Loaded, **more: Any) -> None:
        super().__init__(**more)
        self.case, self.here = case, here
        self.rows = standings(case.judge)
        self.coils: list[tuple[float, int]] = [(0.0, case.mask(case.energised[AWAY]))]
        here.start()

    def _scan(self, first: int, end: int) -> int | None:
        assert not callable(self.noise)
        readings = self.meter.readings(self.past + first, self.past + end) * (1 + self.settings.error)
        for step, reading in enumerate((readings + self.noise[first:end]).tolist(), first):
            now = (step + 1) * self.step_ms
            mask = self.here.step(1, whole(reading, self.case))
            row = self.rows[self.here.band]
            if row != self.row:
                before = self.row
                self._turn_to(step + 1)
                self._begin(Decision(now, before, row, reading, ()))
                assert mask == self.wanted(now), (now, before, row, self.case.name)
                return step + 1
            assert mask == self.wanted(now), (now, row, self.case.name)
        return None

    def _begin(self, decision: Decision) -> None:
        mask = self.coils[-1][1]
        for one in self._commands((decision.before, decision.after), decision.time):
            mask ^= 1 << one.number
            self.coils.append((one.time, mask))
        super()._begin(decision)

    def wanted(self, now: float) -> int:
        """The coils that the simulator drives."""
        return self.coils[bisect_right([time for time, _ in self.coils], now) - 1][1]


def whole(reading: float, case: Case) -> int:
    """A reading as firmware has it."""
    return max(floor(reading * float(case.scale) + 0.5), 0)


def orders_of(case: Case) -> dict[tuple[str, str], list[str]]:
    """The relays of each move one after the other, as the design has them proven."""
    made, relays = case.program, [relay.name for relay in case.design.relays]
    found = {}
    for change, passing in made.passings.items():
        masks = [made.coils[made.number(change.start)], *passing.masks]
        flips = [relays[(one ^ other).bit_length() - 1] for one, other in pairwise(masks) if one != other]
        found[made.names[made.number(change.start)], made.names[made.number(change.end)]] = flips
    return found


def volts_over_time(case: Case, chance: Random, lasts: float) -> list[tuple[float, float]]:
    """A line with steps, ramps, sags and swells, and at times none at all."""
    low, high = (float(end) for end in case.design.mains.range_v)
    points, now = [(0.0, chance.uniform(low, high))], 0.0
    while now < lasts:
        volts = chance.choice((chance.uniform(low, high), chance.uniform(0.9 * low, 1.1 * high), points[-1][1]))
        if chance.random() < 0.05:
            volts = 0.0
        now += chance.choice((0.0, chance.uniform(0, 40), chance.uniform(50, 500)))
        points.append((now, volts))
        now += chance.choice((0.0, chance.uniform(0, 30), chance.uniform(0, 400)))
        points.append((now, volts))
    return points


def flown(case: Case, text: str, here: Loaded | None, seed: int) -> Record:
    """One course, with the simulator's own controller or with the firmware."""
    chance, stage = Random(f"{case.name} {seed}"), read(text)
    network = Network(stage)
    error = float(case.design.sensing.error)
    lasts = 4000.0
    settings = Settings(
        step_ms=1.0,
        error=chance.choice((-error, 0.0, error)),
        noise=chance.choice(("random", "extremes", "none")),
        times=chance.choice(("random", "extremes", "most", "least")),
        bounce=chance.choice(("random", "open", "closed")),
        frequency_hz=50,
        loaded=chance.random() < 0.7,
    )
    known: dict[tuple[str, int], str] = {}

    def decided(row: str, reading: float) -> str:
        asked = row, whole(reading, case)
        if asked not in known:
            known[asked] = decide(case.judge, row, asked[1] / case.scale)
        return known[asked]

    given: dict[str, Any] = {
        "copper": _Copper(network),
        "emf": line(*volts_over_time(case, chance, lasts)),
        "duration": lasts,
        "chance": chance,
        "settings": settings,
        "table": table_of(stage, network).in_floats(),
        "decide": decided,
        "orders": orders_of(case),
    }
    course = _Course(**given) if here is None else Driven(case, here, **given)
    assert course.step_ms == 1.0
    return course.finished()


def on_whole_ms(case: Case) -> bool:
    """Every time of the design is a whole ms, and so is the window at 50 Hz."""
    made, sensing, backup = case.program, case.design.sensing, case.design.backup
    waits = [wait for one in made.passings.values() for wait in one.waits_ms]
    waits += [sensing.confirmation_ms(upward=one) for one in (True, False)]
    waits += [20 * sensing.window_cycles, F(0) if backup is None else backup.return_after_ms]
    return all(one.denominator == 1 for one in waits)


SAFEST = '\n[sequence]\norder = "safest"\nblank_ms = 7\n'


def course_cases() -> list[tuple[Case, str]]:
    """Shipped designs, the same one relay after the other, and random ones that read in all places.

    Only those whose coils are all at rest while away, as they are before switch-on.
    """
    shipped = [(path.stem, written_out(path)) for path in sorted((ROOT / "designs").glob("*.toml"))]
    shipped += [(f"{name} safest", text + SAFEST) for name, text in shipped if "[sequence]" not in text]
    found = [(Case(name, control_table(parse(text))), text) for name, text in shipped]
    chance, wanted = Random(29), {"input": 8, "output": 8, "winding": 8}
    while any(wanted.values()):
        drawn = random_design(chance)
        case = Case(f"{drawn.sensed} {wanted[drawn.sensed]}", control_table(parse(drawn.text)))
        if wanted[drawn.sensed] and not case.program.coils[-1] and on_whole_ms(case):
            wanted[drawn.sensed] -= 1
            found.append((case, drawn.text))
    return found


def written_out(path: Path) -> str:
    """A design with all its bands and holds in the file, which the simulator needs."""
    with TemporaryDirectory() as folder:
        copy = Path(folder) / path.name
        copy.write_text(path.read_text())
        if "hold_v" not in path.read_text():
            with redirect_stdout(io.StringIO()):
                assert main(["bands", str(copy), "--write"]) == 0
        return copy.read_text()


COURSES = course_cases()
SEEDS = 3


@pytest.mark.parametrize(("case", "text"), COURSES, ids=[case.name for case, _ in COURSES])
def test_in_a_closed_loop_it_moves_as_the_simulators_own_controller(case: Case, text: str, tmp_path: Path) -> None:
    """The same line, noise and flights twice: decisions, coils and the output at each millisecond are the same."""
    here = Loaded(tmp_path, firmware(case.program))
    for seed in range(SEEDS):
        own, driven = flown(case, text, None, seed), flown(case, text, here, seed)
        kept = [(one.time, one.before, one.after, one.moved) for one in own.decisions]
        assert [(one.time, one.before, one.after, one.moved) for one in driven.decisions] == kept
        assert np.array_equal(own.output, driven.output, equal_nan=True)
        assert own.operations == driven.operations


def test_enough_is_seen_in_closed_loops() -> None:
    assert len(COURSES) >= 30
    seen: Counter[str] = Counter()
    for case, text in COURSES:
        decisions = flown(case, text, None, 0).decisions
        seen.update(decisions=len(decisions), away=sum(one.after == AWAY for one in decisions))
        seen.update(in_turn=sum(len(one.moved) > 1 for one in decisions) * case.one_by_one("", ""))
    assert seen["decisions"] > 400
    assert seen["away"] > 40
    assert seen["in_turn"] > 40
