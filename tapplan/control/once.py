"""Questions about a value that are answered once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

Answered = TypeVar("Answered")


@dataclass(frozen=True)
class AnswersOnce:
    """What is asked about is worked out when a question is first asked, and then kept."""

    _known: dict[object, object] = field(default_factory=dict, init=False, repr=False, compare=False)

    def once(self, question: object, answer: Callable[[], Answered]) -> Answered:
        """The answer to a question, kept from the first time on."""
        if question not in self._known:
            self._known[question] = answer()
        return self._known[question]  # type: ignore[return-value]  # what was kept under it is of the same type
