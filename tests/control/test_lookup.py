"""Which band is in force: worked cases, a plain simulator that steps the line in small volts, the literal rule."""

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.control.decisions import decisions
from tapplan.control.lookup import (
    InForce,
    Place,
    Settled,
    SlowCourses,
    at,
    follows,
    in_force,
    inputs_of_interest,
    line_of,
    marks,
    outside,
    row_in,
    rows_entered,
    settled,
)
from tapplan.control.standing import AWAY, REST, InRow
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import parse
from tapplan.design.model import Backup, Design, Sensing
from tests.examples import PAIR, TAPPED, design
from tests.outside import rule as literal
from tests.outside.designs import random_design
from tests.outside.stage import read

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def names(table: ControlTable, volts: object) -> list[str | None]:
    answer = at(line_of(table), Fraction(str(volts)))
    rows = [row_in(table, found) for found in answer.courses.values()]
    return [row.name if row else None for row in rows]


def test_an_overlap_has_two_answers_and_its_ends_belong_to_both() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    assert names(table, 190) == ["b2", "b1", "b1"]  # start: 1.29 * 190 is 15 V off, 1.135 * 190 is 14.35 V off
    assert names(table, 192) == ["b2", "b1", "b1"]
    assert names(table, 188) == ["b2", "b1", "b2"]
    assert names(table, "192.001")[0] == "b1"
    assert names(table, "187.999")[1] == "b2"


def test_outside_all_bands_there_is_no_answer() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    assert names(table, 159) == [None, None, None]
    assert names(table, 281) == [None, None, None]
    answer = at(line_of(table), F(159))
    assert (answer.input_v, answer.rising, answer.start) == (159, Settled(AWAY), Settled(AWAY))
    assert answer.falling == Settled(AWAY, (AWAY,))  # the stretch below 160 V begins with b2 being left


def test_a_start_tie_goes_to_the_lower_ratio() -> None:
    """Ratios 1.2 and 0.8 around 230 V: at 230 V both outputs are 46 V off."""
    sections = (("a", "N", "A", 200), ("b", "A", "B", 40), ("c", "N", "C", 160))
    made = design(sections, {"K": ("OUT", "B", "C")}, terminals=("A", "N", "OUT"),
                  bands=[("up", [], 200, 240), ("down", ["K"], 220, 260)])  # fmt: skip
    assert names(control_table(made), 230) == ["up", "down", "down"]


def test_after_backup_the_load_returns_only_inside_return_v() -> None:
    """A dead zone between bands is left to backup; the next band takes over only inside the return range.

    Every course begins away. So a line rising to 155 V has not come in yet (the return begins at 165 V), while one
    that falls to it came in from above and stays down to leave_v. With a return up to 205 V a line that rises to
    212 V is away since the dead zone, and one that falls to it has not come in yet: nothing enters the band there.
    """
    bands = [("low", ["KO"], 160, 192), ("high", ["KL"], 210, 280)]
    backup = Backup(leave_v=(Fraction(150), Fraction(290)), return_v=(Fraction(165), Fraction(270)))
    table = control_table(design(TAPPED, PAIR, bands=bands, backup=backup))
    assert names(table, 200) == [None, None, None]
    assert names(table, 155) == [None, "low", None]
    assert names(table, "164.9") == [None, "low", None]
    assert names(table, 165) == ["low", "low", "low"]
    assert names(table, 150)[1] == "low"  # the effective end is leave_v
    assert names(table, "149.9")[1] is None
    assert names(table, 285) == ["high", None, None]
    assert names(table, 212) == ["high", "high", "high"]
    narrow = Backup(leave_v=(Fraction(150), Fraction(290)), return_v=(Fraction(165), Fraction(205)))
    table = control_table(design(TAPPED, PAIR, bands=bands, backup=narrow))
    assert names(table, 212) == [None, None, None]
    assert names(table, 190) == ["low", "low", "low"]


