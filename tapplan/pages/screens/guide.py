"""The screens of `guide`: the topics, and one of them with its Markdown shown as people read it."""

from __future__ import annotations

from typing import ClassVar

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.markdown import CodeBlock, Heading, Markdown, MarkdownElement, TableElement
from rich.text import Text

from tapplan.answers.guide import Topics, TopicText
from tapplan.pages.screens.grid import empty_grid, grid, headline


def screen(answer: Topics, _: int) -> Group:
    """What there is to read."""
    return Group(headline(answer), grid(answer.topics), Text("\n`tapplan guide TOPIC` shows one."))


def topic(answer: TopicText, _: int) -> RenderableType:
    """The whole topic."""
    return _Topic(answer.text)


class _Verbatim(CodeBlock):
    """What a command prints, as it prints it: neither indented nor broken again."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text(str(self.text).rstrip(), no_wrap=True, overflow="ignore")


class _Heading(Heading):
    """At the left, where the text begins."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text(self.text.plain, style="bold")


class _Grid(TableElement):
    """A table whose cells are folded, never cut."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        table = empty_grid()
        if self.header is not None and self.header.row is not None:
            for cell in self.header.row.cells:
                table.add_column(cell.content.plain, overflow="fold")
        if self.body is not None:
            for row in self.body.rows:
                table.add_row(*(cell.content for cell in row.cells))
        yield table


class _Topic(Markdown):
    elements: ClassVar[dict[str, type[MarkdownElement]]] = {
        **Markdown.elements,
        "fence": _Verbatim,
        "code_block": _Verbatim,
        "heading_open": _Heading,
        "table_open": _Grid,
    }
