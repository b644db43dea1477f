"""Which engine runs a stretch: numpy's at first, the compiled one once a log is long enough for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec

from tapplan.arrays import Micros
from tapplan.replay.course import Engine, Stretch
from tapplan.replay.profile import Profile, profile
from tapplan.replay.segments import Segments
from tapplan.replay.stretches import PYTHON

LONG = 4_000_000  # samples; numpy passes over them in about the time in which the compiled engine is loaded

Profiler = Callable[[Stretch, float, Segments, Micros], Profile]


@dataclass(frozen=True)
class Backend:
    """How a stretch is followed, and how its readings are profiled."""

    course: Engine
    profile: Profiler


NUMPY = Backend(PYTHON, profile)


def compiled() -> Backend:
    """The compiled engine.

    Raises:
        ImportError: numba, an extra, is not installed.
    """
    from tapplan.replay import kernel  # loads a compiler

    return Backend(kernel.COMPILED, kernel.profile)


class Engines:
    """Chooses by how many samples have passed so far, or always takes the one given."""

    def __init__(self, fixed: Backend | None = None) -> None:
        self._fixed = fixed
        self._passed = 0

    def after(self, samples: int) -> Backend:
        """The engine for the next samples, so many of them."""
        self._passed += samples
        if self._fixed is None and self._passed > LONG and find_spec("numba") is not None:
            self._fixed = compiled()
        return self._fixed or NUMPY
