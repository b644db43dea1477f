"""The screens of `guide`: the topics, and one of them with its Markdown shown as people read it."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.markdown import Markdown
from rich.text import Text

from tapplan.answers.guide import Topics, TopicText
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Topics, _: int) -> Group:
    """What there is to read."""
    return Group(headline(answer), grid(answer.topics), Text("\n`tapplan guide TOPIC` shows one."))


def topic(answer: TopicText, _: int) -> RenderableType:
    """The whole topic."""
    return Markdown(answer.text)
