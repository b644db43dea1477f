"""From a key's path in a design file, such as ("winding", 2, "turns"), to the line where it stands.

The parser says what a file means but not where; a scan of the text finds the lines of tables and keys. It
runs only when there is something to report.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

from tapplan.design.shape import Path

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'" r"|#[^\n]*|[\[{]|[\]}]|\n",
    re.DOTALL,
)
_PART = r"""(?:[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
_PARTS = rf"[ \t]*({_PART}(?:[ \t]*\.[ \t]*{_PART})*)[ \t]*"
_HEADER = re.compile(rf"[ \t]*(\[\[?){_PARTS}\]")
_KEY = re.compile(rf"{_PARTS}=")


def _dotted(text: str) -> tuple[str, ...]:
    """The parts of a dotted key."""
    parts: list[str] = []
    inner: object = tomllib.loads(f"{text} = 0")
    while isinstance(inner, dict):
        part, inner = next(iter(inner.items()))
        parts.append(part)
    return tuple(parts)


def _statements(text: str) -> Iterator[tuple[int, int]]:
    """Where each statement of a TOML text starts, as (offset, line); values over several lines are one."""
    line, depth = 1, 0
    yield 0, 1
    position = 0
    while (token := _TOKEN.search(text, position)) is not None:
        found = token.group()
        position = token.end()
        if found in "[{":
            depth += 1
        elif found in "]}":
            depth -= 1
        line += found.count("\n")
        if found == "\n" and depth == 0:
            yield position, line


def key_lines(text: str) -> dict[Path, int]:
    """The line of every table header and key of a TOML text that reads, by path; array tables count from 0."""
    lines: dict[Path, int] = {}
    table: Path = ()
    counts: dict[Path, int] = {}
    for offset, line in _statements(text):
        header = _HEADER.match(text, offset)
        key = None if header else _KEY.match(text, offset)
        if header is not None:
            table = _dotted(header.group(2))
            if header.group(1) == "[[":
                index = counts.get(table, 0)
                counts[table] = index + 1
                lines.setdefault(table, line)
                table = (*table, index)
            lines[table] = line
        elif key is not None:
            path = (*table, *_dotted(key.group(1)))
            for cut in range(len(table) + 1, len(path) + 1):
                lines.setdefault(path[:cut], line)
    return lines


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """The line of the key, or of the nearest table around it, or None."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None