def test_the_return_is_judged_in_what_is_read_while_away() -> None:
    """Output sensed; away the pair stands at rest, 227/200: a return of 230 to 280 V is 202.6 to 246.7 V of input.

    "up" (ratio 129/100) holds 207 to 253 V of output, 160.5 to 196.1 V of input, so it is never returned to;
    "down" (ratio 1) holds 195 to 253 V, and is from 202.6 V on.
    """
    bands = [("up", ["KO"], 207, 253), ("down", ["KL", "KO"], 195, 253)]
    backup = Backup(leave_v=(F(207), F(253)), return_v=(F(230), F(280)))
    table = control_table(design(TAPPED, PAIR, bands=bands, sensing=Sensing(at="output"), backup=backup))
    begins = 230 / F(227, 200)
    assert names(table, begins) == ["down", "down", "down"]
    assert names(table, begins - F(1, 1000)) == [None, "down", None]
    assert names(table, 280 / F(227, 200)) == ["down", "down", "down"]
    assert names(table, 280 / F(227, 200) + F(1, 1000)) == ["down", None, None]
    assert names(table, "194.9") == [None, "up", None]


NARROW = [("up", [], 210, 250), ("down", ["KL"], 205, 252)]


def test_sensed_at_the_output_thresholds_act_at_the_reading_over_the_ratio() -> None:
    """Output thresholds 210 and 250 V act at 210/g and 250/g of the state that is leaving."""
    made = design(TAPPED, PAIR, bands=NARROW, sensing=Sensing(at="output"))
    table = control_table(made)
    g_up, g_down = Fraction(227, 200), Fraction(227, 258)
    assert names(table, 210 / g_up)[0] == names(table, 250 / g_up)[0] == "up"
    assert names(table, Fraction(205) / g_down)[1] == "down"
    assert table.rows[0].input_hold.high == 250 / g_up  # type: ignore[union-attr]


def test_where_each_move_undoes_the_other_the_stage_hunts() -> None:
    """At 225 V "up" gives 255.4 V, more than its 250, and "down" 198 V, less than its 205.

    Away, 225 V is read as 255.4 V, which "up" would read too, and "down" as 198: neither is taken.
    """
    table = control_table(design(TAPPED, PAIR, bands=NARROW, sensing=Sensing(at="output")))
    made, place = decisions(table), Place(F(225))
    up, down = InRow(0), InRow(1)
    assert settled(made, up, place) == Settled(up, (down, up), hunting=True)
    assert settled(made, down, place) == Settled(down, (up, down), hunting=True)
    assert settled(made, AWAY, place) == Settled(AWAY)
    assert names(table, 225) == [None, None, None]
    answer = at(line_of(table), F(225))
    assert (answer.rising.hunting, answer.falling.hunting, answer.start.hunting) == (True, True, False)
    assert [outside(table, one) for one in answer.courses.values()] == ["hunting", "hunting", "undefined"]
    assert in_force(table, answer) == [
        InForce(None, "hunting", ("rising", "falling")),
        InForce(None, "undefined", ("start",)),
    ]
    assert rows_entered(made, up, F(225)) == [1]


def test_hunting_is_named_before_the_backup_however_the_courses_stand() -> None:
    """A return of 265 to 320 V as read while away is 233.5 to 281.9 V of input: only a falling line comes in."""
    backup = Backup(leave_v=(F(210), F(252)), return_v=(F(265), F(320)))
    table = control_table(design(TAPPED, PAIR, bands=NARROW, sensing=Sensing(at="output"), backup=backup))
    assert in_force(table, at(line_of(table), F(225))) == [
        InForce(None, "hunting", ("falling",)),
        InForce(None, "backup", ("rising", "start")),
    ]


def test_what_is_in_force_stands_by_rising_input_and_outside_last() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    b2, b1, *_ = table.rows
    assert in_force(table, at(line_of(table), F(190))) == [
        InForce(b2, None, ("rising",)),
        InForce(b1, None, ("falling", "start")),
    ]
    backup = Backup(leave_v=(F(155), F(285)), return_v=(F(165), F(280)))
    table = control_table(design(TAPPED, PAIR, bands=BANDS, backup=backup))
    assert in_force(table, at(line_of(table), F(162))) == [
        InForce(table.rows[0], None, ("falling",)),
        InForce(None, "backup", ("rising", "start")),
    ]


