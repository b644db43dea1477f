"""What tapplan raises when it cannot do what was asked; every one becomes one readable message and exit 2."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

MOST_FOUND, MOST_SAID = 500, 3000  # letters of what was found in a file; of a whole sentence about a call
MOST_PROBLEMS = 100  # of one file
PLAIN = "\n\u200c\u200d"  # the ends of lines, and the two joiners, without which some scripts cannot be written


class TapplanError(Exception):
    """Root of every error tapplan raises on purpose."""


class UsageError(TapplanError):
    """The call itself cannot be answered: an option or an argument is wrong. Told in one line, whatever it names."""

    def __init__(self, told: str) -> None:
        super().__init__(escaped(shortened(told, MOST_SAID)))


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
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(
        one
        if one in PLAIN or unicodedata.category(one) not in ("Cc", "Cf", "Cs", "Zl", "Zp")
        else one.encode("unicode_escape").decode()
        for one in text
    )


def escaped(text: str) -> str:
    """A name or a text of a file as one line tells it: what a terminal would obey, and ends of lines, as escapes."""
    return visible(text).replace("\n", "\\n")


def shortened(text: str, most: int) -> str:
    """A text of at most about so many letters: of a longer one the beginning, the end, and how many there are."""
    if len(text) <= most:
        return text
    return f"{text[: most * 2 // 3]} ... ({len(text)} letters) ... {text[-most // 3 :]}"


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
        """The problem as one sentence, in one line and not endless, that starts with `file:line: key`.

        Whatever the file holds: what a terminal would obey is told as escapes, and of a long text its two ends.
        """
        name = escaped(file)
        place = name if self.line is None else f"{name}:{self.line}"
        subject = f"{place}: {escaped(shortened(self.key, MOST_FOUND))}: " if self.key else f"{place}: "
        hint = f" ({self.hint})" if self.hint else ""
        found, accepted = shortened(self.found, MOST_FOUND), shortened(self.accepted, MOST_SAID)
        return f"{subject}found {escaped(found)}; accepted: {escaped(f'{accepted}{hint}')}"


class DesignError(TapplanError):
    """A design file is not usable; carries every problem found in it, in the order of the file."""

    def __init__(self, file: str, problems: tuple[Problem, ...]) -> None:
        self.file = file
        self.problems = problems
        super().__init__(self._message())

    def _message(self) -> str:
        count = len(self.problems)
        rest = f"; the first {MOST_PROBLEMS} are told" if count > MOST_PROBLEMS else ""
        closing = [] if count == 1 else [f"{count} problems in {escaped(self.file)}{rest}"]
        return "\n".join([problem.told(self.file) for problem in self.problems[:MOST_PROBLEMS]] + closing)


class LogError(TapplanError):
    """A log of voltages cannot be read; what was found, what is accepted, and where."""
