"""What all answers have in common: one object for scripts, one table for frames and notebooks, one exit code."""

from __future__ import annotations

from importlib import import_module
from typing import Any, ClassVar

from tapplan.answers.columns import ColumnKind, fields_of
from tapplan.answers.forms import Json, as_html, as_json, flat
from tapplan.answers.words import CAUTION
from tapplan.errors import UsageError


class Answer:
    """The answer of a verb.

    `wrong` says whether at least one fault was found (or, of a comparison, whether anything got worse).
    One that leads a hand to a circuit ends with the words of `caution`. `title` is the design's.
    """

    __slots__ = ()

    caution: ClassVar[str] = ""
    heading: ClassVar[str] = ""
    title: str

    @property
    def wrong(self) -> bool:
        """Whether a fault was found."""
        return False

    @property
    def headline(self) -> str:
        """What it shows, and of which design."""
        return f"{self.heading}: {self.title}" if self.title else self.heading

    def as_json(self) -> Json:
        """One object, in the keys that scripts rely on."""
        return as_json(self) | ({"caution": CAUTION} if self.caution else {})

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The names of its tables, the main one first."""
        return tuple(field.name for field in fields_of(cls) if field.column.kind is ColumnKind.MORE)

    def rows(self, part: str | None = None) -> tuple[Any, ...]:
        """The rows of one of its tables, the main one where none is named.

        Raises:
            UsageError: it has no table of that name.
        """
        known = self.parts()
        if not known or part not in (None, *known):
            raise UsageError(f"found part {part!r}; accepted: {', '.join(known) or 'no part, for it has no table'}")
        found = getattr(self, part or known[0])
        return found if isinstance(found, tuple) else () if found is None else (found,)

    def frame(self, part: str | None = None) -> Any:
        """One of its tables as a pandas frame, or as a polars one where pandas is not installed.

        Raises:
            UsageError: neither is installed, or it has no table of that name.
        """
        rows = [flat(row) for row in self.rows(part)]
        for name in ("pandas", "polars"):
            try:
                library = import_module(name)
            except ImportError:
                continue
            return library.DataFrame(rows)
        raise UsageError("found neither pandas nor polars; accepted: one of them installed, for a frame")

    def _repr_html_(self) -> str:
        from html import escape  # with its table of entities, which a terminal does not need

        return f"<p><b>{escape(self.headline)}</b></p>{as_html(self.rows())}"
