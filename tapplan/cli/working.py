"""What a call is at, told on a terminal while it takes long: the file, how far it is, and for how many seconds.

A line on the error stream that is wiped away before the answer comes; none where that is no terminal, nor for calls
that talk with a person or have a bar of their own.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from time import monotonic

from tapplan.errors import escaped, visible

EVERY = 1.0  # seconds to the first line, and from one to the next
LONGEST = 30  # letters of a file's name
FIRST = ("states", "bands", "table", "check", "at", "faults", "rate", "margins", "steps", "moves")
VERBS = frozenset((*FIRST, "compare", "report", "export", "bench", "isolate"))
MEASURED = "measurements"  # what `bench` and `isolate` go through
TALKING = ("ask", "watch", "learn")  # options with which a call talks with a person, or is there until it is stopped


class _Line(Thread):
    """The line of a call: written every second until it is withdrawn."""

    def __init__(self, about: str) -> None:
        super().__init__(daemon=True)
        self.about, self.reached = about, ""
        self._over = Event()

    def run(self) -> None:
        """Writes the line anew every second, and wipes it away at the end."""
        begun, longest = monotonic(), 0
        while not self._over.wait(EVERY):
            told = f"{self.about}: {self.reached}{monotonic() - begun:.0f} s (Ctrl-C ends it)"
            longest = max(longest, len(told))
            _write(f"\r{told.ljust(longest)}")
        if longest:
            _write(f"\r{' ' * longest}\r")

    def withdraw(self) -> None:
        """Ends the line; when this returns nothing of it is left."""
        self._over.set()
        self.join()


_lines: list[_Line] = []  # the line of the call that is being answered, if it has one


@contextmanager
def at_work(args: argparse.Namespace) -> Iterator[None]:
    """What runs inside is told on the terminal once it takes longer than a second."""
    if args.verb not in VERBS or any(getattr(args, name, None) for name in TALKING) or not _on_terminal():
        yield
        return
    line = _Line(_about(args))
    _lines.append(line)
    line.start()
    try:
        yield
    finally:
        withdraw()


def withdraw() -> None:
    """Ends the line for good, because something else is to be written where it stands."""
    while _lines:
        _lines.pop().withdraw()


def reached(done: int, of: int, what: str) -> None:
    """How far the call is, where that is known: so many of so many."""
    for line in _lines:
        line.reached = f"{done} of {of} {what}, "


def _on_terminal() -> bool:
    return sys.stderr is not None and sys.stderr.isatty()


def _about(args: argparse.Namespace) -> str:
    """The verb, and the file if there is one."""
    files = [one for one in (getattr(args, "design", None), *getattr(args, "designs", ())) if one is not None]
    if len(files) != 1:
        return args.verb if not files else f"{args.verb} {len(files)} designs"
    name = visible(escaped(files[0]))
    return f"{args.verb} {name if len(name) <= LONGEST else '...' + name[-LONGEST:]}"


def _write(text: str) -> None:
    sys.stderr.write(text)
    sys.stderr.flush()
