"""A text that is the answer itself: a file to start from, an export, a schema, a page of the guide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, word


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(Answer):
    """A text; `to` is the form it has, `written` the file it was put into."""

    title: str = ""
    to: Annotated[str | None, word(optional=True)] = None
    text: Annotated[str | None, word(optional=True)] = None
    written: Annotated[str | None, word(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported(Answer):
    """The control table in a form that something else takes."""

    caution = words.CAUTION_LINE

    title: str
    to: Annotated[str, word()]
    text: Annotated[str | None, word(optional=True)] = None
    written: Annotated[str | None, word(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Schema(Answer):
    """The JSON Schema of the design file."""

    title: str = ""
    schema: Annotated[Mapping[str, object], more()]

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """It has no table."""
        return ()
