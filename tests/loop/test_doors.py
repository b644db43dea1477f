"""One decision behind every door: the same courses of the line through all that answers, row by row.

The doors: the look-up and its slow courses, the automaton without noise, the command's `at`, its sweeps, its table,
its exported decisions, C, vectors and equations, the door for notebooks, the page in a browser. Each is held against
the rule as the format words it. `python -m tests.loop --doors 2000` goes through as many designs.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import tapplan
from tapplan.answers.at import BandInForce
from tapplan.cli.main import main
from tapplan.control.automaton import automaton
from tapplan.control.equations import Equations, equations
from tapplan.control.lookup import APPROACHES, Place, follows, line_of
from tapplan.control.program import Program, program
from tapplan.control.source import Source
from tapplan.errors import TapplanError, UsageError
from tests.loop.courses import MV, Case, Next, Tally, case_of, compiled, whole_table
from tests.outside import rule
from tests.outside.designs import random_design
from tests.outside.stage import AWAY

F = Fraction
Walk = list[tuple[str, Fraction, str]]
"""One decision after another: the row before, the reading, the row after."""

POINTS = 8  # inputs of slow courses
STEPS = 160  # decisions of one walk
BATCH = 40  # designs whose C is compiled at once


def drawn(count: int, seed: int) -> Iterator[Case]:
    """Designs with and without damage, half of them with their holds shaken, each under a title of its own."""
    chance = Random(seed)
    for number in range(count):
        one = random_design(chance, 0.5)
        text = one.text.replace("Drawn at random", f"Drawn at random {number}")
        yield _shaken(text, chance) if chance.random() < 0.5 else case_of(text)


def _shaken(text: str, chance: Random) -> Case:
    """The ends of the holds moved about, by so little that some stay and by so much that rows overlap or part."""
    for _ in range(20):
        share = chance.choice((0.003, 0.02, 0.08))
        moved = re.sub(r"(?<=\nhold_v = )\[(.*), (.*)\]", lambda ends, by=share: _moved(ends, by, chance), text)
        try:
            return case_of(moved)
        except TapplanError:  # ends the wrong way round, or beyond those of the backup
            continue
    return case_of(text)


def _moved(ends: re.Match[str], share: float, chance: Random) -> str:
    low, high = (float(end) * (1 + chance.uniform(-share, share)) for end in ends.groups())
    return f"[{low:.4f}, {high:.4f}]"


# Courses


def inputs(case: Case, chance: Random, count: int, parts: int | None = None) -> Iterator[Fraction]:
    """Inlet volts: slow stretches of many small steps, jumps anywhere, and marks with what lies beside them.

    With `parts`, in whole ones of a volt.
    """
    table = case.table
    shares = [(row.sensed, hold) for row, hold in zip(table.rows, table.holds, strict=True)]
    marks = [end / share for share, hold in shares for end in hold] + [
        end / table.away_sensed for end in table.back or ()
    ]
    marks += [2 * table.nominal / (one.ratio + other.ratio) for one, other in pairwise(table.rows)]
    top, here = max(marks) * F(6, 5), chance.choice(marks)
    left = count
    while left > 0:
        match chance.choice(("slow", "jump", "mark", "mark")):
            case "slow":
                step = F(chance.choice((-1, 1)) * chance.randint(1, 40), 10)
                length = min(left, chance.randint(3, 25))
                course = [here + step * number for number in range(1, length + 1)]
            case "jump":
                course = [F(chance.randint(0, int(top * 100)), 100)]
            case _:
                course = [chance.choice(marks) + chance.choice((-1, 0, 0, 1)) * F(1, chance.choice((1000, 10**6)))]
        for volts in course:
            here = max(volts, F(0))
            left -= 1
            yield here if parts is None else F(round(here * parts), parts)


def walk(case: Case, chance: Random, start: str = AWAY) -> Walk:
    """A course through the literal rule, one decision for each input."""
    here, found = start, []
    for volts in inputs(case, chance, STEPS):
        reading = volts * rule.sensed_in(case.table, here)
        found.append((here, reading, rule.decide(case.table, here, reading)))
        here = found[-1][-1]
    return found


# Doors that decide exactly, reading by reading


def exact(case: Case, design: Path, chance: Random, tally: Tally) -> None:
    made, table = case.review.decisions, case.review.table
    stiff = Source(F(0), F(0), table.design.output.nominal_v, "impedance")
    quiet = automaton(made, noisy=False, source=stiff)
    searched = searcher(told(["export", str(design), "--to", "decisions"], design.with_suffix(".json")))
    for before, reading, after in walk(case, chance, chance.choice([AWAY, *case.rows])):
        here, inlet = case.standings[before], reading / rule.sensed_in(case.table, before)
        doors = {
            "decisions": made.named(made.decided(here, reading)),
            "look-up": made.named(follows(made, here, Place(inlet))),
            "automaton": made.named(quiet.follows(here, inlet)),
            "exported decisions": searched(before, reading),
        }
        assert set(doors.values()) == {after}, (before, reading, after, doors, case.text)
        tally.count("decisions by four exact doors")
        if before != after:
            tally.count("changes of row", *(["changes of row, from or to away"] if AWAY in (before, after) else []))


def searcher(given: Any) -> Callable[[str, Fraction], str]:
    """The exported decisions, gone through cut by cut."""
    nodes = {
        node["row"]: ([(F(cut["mark"]), cut["above"]) for cut in node["cuts"]], node["answers"])
        for node in given["nodes"]
    }

    def decided(row: str, reading: Fraction) -> str:
        cuts, answers = nodes[row]
        assert len(answers) == len(cuts) + 1
        answer: str = answers[sum(reading > mark if above else reading >= mark for mark, above in cuts)]
        return answer

    return decided


def told(words: Sequence[str], answer: Path) -> Any:
    """What the command answers as JSON; it may find faults."""
    assert main([*words, "--json", "-o", str(answer), "--force"]) in (0, 1), words
    return json.loads(answer.read_text())


# Doors that follow the line slowly


def courses(case: Case, design: Path, chance: Random, tally: Tally) -> None:
    points = [F(round(volts * 100), 100) for volts in inputs(case, chance, POINTS)][:POINTS]
    literal = {volts: _literal(case, volts) for volts in points}
    slow, made = line_of(case.review.table), case.review.decisions
    for volts in points:
        for way in APPROACHES:
            found = slow.at(volts, way)
            here = rule.HUNTING if found.hunting else made.named(found.standing)
            assert here in literal[volts][way], (volts, way, here, literal[volts], case.text)
            tally.count("slow courses", *(["slow courses that hunt"] if here == rule.HUNTING else []))
    answers = told(["at", str(design), *(str(float(volts)) for volts in points)], design.with_suffix(".json"))
    for volts, point in zip(points, answers["points"], strict=True):
        _point(case, point, literal[volts])
        tally.count("points of at")
    for volts in points[:4]:
        _rows(case, tapplan.load(design).at(volts).points[0].answers, literal[volts])
        tally.count("points of the notebook's door")
    _sweep(case, design, chance, tally)


Literal = dict[str, frozenset[str]]


def _literal(case: Case, volts: Fraction) -> Literal:
    return {way: rule.slow_course(case.table, volts, way, F(7)) for way in APPROACHES}


def _point(case: Case, point: Any, literal: Literal) -> None:
    """One input of `at`: each way to it is told once, with the row in force, or as outside all of them."""
    ways: dict[str, str] = {}
    for answer in point["answers"]:
        band = next(one for one in case.stage.bands if one.name == answer["band"])
        assert set(answer["energised"]) == band.energised
        assert F(answer["ratio"]) == case.network.settled(band.name).ratio
        ways |= dict.fromkeys(answer["when"], answer["band"])
    outside = set(point.get("outside_when", []))
    assert not outside & set(ways), point
    assert outside | set(ways) == set(APPROACHES), point
    for way, band in ways.items():
        assert band in literal[way], (point, literal, case.text)
    allowed = {AWAY, rule.HUNTING}
    for way in outside:
        assert literal[way] & allowed, (point, literal, case.text)
    if outside:
        kinds = {"hunting"} if point["outside"] == "hunting" else {"backup" if case.stage.backup else "undefined"}
        assert point["outside"] in kinds
        wanted = rule.HUNTING if point["outside"] == "hunting" else AWAY
        assert any(wanted in literal[way] for way in outside), (point, literal, case.text)


def _rows(case: Case, rows: Sequence[BandInForce], literal: Literal) -> None:
    ways = {way: row.band for row in rows for way in row.when}
    for way in APPROACHES:
        expected = literal[way]
        assert ways[way] in expected if way in ways else expected & {AWAY, rule.HUNTING}, (ways, literal, case.text)


def _sweep(case: Case, design: Path, chance: Random, tally: Tally) -> None:
    low, high = case.stage.range
    step = F(chance.randint(20, 90), 10)
    first = max(low - 2 * step, F(1))
    words = f"{float(first)}:{float(high + 2 * step)}:{float(step)}"
    answer = told(["at", str(design), "--sweep", words, "--both-ways"], design.with_suffix(".json"))
    points = answer["points"]
    half = len(points) // 2
    assert [one["input_v"] for one in points[:half]] == [one["input_v"] for one in points[half:]][::-1]
    assert [one["direction"] for one in points] == ["rising"] * half + ["falling"] * half
    for number in chance.sample(range(half), min(half, 3)):
        volts = first + step * number
        literal = _literal(case, volts)
        for point in (points[number], points[-1 - number]):
            _point(case, point, literal)
            tally.count("points of sweeps")


# The table's own figures


def handovers(case: Case, design: Path, chance: Random, tally: Tally) -> None:
    """Slow courses that never were away, by the keys of the table alone, from one row to its neighbour."""
    bands = told(["table", str(design)], design.with_suffix(".json"))["bands"]
    assert [band["name"] for band in bands] == case.rows
    for number, band in enumerate(bands):
        assert (band["enter_rising_v"] is None) == (number == 0)
        assert (band["enter_falling_v"] is None) == (number == len(bands) - 1)
    for _ in range(3):
        _handed_over(case, bands, chance, tally)


def _handed_over(case: Case, bands: Sequence[Any], chance: Random, tally: Tally) -> None:
    low, high = (float(end) for end in case.stage.range)
    place, rising = chance.randrange(len(bands)), chance.random() < 0.5
    here = case.rows[place]
    volts = F(round(1000 * (bands[place]["leave_falling_v"] + bands[place]["leave_rising_v"]) / 2), 1000)
    step = F(chance.randint(100, 1700), 1000) * (1 if rising else -1)
    while 0.8 * low < volts < 1.2 * high:
        after = _at_rest(case, here, volts)
        if after is None:
            return
        if abs(case.rows.index(after) - case.rows.index(here)) == 1:
            key, leave = ("enter_rising_v", "leave_rising_v") if rising else ("enter_falling_v", "leave_falling_v")
            mark, left = bands[case.rows.index(after)][key], bands[case.rows.index(here)][leave]
            before, now = float(volts - step), float(volts)
            assert min(before, now) - 1e-9 <= mark <= max(before, now) + 1e-9, (here, after, mark, volts, case.text)
            assert (left <= now + 1e-9) if rising else (left >= now - 1e-9), (here, left, volts, case.text)
            tally.count("handovers by the table")
        here, volts = after, volts + step


def _at_rest(case: Case, here: str, volts: Fraction) -> str | None:
    """The row that stays at a steady input; None where none does, or the stage is away on the way to it."""
    for _ in range(len(case.rows) + 2):
        after = rule.decide(case.table, here, volts * rule.sensed_in(case.table, here))
        if after in (here, AWAY):
            return None if after == AWAY else here
        here = after
    return None


# Doors that read in whole numbers


def whole(batch: Sequence[Case], folder: Path, chance: Random, tally: Tally) -> None:
    """C, vectors and equations in millivolts, each along the same walk, against the rule at their own thresholds."""
    named = [(f"door_{number}", case.text) for number, case in enumerate(batch)]
    for (name, _), case, following in zip(named, batch, compiled(folder, named), strict=True):
        _whole(case, folder / f"{name}.toml", following, (chance, tally))


def _whole(case: Case, design: Path, following: Next, counted: tuple[Random, Tally]) -> None:
    chance, tally = counted
    table, made = whole_table(case.table), program(case.review.table)
    names = list(made.names)
    assert names == [*case.rows, AWAY]
    listed = by_vectors(design)
    solved = by_equations(made)
    tally.count("designs with equations" if solved else "designs whose rows share coils")
    here = chance.choice(names)
    for volts in inputs(case, chance, STEPS):
        reading = round(volts * rule.sensed_in(table, here) * MV)
        after = rule.decide(table, here, F(reading))
        doors = {
            "C": names[following(names.index(here), reading)],
            "vectors": listed(here, reading),
            "program": case.review.decisions.named(made.decided(case.standings[here], reading)),
            "equations": solved(here, reading) if solved else after,
        }
        assert set(doors.values()) == {after}, (here, reading, after, doors, case.text)
        tally.count("decisions by whole doors")
        here = after


def by_vectors(design: Path) -> Callable[[str, int], str]:
    """From the nearest reading listed at or below; below all of them, the lowest."""
    target = design.with_suffix(".csv")
    assert main(["export", str(design), "--to", "vectors", "-o", str(target), "--force"]) == 0
    listed: dict[str, list[tuple[int, str]]] = {}
    with target.open() as lines:
        for row in csv.DictReader(lines):
            listed.setdefault(row["from"], []).append((int(row["reading"]), row["to"]))

    def decided(here: str, reading: int) -> str:
        below = [to for mark, to in sorted(listed[here]) if mark <= reading]
        return below[-1] if below else min(listed[here])[1]

    return decided


def by_equations(made: Program) -> Callable[[str, int], str] | None:
    """Comparators and coils in, coils out; None where rows share their coils."""
    try:
        found: Equations = equations(made)
    except UsageError:
        return None
    relays = made.table.circuit.relays

    def bits(name: str) -> tuple[int, ...]:
        code = made.coils[made.names.index(name)]
        return (*(code >> number & 1 for number in range(len(relays))), int(name == AWAY))

    rows = {bits(name): name for name in made.names}

    def decided(here: str, reading: int) -> str:
        given = tuple(int(reading >= mark) for mark in found.thresholds) + bits(here)
        return rows[tuple(one.value(given) for one in found.each)]

    return decided


# What pytest runs


def every_door(count: int, seed: int, folder: Path, tally: Tally) -> Iterator[int]:
    """All doors but the browser's, design by design; gives how many are done."""
    batch: list[Case] = []
    for number, case in enumerate(drawn(count, seed)):
        chance, design = Random(f"{seed}/{number}"), folder / "design.toml"
        design.write_text(case.text)
        tally.count("designs", f"designs read at {case.stage.sensing.at if case.table.at_input else 'another place'}")
        if case.stage.backup and case.faults:
            tally.count("designs with a backup and a fault")
        exact(case, design, chance, tally)
        courses(case, design, chance, tally)
        handovers(case, design, chance, tally)
        batch.append(case)
        if len(batch) == BATCH or number == count - 1:
            whole(batch, folder, chance, tally)
            batch = []
        yield number + 1


