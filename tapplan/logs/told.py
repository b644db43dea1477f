"""What was found in a log, as a message can tell it."""

from __future__ import annotations

from tapplan.errors import LogError, escaped
from tapplan.logs.samples import BadRows

MOST_FOUND = 40  # characters of what was found
MOST_LISTED = 3  # bad rows in one message


def found(cell: str) -> str:
    """A cell or line as it can be told: nothing in it that a terminal would obey, and at most 40 characters."""
    told = escaped(cell[: MOST_FOUND + 1])
    return told if len(told) <= MOST_FOUND else told[: MOST_FOUND - 3] + "..."


def listed(bad: BadRows) -> str:
    """The first bad rows, each as its place, what was found and why that is no sample."""
    return "; ".join(f'{one.file}:{one.row} has "{one.found}", {one.fault.value}' for one in bad.told[:MOST_LISTED])


def refusal(where: str, what: str, accepted: str) -> LogError:
    """The error of a log that cannot be read: where, what was found there, what is accepted."""
    return LogError(f"{escaped(where)}: {what}; accepted: {accepted}")
