"""The texts that a watched page is made of, and their reviews."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256

from tapplan.checks.review import Review, review
from tapplan.design.file import load, parse
from tapplan.design.objection import Objection
from tapplan.design.problems import problems_of
from tapplan.errors import DesignError, TableError


@dataclass(frozen=True, slots=True)
class DesignTexts:
    """The text of a design, and that of the revision it is compared with."""

    design: str
    older: str | None = None

    @property
    def mark(self) -> str:
        """What tells this text of the design from any other."""
        return sha256(self.design.encode("utf-8")).hexdigest()


@contextmanager
def of_text(text: str, path: str) -> Iterator[None]:
    """Whatever contradicts itself in a table made inside is told as a problem of this text, which may stand nowhere.

    Raises:
        DesignError: in place of a TableError.
    """
    try:
        yield
    except TableError as error:
        objection = Objection(error.path, error.found, error.accepted)
        raise DesignError(path, problems_of(text, [objection])) from None


def reviewed_text(text: str, path: str) -> Review:
    """A design, reviewed; `path` names it in messages.

    Raises:
        DesignError: it means nothing, or contradicts itself.
    """
    with of_text(text, path):
        design = parse(text, path)
        return review(design if design.windings else load(path))  # which says what a request is for
