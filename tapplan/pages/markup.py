"""Pieces of a page: sections, tables that scroll by themselves, pictures with what they show."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from typing import Any

from tapplan.answers.forms import Cells, cells, html_table


def static(name: str) -> str:
    """A file of the page's own, without its comments and the spaces at the beginnings of its lines."""
    text = (files("tapplan.pages") / "static" / name).read_text(encoding="utf-8")
    return re.sub(r"^[ ]+", "", re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL), flags=re.MULTILINE)


def rows_table(rows: Sequence[Any], caption: str = "") -> str:
    """Rows as a table that can be scrolled sideways; nothing where there are none."""
    if not rows:
        return ""
    made = cells(rows)
    return framed(html_table(made, caption), caption or made.heads[0])


def filled_table(rows: Sequence[Any], caption: str) -> str:
    """The same without the columns that no row has anything in."""
    if not rows:
        return ""
    made = cells(rows)
    kept = [place for place in range(len(made.heads)) if any(row[place] not in ("-", "") for row in made.rows)]
    return framed(html_table(_columns(made, kept), caption), caption)


def _columns(made: Cells, kept: Sequence[int]) -> Cells:
    heads = tuple(made.heads[place] for place in kept)
    return Cells(heads, tuple(tuple(row[place] for place in kept) for row in made.rows))


def framed(table_text: str, label: str) -> str:
    """What is wider than a phone, in a frame of its own that scrolls."""
    named = escape(label, quote=True)
    return f'<div class="wide" tabindex="0" role="group" aria-label="{named}">{table_text}</div>'


def figure(picture: str, caption: str) -> str:
    """A picture that may be scrolled sideways, and what it shows."""
    return f"<figure>{framed(picture, 'Picture')}<figcaption>{escape(caption)}</figcaption></figure>"


def folded(summary: str, inside_it: str) -> str:
    """Something long, one click away; nothing where there is nothing."""
    return f"<details><summary>{escape(summary)}</summary>{inside_it}</details>" if inside_it else ""


def without(made: Cells, head: str) -> Cells:
    """The same columns but one, by its heading."""
    kept = [place for place, name in enumerate(made.heads) if name != head]
    return _columns(made, kept)


def shorter(text: str) -> str:
    """The same without the ends that HTML lets a page leave out: those of cells, rows and points of lists."""
    return re.sub(r"</(?:td|th|tr|li)>", "", text)


def linked_table(rows: Sequence[Any], links: Sequence[str], name: str) -> str:
    """Rows as a table with a filter over it, each begun by a link of its own; `name` is the table's on the page."""
    if not rows:
        return ""
    made = cells(rows)
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in ("", *made.heads))
    body = "".join(
        f"<tr><td>{link}</td>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>"
        for link, row in zip(links, made.rows, strict=True)
    )
    table_text = f"<table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
    return filtered(f'<div id="{name}">{framed(table_text, made.heads[0])}</div>', name)


def filtered(table_text: str, name: str) -> str:
    """A long table under a field that leaves only the rows with the words typed; `name` is the table's id."""
    return (
        f'<p class="screen-only"><label>Only rows with <input type="search" data-filters="{name}"></label> '
        f'<span id="{name}-says" class="faint" role="status"></span></p>{table_text}'
    )


def chapter(name: str, heading: str, inside_it: str, kind: str = "") -> str:
    """A part of the page under a heading, with an anchor that can be shared."""
    if not inside_it:
        return ""
    shown = f' class="{kind}"' if kind else ""
    return f'<section id="{name}"{shown}><h2><a href="#{name}">{escape(heading)}</a></h2>{inside_it}</section>'
