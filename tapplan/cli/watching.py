"""A long search watched from the terminal: progress while it runs, stopped by Ctrl-C or after some seconds."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapplan.cli.working import withdraw

if TYPE_CHECKING:
    from tapplan.study.fitting import Progress

KEPT = "(Ctrl-C keeps what there is)"


@dataclass(frozen=True, slots=True)
class Headway:
    """How far something long has come: so much of so much, 0 of nothing known, and what stands beside the bar."""

    done: int
    of: int
    told: str


@dataclass
class Watch:
    """Whether to stop: asked once by Ctrl-C, or when the time is over; and whom to tell how far it has come.

    Mutable, because a signal sets it.
    """

    until: float
    show: Callable[[Headway], None] = lambda way: None
    interrupted: bool = False

    def tell(self, progress: Progress) -> None:
        """How far a search for plans is."""
        self.show(Headway(progress.done, progress.of, _told(progress)))

    def stop(self) -> bool:
        """Whether the search is to end now."""
        return self.interrupted or time.monotonic() >= self.until


@contextmanager
def watched(seconds: float | None) -> Iterator[Watch]:
    """What runs inside keeps what it has when interrupted; a second Ctrl-C ends the program as usual."""
    state = Watch(float("inf") if seconds is None else time.monotonic() + seconds)
    before = signal.getsignal(signal.SIGINT)

    def interrupt(number: int, frame: object) -> None:
        state.interrupted = True
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, interrupt)
    try:
        with _bar() as show:
            state.show = show
            yield state
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _bar() -> Iterator[Callable[[Headway], None]]:
    """A bar on the terminal's error stream, so that answers stay clean; none when it is no terminal."""
    if not sys.stderr.isatty():
        yield lambda way: None
        return
    withdraw()
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(KEPT, total=None)
        yield lambda now: progress.update(task, completed=now.done, total=now.of or None, description=now.told)


def _told(now: Progress) -> str:
    """What stands beside the bar."""
    if now.best is None:
        return "wirings searched (Ctrl-C keeps the best so far)"
    most = "" if now.bound is None else f", at most {now.bound:.2f} V possible so far"
    return f"best {now.best:.2f} V of room{most} (Ctrl-C keeps it)"
