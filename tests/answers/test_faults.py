"""What no band survives, by name, or that there is none."""

from __future__ import annotations

from dataclasses import replace

from tapplan.answers.faults import faults
from tapplan.checks.review import review
from tapplan.design.file import load
from tests.examples import ROOT


def test_what_no_band_survives_is_named() -> None:
    answer = faults(review(load(ROOT / "designs" / "ridge-dispensary.toml")))
    assert answer.never_survived
    named = ", ".join(f"{one.part} {one.fault}" for one in answer.never_survived)
    assert answer.told.endswith(f"No band survives: {named}.")
    none = replace(answer, never_survived=())
    assert none.told.endswith("No band survives: none, every single fault leaves at least one band in the window.")
