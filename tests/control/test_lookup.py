"""Which band is in force: worked cases, and a plain simulator that steps the line in small volts."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.control.lookup import at, slow
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Backup, Design, Sensing
from tests.examples import PAIR, TAPPED, design

BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def names(table: ControlTable, volts: object) -> list[str | None]:
    answer = at(table, Fraction(str(volts)))
    return [row.name if row else None for row in (answer.rising, answer.falling, answer.start)]


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


def test_a_start_tie_goes_to_the_lower_ratio() -> None:
    """Ratios 1.2 and 0.8 around 230 V: at 230 V both outputs are 46 V off."""
    sections = (("a", "N", "A", 200), ("b", "A", "B", 40), ("c", "N", "C", 160))
    made = design(sections, {"K": ("OUT", "B", "C")}, terminals=("A", "N", "OUT"),
                  bands=[("up", [], 200, 240), ("down", ["K"], 220, 260)])  # fmt: skip
    assert names(control_table(made), 230) == ["up", "down", "down"]


def test_after_backup_the_load_returns_only_inside_return_v() -> None:
    """A dead zone between bands is left to backup; the next band takes over only inside the return range."""
    bands = [("low", ["KO"], 160, 192), ("high", ["KL"], 210, 280)]
    backup = Backup(leave_v=(Fraction(150), Fraction(290)), return_v=(Fraction(165), Fraction(270)))
    table = control_table(design(TAPPED, PAIR, bands=bands, backup=backup))
    assert names(table, 200) == [None, None, None]
    assert names(table, 155) == ["low", "low", "low"]  # the effective end is leave_v
    assert names(table, 212)[0] == "high"
    narrow = Backup(leave_v=(Fraction(150), Fraction(290)), return_v=(Fraction(165), Fraction(205)))
    table = control_table(design(TAPPED, PAIR, bands=bands, backup=narrow))
    assert names(table, 212) == [None, "high", "high"]


def test_sensed_at_the_output_thresholds_act_at_the_reading_over_the_ratio() -> None:
    """Output thresholds 210 and 250 V act at 210/g and 250/g of the state that is leaving."""
    bands = [("up", [], 210, 250), ("down", ["KL"], 205, 252)]
    made = design(TAPPED, PAIR, bands=bands, sensing=Sensing(at="output"))
    table = control_table(made)
    g_up, g_down = Fraction(227, 200), Fraction(227, 258)
    assert names(table, 250 / g_up)[0] == "up"
    assert slow(table, Fraction(205) / g_down, "falling").name == "down"  # type: ignore[union-attr]
    assert table.rows[0].input_hold.high == 250 / g_up  # type: ignore[union-attr]


class Simulator:
    """The rules of the control table, stepped; shares nothing with the lookup but the rows' numbers."""

    def __init__(self, made: Design, table: ControlTable) -> None:
        self.rows = [(row.name, row.sensed, row.hold, row.ratio) for row in table.rows]
        self.made = made
        self.ends = [[hold.low, hold.high] for _, _, hold, _ in self.rows]
        if made.backup is not None:
            self.ends[0][0] = made.backup.leave_v[0]
            self.ends[-1][1] = made.backup.leave_v[1]

    def keeps(self, number: int, volts: Fraction) -> bool:
        return self.ends[number][0] <= volts * self.rows[number][1] <= self.ends[number][1]

    def start(self, volts: Fraction) -> int | None:
        holding = [n for n in range(len(self.rows)) if self.keeps(n, volts)]
        nominal = self.made.output.nominal_v
        return min(holding, key=lambda n: (abs(self.rows[n][3] * volts - nominal), self.rows[n][3]), default=None)

    def course(self, inputs: list[Fraction], first: int) -> int | None:
        band: int | None = first
        last = first
        for volts in inputs:
            if band is not None and self.keeps(band, volts):
                continue
            if band is None and self.made.backup is not None:
                back = self.start(volts)
                inside = back is not None and (
                    self.made.backup.return_v[0] <= volts * self.rows[back][1] <= self.made.backup.return_v[1]
                )
                band = back if inside else None
            else:
                up = inputs[-1] >= inputs[0]
                onward = range(last + 1, len(self.rows)) if up else range(last - 1, -1, -1)
                band = next((n for n in onward if self.keeps(n, volts)), None)
            last = band if band is not None else last
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
    low, high = plain.ends[0][0], plain.ends[-1][1]
    rising = [low + quarter * n for n in range(int((volts - low) / quarter) + 1)] if volts >= low else []
    falling = [high - quarter * n for n in range(int((high - volts) / quarter) + 1)] if volts <= high else []
    expected = [
        plain.course(rising, 0) if rising else None,
        plain.course(falling, len(plain.rows) - 1) if falling else None,
        plain.start(volts),
    ]
    assert names(table, volts) == [None if n is None else plain.rows[n][0] for n in expected]


@pytest.mark.parametrize("volts", [0, 10**9])
def test_extreme_inputs_are_outside(volts: int) -> None:
    assert names(control_table(design(TAPPED, PAIR, bands=BANDS)), volts) == [None, None, None]
