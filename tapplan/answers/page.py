"""The report as an answer: the page, the verdict that stands on it, and what logs came to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, word
from tapplan.answers.forms import Json
from tapplan.answers.verdict import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(Answer):
    """The page for a meeting, the verdict that stands on it, and of logs on it what `replay` answers."""

    caution = words.CAUTION

    title: str
    verdict: Annotated[Verdict, more()]
    text: Annotated[str, word()]
    replay: Annotated[Answer | None, more(optional=True)] = None

    @property
    def wrong(self) -> bool:
        """Whether a promise is broken."""
        return self.verdict.wrong

    @property
    def errors(self) -> tuple[str, ...]:
        """The logs that could not be read, where there were others."""
        unread: tuple[str, ...] = getattr(self.replay, "errors", ())
        return unread

    def as_json(self) -> Json:
        """The verdict's keys, those of `replay` under its name where logs are on the page, the page under `text`."""
        told = super(Page, self).as_json()
        return {**self.verdict.as_json(), **{key: told[key] for key in ("replay", "text", "caution") if key in told}}
