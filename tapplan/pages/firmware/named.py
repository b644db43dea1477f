"""What the names of a design's firmware begin with: its title before the first comma, or a name of the caller's."""

from __future__ import annotations

import re

from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Design
from tapplan.errors import UsageError
from tapplan.pages.cnames import identifiers

MOST_LETTERS = 40
PREFIX = "tapplan_"


def firmware_name(design: Design) -> str:
    """`tapplan_` and the title before its first comma, in small letters, digits and underscores.

    Where that loses letters, since they are none of C's or too many, the design's fingerprint follows, so that two
    titles that would become one name stay two.
    """
    short = design.title.split(",")[0]
    plain = identifiers((short,))[0].lower()
    lost = any(one.isalnum() and not one.isascii() for one in short) or not re.search(r"[A-Za-z0-9]", short)
    cut = len(re.sub(r"[^A-Za-z0-9]+", "_", short).strip("_")) > MOST_LETTERS
    return f"{PREFIX}{plain}_{fingerprint(design)}" if lost or cut else PREFIX + plain


def given_name(name: str) -> str:
    """A name that a caller asks for, with `tapplan_` before it.

    Raises:
        UsageError: C would not take it for a name, or it is too long.
    """
    if not re.fullmatch(rf"[a-z][a-z0-9_]{{0,{MOST_LETTERS - 1}}}", name):
        raise UsageError(
            f'found --name "{name}"; accepted: a small letter, then small letters, digits and underscores, '
            f"{MOST_LETTERS} at most"
        )
    return PREFIX + name
