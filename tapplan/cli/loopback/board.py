"""What there is to be seen while watching: set by whoever works pages out, read by whoever serves them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

MOST_TRIED = 8  # pages of designs tried that are kept


@dataclass(frozen=True, slots=True)
class TriedPage:
    """The page of a design that was tried and stands in no file; its number in the order of trying."""

    number: int
    text: str


@dataclass(frozen=True, slots=True)
class Showing:
    """The last page of the file that could be made, which one it is, and what is wrong with the file since."""

    number: int = 0
    page: str = ""
    problem: str = ""
    tried: tuple[TriedPage, ...] = ()
    tries: int = 0

    def tried_page(self, number: int) -> str | None:
        """A page that was tried; None where it is there no more."""
        return next((one.text for one in self.tried if one.number == number), None)


@dataclass
class NewsBoard:
    """One value for all who look, replaced as a whole, so that threads need no lock; `wake` tells those who wait."""

    now: Showing = field(default_factory=Showing)
    wake: Callable[[], None] = lambda: None

    def show_page(self, text: str) -> None:
        """A new page of the file, which is without problems then."""
        self._show(replace(self.now, number=self.now.number + 1, page=text, problem=""))

    def show_problem(self, told: str) -> None:
        """What is wrong with the file now, nothing where it is empty; the page stays."""
        if told != self.now.problem:
            self._show(replace(self.now, problem=told))

    def keep_tried(self, text: str) -> int:
        """A page that was tried, kept beside the latest others; returns its number."""
        number = self.now.tries + 1
        kept = (*self.now.tried, TriedPage(number, text))[-MOST_TRIED:]
        self.now = replace(self.now, tried=kept, tries=number)
        return number

    def _show(self, showing: Showing) -> None:
        self.now = showing
        self.wake()
