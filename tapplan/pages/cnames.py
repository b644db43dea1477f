"""Names and comments of other languages: what a compiler takes for a name, and text that cannot end a comment."""

from __future__ import annotations

import re
import textwrap

COMMENT_WIDTH = 90


def identifiers(names: tuple[str, ...]) -> list[str]:
    """Names as C knows them: letters, digits and underscores, each once."""
    found: list[str] = []
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_").upper()[:40] or "X"
        number, one = 2, plain
        while one in found:
            one = f"{plain}_{number}"
            number += 1
        found.append(one)
    return found


def comment(text: str) -> str:
    """Text that cannot end a comment, and that every compiler reads."""
    plain = text.encode("ascii", "backslashreplace").decode().replace("\\", "/").replace("??/", "?? /")
    return plain.replace("*/", "* /").replace("/*", "/ *")


def wrapped(text: str) -> list[str]:
    """Text in lines that fit a comment."""
    return textwrap.wrap(text, COMMENT_WIDTH)
