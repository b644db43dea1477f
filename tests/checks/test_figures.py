"""Figures of findings by hand: how far a load is beyond what is permitted, and the harm of what leaves the window."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.judgement import judged
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.checks.traits import Trait
from tapplan.design.model import Design
from tests.checks.test_recovery import timed
from tests.examples import TAPPED, design
from tests.rating.test_ends import simple

F = Fraction


@pytest.mark.parametrize(("load_va", "beyond"), [(3450, 50), (2875, 25), (4600, 100)])
def test_how_far_a_load_is_beyond_what_a_contact_permits(load_va: int, beyond: int) -> None:
    """In boost the inlet's contact carries 460/400 of the load: 11.5 A are 10 A of load, 2300 VA at 230 V."""
    made = simple((0, 0), load_va=F(load_va), load_model="current")
    made = replace(made, relays=tuple(replace(one, contact_a=F("11.5")) for one in made.relays))
    (fault,) = findings(made, ["over-load"])
    assert fault.where == 'band "boost"'
    assert float(fault.witness.permitted_va or 0) == pytest.approx(2300, rel=1e-4)
    assert float(fault.witness.worst_pct or 0) == pytest.approx(beyond, rel=1e-3)
    assert findings(replace(made, output=replace(made.output, load_va=F(2299))), ["over-load"]) == []


def one_step(high: int, low: int = 190) -> Design:
    """One relay, 200 or 227 turns; a step to 235 V in boost is 266.725 V, 116 %, and waits a second."""
    bands = [("boost", ["K"], 188, 216), ("direct", [], 211, 249)]
    made = design(TAPPED, {"K": ("OUT", "A", "B")}, terminals=("A", "N", "OUT"), mains=(230, 190, 235),
                  window=(230, low, high), bands=bands)  # fmt: skip
    return timed(made, (1, 1000))


def recovery(made: Design) -> Trait:
    return next(one for one in judged(review(made)).traits if one.code == "slow-recovery" and one.side == "over")


def test_what_leaves_the_curve_but_not_the_window_does_no_harm_and_beyond_it_volts_times_their_time() -> None:
    wide, narrow = recovery(one_step(270)), recovery(one_step(260))
    assert wide.value == narrow.value == F("266.725")
    assert wide.harm == 0
    assert narrow.lasts_ms == 20 + 1000 + 10
    assert narrow.harm == F("6.725") * 1030
