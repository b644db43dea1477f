"""What is wrong at one place of a design file, in words, before its line is looked up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tapplan.design.shape import Path
from tapplan.errors import escaped


@dataclass(frozen=True, slots=True)
class Objection:
    """Something in a design file that cannot be meant: the key, what was found there, and what would be accepted."""

    path: Path
    found: str
    accepted: str
    hint: str = ""


def quoted(names: Iterable[str], most: int = 12) -> str:
    """Names in quotes, the list cut where it gets long."""
    listed = list(names)
    text = ", ".join(f'"{name}"' for name in listed[:most])
    return f"{text}, ... ({len(listed)} in all)" if len(listed) > most else text


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint naming the known word most like `word`, or nothing."""
    from difflib import get_close_matches  # only where a name is wrong

    plain = {name.casefold(): name for name in known}
    close = get_close_matches(word.casefold(), plain, n=1, cutoff=0.6)
    return f'nearest known: "{plain[close[0]]}"' if close else ""


def shown(value: object, most: int = 60) -> str:
    """A value as the file would write it, cut where it is long."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, int):
        size = value.bit_length()
        text = str(value) if size < 200 else f"a whole number of about {size * 3 // 10} digits"
    elif isinstance(value, str):
        text = f'"{escaped(value)}"'
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(entry) for entry in value[:20]) + "]"
    elif isinstance(value, dict):
        text = "a table with " + (", ".join(map(escaped, list(value)[:10])) or "no keys")
    else:
        text = str(value)
    return text if len(text) <= most else text[: most - 3] + "..."
