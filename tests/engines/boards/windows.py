"""Windows of samples for firmware, and the reading of each by its definition, in decimals of sixty digits."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from math import pi, sin
from random import Random

from tapplan.design.model import Design

NO_READING = -1


@dataclass(frozen=True)
class Limits:
    """What a header says of samples: least, most, the usual number in a window and the greatest."""

    least: int
    most: int
    usual: int
    greatest: int

    @classmethod
    def of(cls, header: str) -> Limits:
        names = ("SAMPLE_LEAST", "SAMPLE_MOST", "SAMPLES", "SAMPLES_MOST")
        found = [re.search(rf"#define \w+?_{name} \(?(-?\d+)[LU]\)?", header) for name in names]
        return cls(*(int(one[1]) for one in found if one is not None))


@dataclass(frozen=True)
class Window:
    """Samples, and the reading that must follow."""

    samples: tuple[int, ...]
    reading: int


def windows(design: Design, limits: Limits) -> list[Window]:
    """Waves, chance, the ends of what can be, and windows that are none."""
    chance = Random("windows")
    middle, reach = (limits.least + limits.most) // 2, (limits.most - limits.least) // 2
    wave = [round(middle + 3 + 0.9 * reach * sin(2 * pi * n / limits.usual)) for n in range(limits.usual)]
    mixed = [chance.randint(limits.least, limits.most) for _ in range(limits.greatest)]
    told = [
        wave,
        mixed,
        mixed[:7],
        mixed[:2],
        [limits.most] * limits.greatest,
        [limits.least] * limits.greatest,
        [limits.least, limits.most] * (limits.usual // 2),
        [middle, middle + 1],
        [middle] * 3 + [middle + 1] * 2,
        [],
        [*wave, limits.most + 1],
        [limits.least - 1, *wave],
        [*mixed, middle],
    ]
    return [Window(tuple(one), _reading(design, limits, one)) for one in told]


def _reading(design: Design, limits: Limits, samples: Sequence[int]) -> int:
    """The nearest whole number, a half rounded up.

    The effective value is about the middle of the converter; over whole cycles what is left of a mean is the
    converter's own, and taken off.
    """
    rms, whole = design.sensing.detector == "rms", design.sensing.window_cycles.denominator == 1
    fitting = all(limits.least <= one <= limits.most for one in samples) and len(samples) <= limits.greatest
    if not fitting or len(samples) < (2 if rms and whole else 1):
        return NO_READING
    middle = (limits.most + 1) // 2 if design.controller is not None and rms else 0
    with localcontext(prec=60):
        count, off = Decimal(len(samples)), [Decimal(one - middle) for one in samples]
        mean = sum(off) / count
        about = mean if whole else Decimal(0)
        found = {
            "rms": (sum((one - about) ** 2 for one in off) / count).sqrt(),
            "average": mean,
            "peak": max(off),
        }[design.sensing.detector]
        return int(found.quantize(Decimal(1), ROUND_HALF_UP))
