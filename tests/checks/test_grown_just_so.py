"""A limit of growth is where the promise breaks: a hair below it all is well, a hair above it its finding comes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.growths import Growth, growths
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.design.model import Backup, Design, Sensing
from tests.checks.test_rules import sound
from tests.examples import PAIR, TAPPED, design

F = Fraction
HAIR = F(1, 10_000)


def backed(at: str, back: tuple[str, str] | None = None, lowest: int = 195) -> Design:
    """Four bands and a return, which is read away: as it is at the input, as 227/200 of it at the output."""
    if at == "input":
        rows = [
            ("b2", ["KO"], 160, 192),
            ("b1", [], 188, 217),
            ("d", ["KL", "KO"], 213, 246),
            ("k", ["KL"], 241, 280),
        ]
        backup = Backup(leave_v=(F(155), F(285)), return_v=(F(160), F(280)))
    else:
        rows = [
            ("b2", ["KO"], 205, 252),
            ("b1", [], 208, 254),
            ("d", ["KL", "KO"], 207, 255),
            ("k", ["KL"], 206, 256),
        ]
        backup = Backup(leave_v=(F(203), F(258)), return_v=(F(182), F(310)))
    if back is not None:
        backup = replace(backup, return_v=(F(back[0]), F(back[1])))
    sensing = Sensing(at=at, error_pct=F(1, 2), noise_v=F(1))  # type: ignore[arg-type]
    return design(
        TAPPED, PAIR, bands=rows, mains=(230, 170, 265), window=(230, lowest, 265), sensing=sensing, backup=backup
    )


STAGES = {
    "sound": sound(),
    "read at the input": backed("input"),
    "read at the output": backed("output"),
    "a window tight below": backed("input", lowest=205),
    "a return tight above": backed("input", ("160", "267")),
    "tight below": backed("input", ("168.5", "280")),
    "tight above at the output": backed("output", ("182", "303")),
    "tight below at the output": backed("output", ("191", "310")),
}


def with_it(made: Design, quantity: str, value: Fraction) -> Design:
    """The design with one quantity of its sensing at a value, or with an end of its range there."""
    if quantity == "sensing.error_pct":
        return replace(made, sensing=replace(made.sensing, error_pct=value))
    if quantity == "sensing.noise_v":
        return replace(made, sensing=replace(made.sensing, noise_v=value))
    low, high = made.mains.range_v
    ends = (value, high) if "lower" in quantity else (low, value)
    return replace(made, mains=replace(made.mains, range_v=ends))


def limits(made: Design) -> dict[str, Growth]:
    kept = ("sensing.error_pct", "sensing.noise_v", "mains.range_v")
    return {one.quantity: one for one in growths(review(made)) if one.quantity.startswith(kept)}


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("key", ["sensing.error_pct", "sensing.noise_v", "lower", "upper"])
def test_the_finding_comes_at_the_limit_and_not_before(name: str, key: str) -> None:
    made = STAGES[name]
    (grown,) = (one for quantity, one in limits(made).items() if key in quantity)
    assert grown.most is not None
    assert not grown.broken
    outward = -HAIR if key == "lower" else HAIR
    kept = {one.code for one in findings(with_it(made, grown.quantity, grown.most - outward), [grown.code])}
    beyond = {one.code for one in findings(with_it(made, grown.quantity, grown.most + outward), [grown.code])}
    assert (kept, beyond) == (set(), {grown.code})
