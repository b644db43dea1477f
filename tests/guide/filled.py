"""The prose of a document filled to the width of a terminal; blocks, tables, headings and pictures stay."""

from __future__ import annotations

import re
from textwrap import fill

WIDTH = 80
MARK = re.compile(r"- |> |")
KEPT = ("#", "|", "!")
SPAN = re.compile(r"`[^`]+`")
GLUE = "\0"  # in place of the blanks of a code span, which stays on one line


def filled(text: str) -> str:
    """The document with every paragraph, list item and quotation filled."""
    parts = re.split(r"(^```.*?^```$)", text, flags=re.DOTALL | re.MULTILINE)
    return "".join(part if part.startswith("```") else _prose(part) for part in parts)


def _prose(text: str) -> str:
    return "".join(_paragraph(part) for part in re.split(r"(\n{2,}|\n(?=- |\|))", text))


def _paragraph(text: str) -> str:
    if not text.strip() or text.lstrip("\n").startswith(KEPT):
        return text
    body = text.strip("\n")
    before, after = text[: text.index(body)], text[text.index(body) + len(body) :]
    mark = MARK.match(body)
    first = mark.group() if mark else ""
    continued = first if first == "> " else ""
    words = " ".join(line.removeprefix(continued).strip() for line in body.removeprefix(first).splitlines())
    glued = SPAN.sub(lambda span: span.group().replace(" ", GLUE), words)
    rest = continued or " " * len(first)
    done = fill(
        glued, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=False
    )
    return before + done.replace(GLUE, " ") + after
