"""When a quantity has grown too far already: a lower end stands too low, everything else too high."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.growths import LOWER_END, Growth, growths
from tapplan.checks.review import review
from tests.checks.test_rules import band, sound

F = Fraction


@pytest.mark.parametrize(
    ("quantity", "now", "most", "broken"),
    [
        (LOWER_END, 168, 170, True),
        (LOWER_END, 170, 170, False),
        (LOWER_END, 172, 170, False),
        ("mains.range_v, upper end", 242, 240, True),
        ("mains.range_v, upper end", 240, 240, False),
        ("mains.range_v, upper end", 238, 240, False),
        ("sensing.error_pct", 2, 1, True),
        ("sensing.error_pct", 1, 1, False),
        ("sensing.noise_v", 1, -3, True),
        ("output.load_va", 300, None, False),
    ],
)
def test_a_promise_is_broken_where_a_quantity_stands_beyond_its_limit(
    quantity: str, now: int, most: int | None, broken: bool
) -> None:
    grown = Growth(quantity, F(now), None if most is None else F(most), "dead-zone", "bands", hopeless=False)
    assert grown.broken is broken


def test_of_a_sound_stage_nothing_is_broken_already() -> None:
    assert [one.quantity for one in growths(review(sound())) if one.broken] == []


@pytest.mark.parametrize(
    ("low", "high", "end"), [(160, 240, LOWER_END), (168, 250, "mains.range_v, upper end")], ids=["down", "up"]
)
def test_a_range_promised_too_far_is_broken_at_that_end(low: int, high: int, end: str) -> None:
    """Held are readings of 165 to 244 V, so inputs of 167.2 to 241.1 V: no more, and the range is broken already."""
    found = {one.quantity: one for one in growths(review(sound(mains=(230, low, high))))}
    assert found[end].broken
    inside = {one.quantity: one for one in growths(review(sound()))}
    assert not inside[end].broken
    assert found[end].most == {LOWER_END: F("165.5") / F("0.99")}.get(end, F("243.5") / F("1.01"))


def test_noise_beyond_the_overlap_is_broken() -> None:
    made = sound(bands=band(1, low=190))
    made = replace(made, sensing=replace(made.sensing, noise_v=F(2)))
    found = {one.quantity: one for one in growths(review(made))}
    assert (found["sensing.noise_v"].broken, found["sensing.noise_v"].code) == (True, "chatter")


@pytest.mark.parametrize(("low", "high"), [(150, 240), (168, 270)], ids=["down", "up"])
def test_where_one_end_is_too_far_the_other_end_helps_nothing(low: int, high: int) -> None:
    """Inputs that no band holds lie beyond one end: wherever the other end is put, they stay promised."""
    down = low < 165
    found = {one.quantity: one for one in growths(review(sound(mains=(230, low, high))))}
    lower, upper = found[LOWER_END], found["mains.range_v, upper end"]
    assert (lower.hopeless, upper.hopeless) == (not down, down)
    assert lower.broken
    assert upper.broken
    assert found["sensing.error_pct"].hopeless
    assert not any(one.hopeless for one in growths(review(sound())))
