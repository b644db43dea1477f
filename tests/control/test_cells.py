"""The cells of the EMF axis: marks and stretches in turn, and in each of them every decision is the same."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from tapplan.control.automaton import Automaton, automaton
from tapplan.control.decisions import decisions
from tapplan.control.standing import AWAY, InRow
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.exact import Opening
from tests.examples import SHIPPED

F = Fraction
MADE = {path.stem: automaton(decisions(control_table(load(path))), noisy=False) for path in SHIPPED}


@pytest.mark.parametrize("made", MADE.values(), ids=MADE)
def test_cells_cover_the_axis_from_the_first_cut_to_the_last_each_point_once(made: Automaton) -> None:
    cells = list(made.cells())
    assert len(cells) == 2 * len(made.cuts) - 1
    assert cells[0].opening == Opening(made.cuts[0], made.cuts[0], True, True)
    assert cells[-1].opening == Opening(made.cuts[-1], made.cuts[-1], True, True)
    for one, after in pairwise(cells):
        assert one.opening.high == after.opening.low
        assert one.opening.shut_high != after.opening.shut_low
    for mark, cut in zip(cells[::2], made.cuts, strict=True):
        assert mark.opening.low == mark.opening.high == mark.emf == cut


@pytest.mark.parametrize("made", MADE.values(), ids=MADE)
def test_a_cell_is_judged_at_an_emf_inside_it(made: Automaton) -> None:
    for cell in made.cells():
        span = cell.opening
        assert span.low < cell.emf < span.high or (span.shut_low and span.low == cell.emf == span.high)


@pytest.mark.parametrize("made", MADE.values(), ids=MADE)
def test_anywhere_in_a_cell_the_next_standing_is_the_same(made: Automaton) -> None:
    standings = [*(InRow(number) for number in range(len(made.steps) - 1)), AWAY]
    for cell in list(made.cells())[::7]:
        width = cell.opening.high - cell.opening.low
        for standing in standings:
            here = made.follows(standing, cell.emf)
            assert all(made.follows(standing, cell.opening.low + width * at) == here for at in (F(1, 9), F(8, 9)))


@pytest.mark.parametrize("made", MADE.values(), ids=MADE)
def test_just_beyond_a_cut_is_before_the_next_one(made: Automaton) -> None:
    cuts = made.cuts
    for below, above in pairwise(cuts):
        assert below < made.beyond(below, 1) < above
        assert below < made.beyond(above, -1) < above
    assert made.beyond(cuts[-1], 1) > cuts[-1]
    assert made.beyond(cuts[0], -1) < cuts[0]
