"""What bands hold against the window, by hand: with readings that are right, real holds are the holds themselves."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.held import holds_beyond_range, out_of_window, places_outside, wrong_way
from tapplan.checks.review import review, review_of
from tapplan.design.model import Design, Sensing
from tests.checks.test_rules import BANDS, SENSED, band, poles, sound
from tests.examples import PAIR, TAPPED

F = Fraction
RIGHT = Sensing(hysteresis_v=F(3))  # no error, no noise


def exact(**changes: Any) -> Design:
    """Ratios 1.29, 1.135 and 1; a window of 207 to 253 V; readings that are right."""
    return sound(**{"sensing": RIGHT, **changes})


def outside(made: Design) -> list[Finding]:
    found = list(out_of_window(review(made)))
    assert list(places_outside(review(made))) == [one.where for one in found]
    return found


def beyond(made: Design) -> list[tuple[str, Fraction, Fraction, Fraction]]:
    found = list(holds_beyond_range(review(made)))
    assert {one.severity for one in found} <= {Severity.NOTE}
    return [(one.where, one.witness.input_v, one.witness.output_v, one.witness.limit_v) for one in found]


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (207, 253, []),
        (206, 253, [(206, 207)]),
        (207, 254, [(254, 253)]),
        (206, 254, [(206, 207), (254, 253)]),
    ],
)
def test_straight_through_a_band_may_be_held_just_as_far_as_the_window_goes(
    low: int, high: int, told: list[tuple[int, int]]
) -> None:
    made = exact(mains=(230, 168, 260), bands=band(2, low=low, high=high))
    found = outside(made)
    assert [(one.witness.input_v, one.witness.limit_v) for one in found] == told
    for one in found:
        shown = one.witness
        assert (one.severity, one.where) == (Severity.FAULT, 'band "direct"')
        assert (shown.bands, shown.energised, shown.ratio) == (("direct",), ("KL", "KO"), 1)
        assert shown.output_v == shown.reading_v == shown.input_v


@pytest.mark.parametrize(("mains_high", "told"), [(253, []), (254, [254]), (270, [255])])
def test_only_promised_inputs_count(mains_high: int, told: list[int]) -> None:
    """Direct is held to 255 V: outside the window from 253 V on."""
    made = exact(mains=(230, 168, mains_high), bands=band(2, high=255))
    assert [one.witness.input_v for one in outside(made)] == told


def test_a_band_held_just_to_where_the_range_begins_counts_there_and_one_that_ends_before_does_not() -> None:
    """1.29 times 220 V is 283.8 V; held to 219 V, the band is never in force inside the range."""
    assert [one.witness.input_v for one in outside(exact(mains=(230, 220, 240), bands=band(0, high=220)))] == [220]
    assert outside(exact(mains=(230, 220, 240), bands=band(0, high=219))) == []


def test_the_course_to_the_upper_end_of_the_lowest_band_comes_up_from_where_it_is_chosen() -> None:
    """Read 1 % low and half a volt of noise below: 195.5/0.99 V read as 195 V, the last reading of the band.

    Switched on there, boost 1 is chosen, whose output is nearer to 230 V; from the lowest input on boost 2 is kept.
    """
    made = sound(bands=band(0, high=195))
    (found,) = outside(made)
    assert found.witness.reading_v == 195
    assert found.witness.course_v == (168, F("195.5") / F("0.99"))


def test_the_course_to_the_lower_end_of_a_band_comes_down_from_where_it_is_chosen() -> None:
    """Boost 1 is held down to 180 V, really to 179.5/1.01 V; switched on there, boost 2 is chosen.

    Read 1 % high all along. The two ratios make equally much more and less than 230 V of 460/(1.29 + 1.135) V read.
    """
    (found,) = outside(sound(bands=band(1, low=180)))
    shown = found.witness
    assert (shown.input_v, shown.reading_v, shown.limit_v) == (F("179.5") / F("1.01"), 180, 207)
    assert shown.output_v == F(227, 200) * F("179.5") / F("1.01")
    assert shown.course_v == (F(460) / F("2.425") / F("1.01"), shown.input_v)


def test_the_course_to_the_upper_end_of_a_band_reads_low_all_along() -> None:
    """Boost 1 is held up to 230 V, really to 230.5/0.99 V; it is chosen from 460/2.425 V read on."""
    (found,) = outside(sound(bands=band(1, high=230)))
    assert found.witness.reading_v == 230
    assert found.witness.course_v == (F(460) / F("2.425") / F("0.99"), F("230.5") / F("0.99"))


@pytest.mark.parametrize(("at", "sudden"), [("input", True), ("output", False)])
def test_a_reading_with_noise_in_it_can_be_the_first_only_where_the_inlet_is_read(at: Any, sudden: bool) -> None:
    """Held from 206 V, direct is really held at 205.5/1.01 V. At the output, what is read first is read at rest."""
    made = sound(sensing=replace(SENSED, at=at), bands=[("direct", ["KL", "KO"], 206, 244)])
    (found,) = outside(made)
    assert found.witness.input_v == F("205.5") / F("1.01")
    assert (found.witness.course_v == (found.witness.input_v,)) is sudden


def test_a_band_whose_output_under_load_is_not_known_is_left_out_and_those_after_it_are_judged() -> None:
    made = exact(mains=(230, 168, 250), bands=[*band(0, low=150, high=215)[:2], ("direct", ["KL", "KO"], 212, 254)])
    table = review(made).table
    rows = (replace(table.rows[0], full=None), *table.rows[1:])
    lost = review_of(replace(table, rows=rows))
    assert [one.where for one in out_of_window(review(made))] == ['band "boost 2"']
    assert list(out_of_window(lost)) == []
    assert [one.where for one in holds_beyond_range(lost)] == ['band "direct"']


def test_with_half_a_percent_to_spare_the_error_all_along_is_as_small_as_it_can_be() -> None:
    """Held to 255 V and promised to 254 V: 254 V can be read as 254 V, so nothing need be wrong with the reading."""
    made = sound(mains=(230, 168, 254), bands=band(2, high=255))
    (found,) = outside(made)
    assert (found.witness.input_v, found.witness.reading_v) == (254, 254)
    assert found.witness.course_v == (254,)


def test_a_reading_that_needs_a_part_of_the_error_takes_no_more_of_it() -> None:
    """Held from 204.5 V, direct is really held at 204 V too, the lowest promised, when that is read 0.5/204 high."""
    made = sound(mains=(230, 204, 240), bands=[("direct", ["KL", "KO"], "204.5", 244)])
    (found,) = outside(made)
    assert (found.witness.input_v, found.witness.reading_v) == (204, F("204.5"))
    assert found.witness.course_v == (204,)


def test_a_band_that_shorts_turns_holds_nothing_outside() -> None:
    links = {**PAIR, "KS": poles(("A", None, "B"))}
    made = exact(links=links, bands=band(2, energised=["KS"], low=100, high=300))
    assert outside(made) == []
    assert beyond(made) == []
    first = exact(links=links, bands=[("shorted", ["KS"], 100, 200), *band(2, high=254)[1:]])
    assert beyond(first) == [('band "direct"', F(254), F(254), F(253))]


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (exact(bands=band(0, low=161)), []),  # 207/1.29 = 160.47
        (exact(bands=band(0, low=160)), [('band "boost 2"', F(160), F("206.4"), F(207))]),
        (exact(bands=band(2, high=253)), []),
        (exact(bands=band(2, high=254)), [('band "direct"', F(254), F(254), F(253))]),
    ],
)
def test_what_is_held_beyond_the_range_is_judged_at_its_ends(made: Design, told: list[Any]) -> None:
    assert beyond(made) == told


def test_a_band_that_goes_beyond_the_range_on_both_sides_is_judged_on_both() -> None:
    alone = exact(mains=(230, 210, 220), bands=[("direct", ["KL", "KO"], 200, 260)])
    assert beyond(alone) == [
        ('band "direct"', F(200), F(200), F(207)),
        ('band "direct"', F(260), F(260), F(253)),
    ]


def test_a_band_that_lies_wholly_beyond_the_range_is_judged_where_it_is_held() -> None:
    """Of 190 to 215 V, below a range from 220 V: 1.29 times 215 V, not 220 V. Boost 1, of 260 to 270 V, above."""
    below = exact(mains=(230, 220, 250), bands=band(0, low=190, high=215))
    assert ('band "boost 2"', F(215), F("277.35"), F(253)) in beyond(below)
    above = exact(mains=(230, 200, 250), bands=[("direct", ["KL", "KO"], 190, 206), ("boost 1", [], 260, 270)])
    ends = [(volts, output) for place, volts, output, _ in beyond(above) if place == 'band "boost 1"']
    assert ends == [(270, F("306.45"))]
    sunk = exact(mains=(230, 100, 110), bands=[("direct", ["KL", "KO"], 150, 180)])
    assert [(volts, limit) for _, volts, _, limit in beyond(sunk)] == [(150, 207)]


def test_a_rising_ratio_by_hand() -> None:
    """1.135, then 1.29 from 210 V on, which makes 270.9 V of it; then 1."""
    rows = [BANDS[1], ("boost 2", ["KO"], 210, 216), BANDS[2]]
    (found,) = wrong_way(review(exact(bands=rows)))
    assert (found.severity, found.where) == (Severity.FAULT, 'bands "boost 1" and "boost 2"')
    shown = found.witness
    assert (shown.bands, shown.energised) == (("boost 1", "boost 2"), ("KO",))
    assert (shown.below_ratio, shown.ratio) == (F("1.135"), F("1.29"))
    assert (shown.input_v, shown.output_v) == (210, F("270.9"))


def test_what_is_read_at_the_output_is_told_as_input() -> None:
    """270.9 V out is 210 V in for the ratio 1.29."""
    rows = [("boost 1", [], 200, 240), ("boost 2", ["KO"], "270.9", 300)]
    (found,) = wrong_way(review(exact(sensing=replace(RIGHT, at="output"), bands=rows)))
    assert (found.witness.input_v, found.witness.output_v) == (210, F("270.9"))


def test_where_nothing_fixes_the_reading_the_input_is_left_out() -> None:
    sections = (*TAPPED, ("free", "S1", "S2", (20, "another core")))
    rows = [BANDS[1], ("boost 2", ["KO"], 210, 216)]
    blind = review(exact(sections=sections, sensing=replace(RIGHT, at=("S1", "S2")), bands=rows))
    (found,) = wrong_way(blind)
    assert (found.witness.input_v, found.witness.output_v, found.witness.ratio) == (None, None, F("1.29"))
    assert list(out_of_window(blind)) == []
    assert list(holds_beyond_range(blind)) == []


def test_ratios_that_fall_or_stay_are_right() -> None:
    assert list(wrong_way(review(exact()))) == []
    same = [("boost 1", [], 165, 191), ("again", [], 187, 216), BANDS[2]]
    assert list(wrong_way(review(exact(bands=same)))) == []
    shorting = {**PAIR, "KS": poles(("A", None, "B"))}
    rows = [BANDS[1], ("shorted", ["KS"], 210, 216), ("boost 2", ["KO"], 215, 220)]
    assert list(wrong_way(review(exact(links=shorting, bands=rows)))) == []
