"""Lines of JSON that are added to a file one at a time, each with a mark of what it holds, so that damage shows.

A search or a run that is kept for hours is read again by a later call. A line that was cut off, or changed by
anything but tapplan, no longer has its mark, and is refused in place of being believed.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

SEAL = "mark"


def sealed(told: Mapping[str, Any]) -> str:
    """A line with these keys and its mark."""
    return json.dumps({**told, SEAL: _mark(told)}) + "\n"


def unsealed(line: str | bytes) -> dict[str, Any]:
    """What a line was made of.

    Raises:
        ValueError: it is none, or is not as it was written.
    """
    try:
        found = json.loads(line)
    except RecursionError:
        raise ValueError("brackets nested too deep") from None
    if not isinstance(found, dict) or found.pop(SEAL, None) != _mark(found):
        raise ValueError("no line as it was written")
    return found


def _mark(told: Mapping[str, Any]) -> str:
    return sha256(json.dumps(told).encode()).hexdigest()[:16]


def add_line(path: str, line: str) -> None:
    """Adds a line to a file, or makes the file of it; a file that cannot take it whole is as it was.

    Raises:
        OSError: it cannot.
    """
    is_there = os.path.exists(path)
    size = os.path.getsize(path) if is_there else 0
    try:
        with open(path, "ab") as file:
            file.write(line.encode())
    except OSError:
        if is_there:
            os.truncate(path, size)
        elif os.path.exists(path):
            os.unlink(path)
        raise
