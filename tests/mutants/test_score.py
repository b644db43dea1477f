"""The interval of a score, and what a row of the table says."""

from collections import Counter

import pytest

from tests.mutants.score import HEADING, Fate, Score, wilson

# R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998) 857,
# table I: method 3, Wilson's score without continuity correction, as printed
PRINTED = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("good", "drawn", "low", "high"), PRINTED)
def test_the_interval_is_the_printed_one(good: int, drawn: int, low: float, high: float) -> None:
    found = wilson(good, drawn)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


def test_of_nothing_nothing_is_known() -> None:
    assert (wilson(0, 0).low, wilson(0, 0).high) == (0.0, 1.0)


def test_a_mutant_that_runs_on_is_found_and_one_that_no_test_reaches_is_not() -> None:
    fates = Counter({Fate.KILLED: 80, Fate.TIMED_OUT: 1, Fate.SURVIVED: 148, Fate.NOT_REACHED: 34})
    row = Score("control", 300, 900, fates).row()
    assert row == "| control | 300 | 900 | 263 | 80 | 1 | 148 | 34 | 0 | 30.8 % | 25.5 to 36.6 % |"
    same = Score("control", 300, 900, fates + Counter({Fate.SAME: 7})).row()
    assert same == "| control | 300 | 900 | 270 | 80 | 1 | 148 | 34 | 7 | 30.8 % | 25.5 to 36.6 % |"
    assert len({line.count("|") for line in (*HEADING.splitlines(), row)}) == 1
