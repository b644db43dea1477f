"""Logs that weigh a request, and what is said of them."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.weighed import WeighedLog, weighed
from tapplan.study.logged import MainsWeights

F = Fraction


def site(name: str, samples: int, made: str | None = None, *, cut: bool = False) -> Any:
    return SimpleNamespace(name=name, samples=samples, made=made, cut=cut)


WEIGHTS = MainsWeights((), 7_200_000_000, 1_500_000)


def test_one_log_is_named_and_several_are_counted() -> None:
    one = weighed([site("a.csv", 60)], WEIGHTS)
    assert (one.log, one.made, one.samples, one.cut) == ("a.csv", None, 60, False)
    assert (one.observed_s, one.outside_range_s) == (7200, F(3, 2))
    two = weighed([site("a.csv", 60), site("b.csv", 1440, "drawn: x", cut=True)], WEIGHTS)
    assert (two.log, two.made, two.samples, two.cut) == ("2 logs", "drawn: x", 1500, True)


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ({}, "Weighed by a.csv: 1,500 samples, 2 hours; all of it in the mains range."),
        (
            {"outside_range_s": F(90)},
            "Weighed by a.csv: 1,500 samples, 2 hours; 90 s of it outside the mains range, which counts for nothing.",
        ),
        (
            {"made": "drawn: x"},
            "The log is made up (drawn): nothing here was measured. Weighed by a.csv: 1,500 samples, 2 hours; all of "
            "it in the mains range.",
        ),
    ],
)
def test_what_a_log_weighs_in_sentences(parts: dict[str, Any], told: str) -> None:
    made = {"log": "a.csv", "samples": 1500, "cut": False, "observed_s": F(7200), "outside_range_s": F(0)}
    assert WeighedLog(**{**made, **parts}).told == told
    assert WeighedLog(**{**made, **parts, "cut": True}).told.startswith(f"{told} Only so much of the log was used; ")
