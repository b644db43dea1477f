"""The verdict: where promises have a place, and its colour."""

from __future__ import annotations

from rich.text import Text

from tapplan.answers.verdict import verdict
from tapplan.checks.review import review
from tapplan.design.file import load
from tapplan.pages.screens import verdict as verdict_screen
from tests.examples import ROOT

DESIGNS = ROOT / "designs"


def test_a_promise_has_a_place_only_where_one_is_named() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        for row in verdict(review(load(path))).promises:
            assert row.where is None or row.where
            assert (row.where is not None) or row.margin is None


def test_the_verdict_is_green_only_where_it_is_sound() -> None:
    for name in ("ridge-dispensary", "hostel-review"):
        answer = verdict(review(load(DESIGNS / f"{name}.toml")))
        line = verdict_screen._head(answer)[1]
        assert isinstance(line, Text)
        assert line.plain == answer.told
        assert ("green" in str(line.style)) is answer.sound
