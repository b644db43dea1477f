"""The keys of the truth table, recomputed by hand for one small table."""

from fractions import Fraction

from tapplan.control.table import control_table
from tapplan.design.model import Backup, Sensing
from tapplan.exact import Span
from tests.examples import PAIR, TAPPED, design

BANDS = [("k", ["KL"], 241, 280), ("b1", [], 180, 217), ("d", ["KL", "KO"], 213, 246)]


def test_rows_stand_by_rising_input_and_entries_follow_the_neighbours() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    assert [row.name for row in table.rows] == ["b1", "d", "k"]
    assert [table.entries(place) for place in range(3)] == [(None, 213), (217, 241), (246, None)]


def test_outputs_nominal_and_worst() -> None:
    """Nominal: ratio times the hold within the range. Worst: the real hold [m/(1+e), m/(1-e)] within the range."""
    made = design(TAPPED, PAIR, bands=BANDS, mains=(230, 190, 270), sensing=Sensing(error_pct=Fraction(2)))
    table = control_table(made)
    boost, direct, buck = table.rows
    ratio = Fraction(227, 200)
    assert table.output_nominal(boost) == Span(ratio * 190, ratio * 217)
    assert table.output_worst(boost) == Span(ratio * 190, ratio * 217 / Fraction(98, 100))
    assert table.output_worst(direct) == Span(213 / Fraction(102, 100), 246 / Fraction(98, 100))
    assert table.output_nominal(buck) == Span(Fraction(227, 258) * 241, Fraction(227, 258) * 270)


def test_a_band_outside_the_range_has_no_output_in_it() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS, mains=(230, 250, 270)))
    assert table.output_nominal(table.rows[0]) is None


def test_backup_moves_the_outermost_ends_only() -> None:
    backup = Backup(leave_v=(Fraction(170), Fraction(290)), return_v=(Fraction(185), Fraction(275)))
    table = control_table(design(TAPPED, PAIR, bands=BANDS, backup=backup))
    assert [(row.hold.low, row.hold.high) for row in table.rows] == [(180, 217), (213, 246), (241, 280)]
    assert [(row.kept.low, row.kept.high) for row in table.rows] == [(170, 217), (213, 246), (241, 290)]


def test_renaming_relays_and_order_of_bands_do_not_matter() -> None:
    forward = control_table(design(TAPPED, PAIR, bands=BANDS))
    backward = control_table(design(TAPPED, PAIR, bands=BANDS[::-1]))
    assert forward.rows == backward.rows


def test_the_supply_is_read_in_a_bypass_too() -> None:
    """Line and neutral are the supply, whether or not turns join them; so is an output tied to the line."""
    links = {"K1": ("LINE", "X", "A"), "K2": ("OUT", "X", "A")}
    for at, reading in ((("LINE", "N"), 1), (("OUT", "N"), 1), (("N", "LINE"), None), (("B", "N"), None)):
        made = design(TAPPED, links, bands=[("through", [], 190, 260)], sensing=Sensing(at=at))
        (row,) = control_table(made).rows
        assert row.state.kind.value == "bypass"
        assert row.sensed == reading
