"""How neighbours hand over: touching, overlapping by the noise, by the hysteresis; and rounds of others, put in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.overlaps import chatter, thin_hysteresis
from tapplan.checks.review import Review, review
from tapplan.control.automaton import Cycle
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.design.model import Design, Sensing
from tapplan.exact import Opening
from tests.checks.test_margins import weak
from tests.checks.test_rules import band, sound

F = Fraction


def handing_over(low: object, noise: object, hysteresis: object) -> tuple[list[Finding], list[Finding]]:
    """Boost 2 up to 191 V, boost 1 from `low` on; 4 V of overlap at the other hand-over, and 4.5 V wanted at most."""
    sensing = Sensing(error_pct=F(1), noise_v=F(str(noise)), hysteresis_v=F(str(hysteresis)))
    reviewed = review(sound(bands=band(1, low=low), sensing=sensing))
    return list(chatter(reviewed)), list(thin_hysteresis(reviewed))


LOWER = 'bands "boost 2" and "boost 1"'


@pytest.mark.parametrize(
    ("low", "noise", "hysteresis", "told"),
    [
        (187, 1, 3, ""),
        (189, 1, 2, ""),  # just what is wanted
        (189, 1, "2.1", "thin"),
        (189, "1.9", 2, ""),
        (189, 2, 3, "chatter"),  # just the noise
        (189, "2.5", 3, "chatter"),
        (191, 0, 3, "chatter"),  # they touch
        ("190.5", 0, "0.5", ""),
        ("190.5", 0, 1, "thin"),
        (192, 1, 3, ""),  # readings between the two are a dead zone and no chatter
    ],
)
def test_what_an_overlap_is(low: object, noise: object, hysteresis: object, told: str) -> None:
    shaking, thin = handing_over(low, noise, hysteresis)
    assert [(one.severity, one.where) for one in shaking] == ([(Severity.FAULT, LOWER)] if told == "chatter" else [])
    assert [(one.severity, one.where) for one in thin] == ([(Severity.WARNING, LOWER)] if told == "thin" else [])


def test_the_witness_of_an_overlap_by_hand() -> None:
    """From 189.5 to 191 V both hold; the noise of 2 V acts in full where the inlet is read."""
    (one,), _ = handing_over("189.5", 2, 3)
    shown = one.witness
    assert shown.bands == ("boost 2", "boost 1")
    assert (shown.from_v, shown.to_v, shown.input_v) == (F("189.5"), 191, 191)
    assert (shown.overlap_v, shown.noise_v, shown.noise_input_v, shown.wanted_v) == (F("1.5"), 2, 2, 3)


def test_read_at_the_output_it_is_counted_in_input_volts_with_the_load_on_and_off() -> None:
    """Under its load boost 1 reads less of an input volt: it is left at 240/1.135 V at the least, without a load.

    Direct begins at 210 V. Of 2 V of noise half acts at either end, as 1/1.135 V in, and as 1 V.
    """
    bands = [("boost 1", [], 200, 240), ("direct", ["KL", "KO"], 210, 253)]
    made = weak(sound(mains=(230, 185, 240), sensing=Sensing(at="output", noise_v=F(2)), bands=bands), load_va=300)
    (one,) = chatter(review(made))
    shown = one.witness
    assert (shown.from_v, shown.to_v) == (210, 240 / F("1.135"))
    assert shown.overlap_v == 240 / F("1.135") - 210
    assert (shown.noise_v, shown.noise_input_v) == (2, 1 / F("1.135") + 1)


# --- rounds that are no neighbours' ---


def standings(rows: Sequence[int], *, away: bool = False) -> tuple[Standing, ...]:
    return (*map(InRow, rows), *((AWAY,) if away else ()))


def rounds(
    noisy: Sequence[tuple[Standing, ...]], quiet: Sequence[tuple[Standing, ...]] = (), low: object = 187
) -> Any:
    """The rounds told, of those that the noise is said to drive, and those that go on without it."""
    reviewed: Review = review(sound(bands=band(1, low=low)))
    emf = Opening(F(190), F(194))
    vars(reviewed)["noisy_cycles"] = [Cycle(one, emf) for one in noisy]
    vars(reviewed)["quiet_cycles"] = [Cycle(one, emf) for one in quiet]
    found = [one for one in chatter(reviewed) if one.where.count('"') != 4 or "direct" in one.where]
    return [(one.where, one.severity, one.witness.from_v, one.witness.to_v, one.witness.noise_v) for one in found]


APART = ('bands "boost 2" and "direct"', Severity.FAULT, 190, 194, 1)
ALL = ('bands "boost 2" and "boost 1" and "direct"', Severity.FAULT, 190, 194, 1)


def test_rows_apart_that_the_noise_drives_to_and_fro_are_told() -> None:
    assert rounds([]) == []
    assert rounds([standings([0, 2])]) == [APART]
    assert rounds([standings([0, 2]), standings([0, 1, 2])]) == [APART, ALL]


def test_what_goes_on_without_noise_or_leads_away_is_told_elsewhere() -> None:
    assert rounds([standings([0, 2])], [standings([0, 2])]) == []
    assert rounds([standings([0, 2])], [standings([0, 1, 2])]) == [APART]
    assert rounds([standings([0, 2], away=True)]) == []
    assert rounds([standings([0, 2], away=True), standings([0, 2])]) == [APART]


@pytest.mark.parametrize(("low", "told"), [("189.5", True), ("190.1", False), (190, False), (192, False)])
def test_a_round_over_neighbours_that_hand_over_badly_is_told_by_these(low: object, told: bool) -> None:
    """1 V of noise: an overlap of 1.5 V is right, 0.9 V, 1 V and a gap are wrong, and told as what they are."""
    assert rounds([standings([0, 1, 2])], low=low) == ([ALL] if told else [])
    assert rounds([standings([0, 2])], low=low) == [APART]


@pytest.mark.parametrize(("noise", "told"), [("0.4", True), ("0.5", False), ("0.6", False)])
def test_half_a_volt_of_overlap_is_right_where_the_noise_is_less(noise: str, told: bool) -> None:
    made = sound(bands=band(1, low="190.5"), sensing=Sensing(noise_v=F(noise)))
    reviewed = review(made)
    vars(reviewed)["noisy_cycles"] = [Cycle(standings([0, 1, 2]), Opening(F(190), F(194)))]
    vars(reviewed)["quiet_cycles"] = []
    assert [one.where for one in chatter(reviewed)] == ([ALL[0]] if told else [LOWER])


def nested(noise: object, source_ohm: int) -> Design:
    """Boost 1 lies inside boost 2; direct begins at 190 V, where boost 2 ends at 191 V."""
    rows = [("boost 2", ["KO"], 165, 191), ("boost 1", [], 180, 185), ("direct", ["KL", "KO"], 190, 244)]
    made = sound(bands=rows, sensing=Sensing(noise_v=F(str(noise)), hysteresis_v=F(0)))
    made = replace(made, output=replace(made.output, load_va=F(500)))
    return replace(made, mains=replace(made.mains, source_ohm=F(source_ohm)))


@pytest.mark.parametrize("source_ohm", [0, 1])
@pytest.mark.parametrize(("noise", "told"), [("0.9", False), (2, True)])
def test_rows_that_follow_one_another_over_the_head_of_one_between_them(
    noise: object, told: bool, source_ohm: int
) -> None:
    """From 190 to 191 V both hold, and 2 V of noise carries readings of one input beyond either end.

    Left at 191 V and come back at 190 V: inputs of 191 - 1 to 190 + 1 V, whatever the line has for a source, since
    what the source does to them is not of the noise.
    """
    found = [one for one in chatter(review(nested(noise, source_ohm))) if one.where == APART[0]]
    assert [(one.witness.from_v, one.witness.to_v, one.witness.noise_v) for one in found] == (
        [(190, 191, 2)] if told else []
    )


def test_behind_a_source_the_rounds_are_those_of_the_reading_alone() -> None:
    """The sag of a weak line is no noise: what goes round for that is hunting, and what rests, rests."""
    soft = weak(sound(), load_va=500)
    soft = replace(soft, mains=replace(soft.mains, source_ohm=F(1)))
    assert list(chatter(review(soft))) == []