def test_all_doors_agree(tmp_path: Path) -> None:
    tally = Tally()
    for _ in every_door(60, 5, tmp_path, tally):
        pass
    counts = tally.counts
    assert counts["decisions by four exact doors"] == counts["decisions by whole doors"] == 60 * STEPS
    assert counts["changes of row"] > 1500
    assert counts["changes of row, from or to away"] > 400
    assert counts["slow courses"] == 60 * 3 * POINTS
    assert counts["slow courses that hunt"] > 3
    assert counts["handovers by the table"] > 150
    assert counts["designs with equations"] > 40


PER_VOLT = 10  # the page's steps


def test_the_page_is_one_of_the_doors(browser: Any, tmp_path: Path) -> None:
    """A handful of designs: the page's own walk in tenths of a volt, one decision a step."""
    for number, case in enumerate(drawn(5, 7)):
        design, page, chance = tmp_path / "design.toml", tmp_path / "report.html", Random(number)
        design.write_text(case.text)
        assert main(["report", str(design), "-o", str(page), "--force"]) in (0, 1)
        browser.get(page.as_uri())
        steps = [int(volts * PER_VOLT) for volts in inputs(case, chance, 600, PER_VOLT)]
        script = "let at = tapplan.AWAY; return arguments[0].map((x) => (at = tapplan.decided(at, x)))"
        names, here = [*case.rows, AWAY], AWAY
        for step, theirs in zip(steps, browser.execute_script(script, steps), strict=True):
            reading = F(step, PER_VOLT) * rule.sensed_in(case.table, here)
            here = rule.decide(case.table, here, reading)
            assert names[theirs] == here, (step, case.text)
