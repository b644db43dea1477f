"""What a served page may ask for: numbers of the design tried, or written; everything else is refused."""

from __future__ import annotations

import json
from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Literal

from tapplan.errors import UsageError

LONGEST_NUMBER = 40
ACCEPTED = 'accepted: {"read": "...", "numbers": {"winding[1].turns": "516"}}'
OK, MALFORMED, CHANGED, WRONG, BUSY = 200, 400, 409, 422, 503


@dataclass(frozen=True, slots=True)
class DeskReply:
    """What a page is told: a status of HTTP, and the page to go to or the problem."""

    status: int
    told: Mapping[str, str]


def gone_to(page: str) -> DeskReply:
    """A page to go to, seen from the page of the file."""
    return DeskReply(OK, {"page": page})


def refused(status: int, problem: str) -> DeskReply:
    """Why nothing was done."""
    return DeskReply(status, {"problem": problem})


@dataclass(frozen=True, slots=True)
class NumberRequest:
    """Numbers by their key, the text they were read from by its mark, and where the reply is waited for."""

    what: Literal["try", "write"]
    read: str
    numbers: Mapping[str, str]
    reply: Future[DeskReply] = field(default_factory=Future)


def asked_of(what: Literal["try", "write"], body: bytes) -> NumberRequest:
    """The request in the body that a page has sent.

    Raises:
        UsageError: it is not of this form.
    """
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        raise UsageError(f"found a body that is no JSON; {ACCEPTED}") from None
    if not isinstance(found, dict) or found.keys() != {"read", "numbers"}:
        raise UsageError(f"found other keys; {ACCEPTED}")
    read, numbers = found["read"], found["numbers"]
    if not isinstance(read, str) or not isinstance(numbers, dict) or not numbers:
        raise UsageError(f"found no numbers; {ACCEPTED}")
    if not all(isinstance(one, str) and len(one) <= LONGEST_NUMBER and one.isprintable() for one in numbers.values()):
        raise UsageError(f"found a number that is no short text; {ACCEPTED}")
    return NumberRequest(what, read, numbers)
