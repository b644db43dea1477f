"""What tapplan raises when it cannot do what was asked; every one becomes one readable message and exit 2."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

PLAIN = "\n\u200c\u200d"  # the ends of lines, and the two joiners, without which some scripts cannot be written


class TapplanError(Exception):
    """Root of every error tapplan raises on purpose."""


class UsageError(TapplanError):
    """The call itself cannot be answered: an option or an argument is wrong."""


class TableError(TapplanError):
    """The design's control table contradicts itself in a way that only its ratios show.

    `path` is the key in the design file.
    """

    def __init__(self, path: tuple[str | int, ...], found: str, accepted: str) -> None:
        self.path, self.found, self.accepted = path, found, accepted
        super().__init__(f"{'.'.join(map(str, path))}: found {found}; accepted: {accepted}")


class OutputError(TapplanError):
    """The answer exists but could not be written; nothing was left half-written."""


def visible(text: str) -> str:
    """The text with control characters, odd ends of line and marks of direction as escapes; plain ends are kept.

    So that no name of a file can move a terminal's cursor, colour what follows, or show itself backwards. Bytes of a
    name that are no text stand in it as lone surrogates, which nothing can write: they become escapes too.
    """
    return "".join(
        one
        if one in PLAIN or unicodedata.category(one) not in ("Cc", "Cf", "Cs", "Zl", "Zp")
        else one.encode("unicode_escape").decode()
        for one in text
    )


def escaped(text: str) -> str:
    """A name or a text of a file as one line tells it: what a terminal would obey, and ends of lines, as escapes."""
    return visible(text).replace("\n", "\\n")


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a design file: where it stands, what was found and what would be accepted.

    `line` is None where the text has no such place, as for a key that is missing from an empty file.
    """

    key: str
    found: str
    accepted: str
    line: int | None = None
    hint: str = ""

    def told(self, file: str) -> str:
        """The problem as one sentence that starts with `file:line: key`."""
        name = escaped(file)
        place = name if self.line is None else f"{name}:{self.line}"
        subject = f"{place}: {self.key}: " if self.key else f"{place}: "
        hint = f" ({self.hint})" if self.hint else ""
        return f"{subject}found {self.found}; accepted: {self.accepted}{hint}"


class DesignError(TapplanError):
    """A design file is not usable; carries every problem found in it, in the order of the file."""

    def __init__(self, file: str, problems: tuple[Problem, ...]) -> None:
        self.file = file
        self.problems = problems
        super().__init__(self._message())

    def _message(self) -> str:
        count = len(self.problems)
        closing = [] if count == 1 else [f"{count} problems in {escaped(self.file)}"]
        return "\n".join([problem.told(self.file) for problem in self.problems] + closing)


class LogError(TapplanError):
    """A log of voltages cannot be read; what was found, what is accepted, and where."""
