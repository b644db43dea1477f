"""The report as an answer: the keys of its verdict, the page, and logs where some stand on it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any

from tapplan.answers.answer import Answer
from tapplan.answers.columns import number
from tapplan.answers.page import Page
from tapplan.answers.verdict import Verdict
from tapplan.answers.words import CAUTION


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged(Answer):
    title: str = ""
    samples: Annotated[int, number()]
    errors: tuple[str, ...] = ()


def verdict(*, sound: bool) -> Verdict:
    return Verdict(title="x", sound=sound, told="so", promises=(), findings=(), traits=(), accepted=())


def test_a_page_has_the_keys_of_its_verdict_and_is_as_wrong_as_that() -> None:
    page = Page(title="x", verdict=verdict(sound=True), text="<html>")
    told: Any = page.as_json()
    assert list(told) == [*verdict(sound=True).as_json(), "text", "caution"]
    assert (told["sound"], told["text"], told["caution"]) == (True, "<html>", CAUTION)
    assert not page.wrong
    assert replace(page, verdict=verdict(sound=False)).wrong
    assert page.errors == ()


def test_logs_on_a_page_stand_under_a_key_of_their_own_and_those_unread_are_told() -> None:
    page = Page(title="x", verdict=verdict(sound=True), text="", replay=Logged(samples=3, errors=("a.csv: no",)))
    told: Any = page.as_json()
    assert told["replay"] == {"samples": 3}
    assert page.errors == ("a.csv: no",)
