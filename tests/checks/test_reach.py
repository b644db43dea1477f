"""Bands that nothing enters, and bands of one ratio that one start reading leaves open, by hand."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.reach import ambiguous_start, unreachable_bands
from tapplan.checks.review import review
from tapplan.design.model import Design, Sensing
from tests.checks.test_rules import BANDS, sound
from tests.examples import PAIR, TAPPED

F = Fraction


def test_a_band_inside_others_is_entered_by_nobody() -> None:
    """KL alone makes 0.88, from 238 to 243 V, where direct is nearer to 230 V and stays."""
    (one,) = unreachable_bands(review(sound(bands=[*BANDS, ("inner", ["KL"], 238, 243)])))
    assert (one.severity, one.where) == (Severity.WARNING, 'band "inner"')
    assert (one.witness.bands, one.witness.energised) == (("inner",), ("KL",))
    assert (one.witness.from_v, one.witness.to_v) == (238, 243)
    assert list(unreachable_bands(review(sound()))) == []


def test_where_nothing_is_read_nobody_knows_what_is_entered() -> None:
    sections = (*TAPPED, ("free", "S1", "S2", (20, "another core")))
    assert list(unreachable_bands(review(sound(sections=sections, sensing=Sensing(at=("S1", "S2")))))) == []


def twins(low: object, high: object, other: Any = ("again", ["KL", "KO"], 240, 250), **changes: Any) -> Design:
    return sound(bands=[("direct", [], low, high), other], links={**PAIR, "KL": ("LINE", "B", "C")}, **changes)


@pytest.mark.parametrize(("high", "told"), [(239, []), (240, [(240, 240)]), (245, [(240, 245)])])
def test_two_bands_of_one_ratio_that_share_a_reading(high: int, told: list[tuple[int, int]]) -> None:
    """With line and output on B, and with both on C, all goes straight through."""
    found = list(ambiguous_start(review(twins(200, high))))
    assert [(one.witness.from_v, one.witness.to_v) for one in found] == told
    for one in found:
        shown = one.witness
        assert (one.severity, one.where) == (Severity.NOTE, 'bands "direct" and "again"')
        assert (shown.bands, shown.ratio) == (("direct", "again"), 1)
        assert (shown.input_v, shown.output_v) == (240, 240)


def test_the_same_relays_or_other_ratios_leave_nothing_open() -> None:
    assert list(ambiguous_start(review(twins(200, 245, ("again", [], 240, 250))))) == []
    assert list(ambiguous_start(review(twins(200, 245, ("other", ["KO"], 240, 250))))) == []
    assert list(ambiguous_start(review(sound()))) == []


def test_of_three_every_pair_is_told() -> None:
    """A relay whose contact leads nowhere makes another state of the same ratio."""
    links = {**PAIR, "KL": ("LINE", "B", "C"), "KX": ("A", None, "END")}
    rows = [("one", [], 200, 242), ("two", ["KL", "KO"], 230, 246), ("three", ["KX"], 235, 250)]
    found = list(ambiguous_start(review(sound(links=links, bands=rows))))
    assert [(one.witness.bands, one.witness.from_v, one.witness.to_v) for one in found] == [
        (("one", "two"), 230, 242),
        (("one", "three"), 235, 242),
        (("two", "three"), 235, 246),
    ]


def test_a_pair_that_reads_nothing_hides_no_other() -> None:
    """What is read hangs on KX, which joins the sensed point to A; without it there is no reading.

    With the line on B 200/227 of it are read, with the line on C 200/258: 220 V are 249.7 V in, 215 V 277.35 V.
    """
    links = {**PAIR, "KL": ("LINE", "B", "C"), "KX": ("P", None, "A")}
    rows = [("one", [], 200, 210), ("two", ["KL", "KO"], 201, 211), ("three", ["KX"], 220, 240),
            ("four", ["KX", "KL", "KO"], 200, 215)]  # fmt: skip
    made = sound(links=links, bands=rows, sensing=Sensing(at=("P", "N")))
    (found,) = ambiguous_start(review(made))
    assert set(found.witness.bands) == {"three", "four"}
    assert (found.witness.from_v, found.witness.to_v) == (258, F("272.4"))


def test_bands_of_other_ratios_hide_no_pair() -> None:
    links = {**PAIR, "KL": ("LINE", "B", "C")}
    rows = [("up", ["KO"], 165, 200), ("one", [], 190, 242), ("two", ["KL", "KO"], 240, 250)]
    (found,) = ambiguous_start(review(sound(links=links, bands=rows)))
    assert found.witness.bands == ("one", "two")


def test_without_a_reading_nothing_is_shared() -> None:
    sections = (*TAPPED, ("free", "S1", "S2", (20, "another core")))
    made = twins(200, 245, sections=sections, sensing=Sensing(at=("S1", "S2")))
    assert list(ambiguous_start(review(made))) == []