def test_a_course_of_several_rows_is_entered_row_by_row() -> None:
    """Read at the output: 240 V give 309.6, 272.4 and 240 V; 170 V 170, 192.95 and 219.3 V; 300 V are too much."""
    bands = [("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)]
    made = decisions(control_table(design(TAPPED, PAIR, bands=bands, sensing=Sensing(at="output"))))
    assert rows_entered(made, InRow(0), F(240)) == [1, 2]
    assert rows_entered(made, InRow(2), F(170)) == [1, 0]
    assert rows_entered(made, InRow(0), F(300)) == [1, 2]
    assert settled(made, InRow(0), Place(F(300))) == Settled(AWAY, (InRow(1), InRow(2), AWAY))
    assert rows_entered(made, InRow(1), F(200)) == []
    assert rows_entered(made, AWAY, F(170)) == [0]
    assert rows_entered(made, REST, F(170)) == [0]


def test_where_nothing_fixes_the_reading_the_stage_is_away() -> None:
    bands = [("nothing", ["K"], 200, 252)]
    links = {"K": ("OUT", "B", "X")}
    made = design(TAPPED, links, terminals=("A", "N", "OUT"), bands=bands, sensing=Sensing(at="output"))
    table = control_table(made)
    assert follows(decisions(table), InRow(0), Place(F(220))) is AWAY
    assert marks(decisions(table)) == []
    assert [names(table, volts) for volts in (0, 220)] == [[None] * 3, [None] * 3]
    assert inputs_of_interest(decisions(table)) == [0, 1]


def test_marks_and_the_inputs_between_them() -> None:
    """In input volts: at the output 227/200 turns 227 V into 200, and switching on hands over nowhere."""
    table = control_table(design(TAPPED, PAIR, bands=[("one", [], 160, 192)]))
    assert marks(decisions(table)) == [160, 192]
    assert inputs_of_interest(decisions(table)) == [0, 80, 160, 176, 192, 193]
    table = control_table(design(TAPPED, PAIR, bands=[("one", [], 227, 454)], sensing=Sensing(at="output")))
    assert marks(decisions(table)) == [200, 400]


def test_just_beside_a_mark_is_a_place_of_its_own() -> None:
    made = decisions(control_table(design(TAPPED, PAIR, bands=BANDS)))
    assert [follows(made, InRow(0), Place(F(192), side)) for side in (-1, 0, 1)] == [InRow(0), InRow(0), InRow(1)]
    assert [follows(made, AWAY, Place(F(160), side)) for side in (-1, 0, 1)] == [AWAY, InRow(0), InRow(0)]


def test_a_stretch_between_two_marks_one_step_apart_is_neither() -> None:
    """Between 160 and 161 V nothing holds, whichever way the line came."""
    table = control_table(design(TAPPED, PAIR, bands=[("low", ["KO"], 100, 160), ("high", [], 161, 200)]))
    assert [names(table, volts) for volts in (160, "160.5", 161)] == [["low"] * 3, [None] * 3, ["high"] * 3]


class Simulator:
    """The rules of the control table, stepped; shares nothing with the lookup but the rows' numbers.

    Only for tables read at the input.
    """

    def __init__(self, made: Design, table: ControlTable) -> None:
        self.rows = [(row.name, row.hold, row.ratio or F(0)) for row in table.rows]
        self.made = made
        self.ends = [[hold.low, hold.high] for _, hold, _ in self.rows]
        if made.backup is not None:
            self.ends[0][0] = made.backup.leave_v[0]
            self.ends[-1][1] = made.backup.leave_v[1]

    def keeps(self, number: int, volts: Fraction) -> bool:
        return self.ends[number][0] <= volts <= self.ends[number][1]

    def start(self, volts: Fraction) -> int | None:
        back = self.made.backup
        if back is not None and not back.return_v[0] <= volts <= back.return_v[1]:
            return None
        holding = [n for n in range(len(self.rows)) if self.keeps(n, volts)]
        nominal = self.made.output.nominal_v
        return min(holding, key=lambda n: (abs(self.rows[n][2] * volts - nominal), self.rows[n][2]), default=None)

    def decide(self, band: int | None, volts: Fraction) -> int | None:
        if band is None:
            return self.start(volts)
        if self.keeps(band, volts):
            return band
        onward = range(band + 1, len(self.rows)) if volts > self.ends[band][1] else range(band - 1, -1, -1)
        return next((n for n in onward if self.keeps(n, volts)), None)

    def course(self, inputs: list[Fraction]) -> int | None:
        """The band after these inputs, away at first, as many decisions at each as it takes."""
        band: int | None = None
        for volts in inputs:
            while (there := self.decide(band, volts)) != band:
                band = there
        return band


@st.composite
def tables(draw: st.DrawFn) -> Design:
    edges = sorted(draw(st.lists(st.integers(150, 290), min_size=8, max_size=8, unique=True)))
    order = [("b2", ["KO"]), ("b1", []), ("d", ["KL", "KO"]), ("k", ["KL"])]
    chosen = draw(st.lists(st.sampled_from(order), min_size=1, max_size=4, unique_by=lambda band: band[0]))
    chosen.sort(key=order.index)
    bands = []
    for place, (name, energised) in enumerate(chosen):
        low, high = sorted((edges[2 * place], edges[min(2 * place + draw(st.integers(1, 3)), 7)]))
        bands.append((name, energised, low, high) if low < high else (name, energised, low, low + 1))
    backup = None
    if draw(st.booleans()):
        lows, highs = [band[2] for band in bands], [band[3] for band in bands]
        leave = (Fraction(min(lows) - draw(st.integers(0, 4))), Fraction(max(highs) + draw(st.integers(0, 4))))
        inner = sorted(draw(st.lists(st.integers(int(leave[0]), int(leave[1])), min_size=2, max_size=2, unique=True)))
        backup = Backup(leave_v=leave, return_v=(Fraction(inner[0]), Fraction(inner[1])))
    return design(TAPPED, PAIR, bands=bands, backup=backup)


@settings(max_examples=300)
@given(tables(), st.integers(290, 600).map(lambda n: Fraction(n, 2)))
def test_slow_courses_agree_with_small_steps(made: Design, volts: Fraction) -> None:
    """Steps of a quarter volt meet every threshold (all are whole) and the stretch beyond it."""
    table = control_table(made)
    plain = Simulator(made, table)
    quarter = Fraction(1, 4)
    low, high = plain.ends[0][0] - 1, max(end for _, end in plain.ends) + 1  # beyond these nothing can happen
    rising = [low + quarter * n for n in range(int((volts - low) / quarter) + 1)]
    falling = [high - quarter * n for n in range(int((high - volts) / quarter) + 1)]
    expected = [plain.course(rising), plain.course(falling), plain.start(volts)]
    assert names(table, volts) == [None if n is None else plain.rows[n][0] for n in expected]


@pytest.mark.parametrize("volts", [0, 10**9])
def test_extreme_inputs_are_outside(volts: int) -> None:
    assert names(control_table(design(TAPPED, PAIR, bands=BANDS)), volts) == [None, None, None]


def test_every_course_through_random_designs_is_the_one_of_the_literal_rule() -> None:
    """Sixty designs read at input, output or a winding; courses in steps, decided by the literal rule."""
    chance = Random(43)
    known = hunted = 0
    for _ in range(60):
        text = random_design(chance, damaged=0.6).text
        plain, line = literal.table_of(read(text)), line_of(control_table(parse(text)))
        some = [chance.choice(line.marks) + chance.choice((-1, 0, 0, 1)) * literal.TINY for _ in range(5)]
        for volts in [*some, F(chance.randint(1, 8000), 20)]:
            for course, found in at(line, volts).courses.items():
                ends = literal.HUNTING if found.hunting else line.made.named(found.standing)
                assert literal.slow_course(plain, volts, course, step=F(20)) == {ends}, (volts, course)
                known, hunted = known + (ends != "away"), hunted + found.hunting
    assert known > 400
    assert hunted > 0


def test_a_line_is_followed_once_for_all_inputs() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    line = line_of(table)
    assert at(line, F(190)) == at(SlowCourses(decisions(table)), F(190))
    assert line.at(F(190), "rising") == Settled(InRow(0))
    fewer = replace(table.design, bands=table.design.bands[:1])
    assert at(line_of(control_table(fewer)), F(200)).rising == Settled(AWAY, (AWAY,))
