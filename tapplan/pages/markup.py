"""Pieces of a page: sections, tables that scroll by themselves, pictures with what they show."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from typing import Any

from tapplan.answers.forms import cells, html_table


def static(name: str) -> str:
    """A file of the page's own."""
    return (files("tapplan.pages") / "static" / name).read_text(encoding="utf-8")


def section(heading: str, rows: Sequence[Any], relays: Sequence[str] = ()) -> str:
    """Rows under a heading, or that there are none."""
    return f"<h2>{escape(heading)}</h2>" + (rows_table(rows, relays=relays) or "<p>None.</p>")


def rows_table(rows: Sequence[Any], caption: str = "", relays: Sequence[str] = ()) -> str:
    """Rows as a table that can be scrolled sideways; nothing where there are none."""
    if not rows:
        return ""
    made = cells(rows, relays)
    return framed(html_table(made, caption), caption or made.heads[0])


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
