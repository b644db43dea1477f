"""Marks on the model's annotations: what a key takes and what it is called, said once.

The reader, the messages, the JSON Schema and the list of keys all look at the same marks. They know no library that
validates, so that a sound file is read without one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A value that a function of its own reads from what the file holds; None: not this.

    `accepted` says what is, in words; `schema` says it as JSON Schema. `stand_in` is taken in place of a malformed
    value, so that the rest of the file is checked too; None where a guess would bring false reports.
    """

    read: Callable[[object], object | None]
    accepted: str
    schema: Mapping[str, Any]
    stand_in: object = None


@dataclass(frozen=True, slots=True)
class Text:
    """A text that wholly matches a pattern, of at most so many characters; `kind` says in a word what it is."""

    kind: str
    pattern: str
    most: int
    accepted: str

    @property
    def schema(self) -> dict[str, object]:
        """The same as JSON Schema."""
        return {"type": "string", "pattern": f"^{self.pattern}$", "maxLength": self.most}

    def read(self, value: object) -> str | None:
        """The text, or None when it is none of these."""
        if not isinstance(value, str) or len(value) > self.most:
            return None
        return value if re.fullmatch(self.pattern, value) else None


@dataclass(frozen=True, slots=True)
class Pair:
    """A list of just two entries."""

    accepted: str


@dataclass(frozen=True, slots=True)
class Entries:
    """How many entries a list has at least, and at most."""

    least: int = 0
    most: int | None = None


@dataclass(frozen=True, slots=True)
class Called:
    """The key in the file, where it is not the field's name."""

    key: str


@dataclass(frozen=True, slots=True)
class Says:
    """What a key means, for people.

    `place` is where its volts, or what else is measured, stand. `example` is a value as a file writes it; a table has
    those of its keys. `default` says in words what holds without the key, beside what its field says; `instead` names
    the keys in whose place it stands.
    """

    meaning: str
    unit: str = ""
    place: str = ""
    example: str = ""
    default: str = ""
    instead: str = ""
