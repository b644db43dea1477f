"""The topics of the guide: what `guide` answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, word
from tapplan.guide import text, topics


@dataclass(frozen=True, slots=True, kw_only=True)
class TopicRow:
    """A topic, and what it is about."""

    topic: Annotated[str, word("topic", key="name")]
    title: Annotated[str, word()]
    summary: Annotated[str, word("what it is about")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Topics(Answer):
    """All topics."""

    heading = "The guide"

    title: str = ""
    topics: Annotated[tuple[TopicRow, ...], more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class TopicText(Answer):
    """One topic, in Markdown."""

    heading = "Guide"

    title: str
    topic: Annotated[str, word()]
    text: Annotated[str, word()]


def guide_topics() -> Topics:
    """Every topic that ships with the package."""
    return Topics(topics=tuple(TopicRow(topic=one.name, title=one.title, summary=one.summary) for one in topics()))


def guide_topic(name: str) -> TopicText:
    """One topic.

    Raises:
        UsageError: there is no such topic.
    """
    found = text(name)
    title = next(one.title for one in topics() if one.name == name)
    return TopicText(title=title, topic=name, text=found)
