"""Two bands with one handover as a text, random logs around it, and a plain search over every pair of thresholds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import ceil, floor
from random import Random

from tests.outside import replay as outside

F = Fraction
GRID = F(1, 10)
MINUTE = 60_000_000
Samples = Sequence[outside.Sample]

TEXT = """\
format = 1
title  = "two bands"

[mains]
nominal_v = 220
range_v   = [174, 240]

[output]
nominal_v = 220
window_v  = [198, 242]

[terminals]
line    = "A"
neutral = "N"
output  = "OUT"

[[winding]]
name  = "base"
ends  = ["N", "A"]
turns = 200

[[winding]]
name  = "more"
ends  = ["A", "B"]
turns = {more}

[[relay]]
name = "K"
com  = "OUT"
nc   = "A"
no   = "B"
{times}
[sensing]
at           = "{at}"
error_pct    = {error}
noise_v      = {noise}
hysteresis_v = {hysteresis}
confirm_ms   = {confirm}

[[band]]
name      = "boost"
energised = ["K"]
hold_v    = [{low}, {upper}]

[[band]]
name      = "direct"
energised = []
hold_v    = [{lower}, {high}]
"""


@dataclass(frozen=True)
class TwoBands:
    """A boost and a direct band, their handover, and what is asked of it; volts, thresholds as read."""

    more: int
    at: str
    error: F
    noise: F
    hysteresis: F
    confirm: int
    times: str
    upper: F
    lower: F

    @property
    def ratio(self) -> F:
        """Output over input of the boost; that of the other band is 1."""
        return F(200 + self.more, 200)

    def read(self, ratio: F) -> F:
        """What is read of an input volt in a band of this ratio."""
        return ratio if self.at == "output" else F(1)

    @property
    def most_upper(self) -> F:
        """The highest reading that surely stands for an output of at most 242 V in boost."""
        return (1 - self.error / 100) * self.read(self.ratio) * 242 / self.ratio - self.noise / 2

    @property
    def least_lower(self) -> F:
        """The lowest reading that surely stands for an output of at least 198 V straight through."""
        return (1 + self.error / 100) * 198 + self.noise / 2

    def overlap(self, upper: F, lower: F) -> F:
        """How far the bands overlap, in input volts."""
        return upper / self.read(self.ratio) - lower

    @property
    def noise_v(self) -> F:
        """The noise at the handover, in input volts."""
        return self.noise / 2 * (1 / self.read(self.ratio) + 1)

    def text(self, upper: F, lower: F) -> str:
        """The design file with these thresholds."""
        top, bottom = self.read(self.ratio), F(1)
        low, high = floor(174 * F(98, 100) * top - 2), ceil(240 * F(102, 100) * bottom + 2)
        return TEXT.format(
            **{
                name: float(getattr(self, name)) if isinstance(getattr(self, name), F) else getattr(self, name)
                for name in ("more", "at", "error", "noise", "hysteresis", "confirm", "times")
            },
            low=low,
            high=high,
            upper=float(upper),
            lower=float(lower),
        )

    @property
    def whole(self) -> str:
        """The design file as it was drawn."""
        return self.text(self.upper, self.lower)

    def pairs(self) -> Iterator[tuple[F, F]]:
        """Every pair in tenths of a volt that leaves each band inside the window and the overlap that is wanted."""
        uppers = {F(n, 10) for n in range(floor(10 * self.least_lower) - 100, floor(10 * self.most_upper) + 1)}
        lowers = {F(n, 10) for n in range(ceil(10 * self.least_lower), ceil(10 * self.most_upper) + 100)}
        for upper, lower in product(sorted(uppers | {self.upper}), sorted(lowers | {self.lower})):
            overlap = self.overlap(upper, lower)
            if (upper, lower) == (self.upper, self.lower) or (overlap >= self.hysteresis and overlap > self.noise_v):
                yield upper, lower


def drawn(chance: Random) -> TwoBands:
    """A sound one with little room beside the hysteresis."""
    while True:
        one = TwoBands(
            more=chance.randint(24, 34),
            at=chance.choice(("input", "input", "output")),
            error=F(chance.choice((0, 1)), 2),
            noise=F(chance.choice((0, 5, 10)), 10),
            hysteresis=F(0),
            confirm=chance.choice((0, 0, 40, 90_000)),
            times=chance.choice(("", "operate_ms = 0\nrelease_ms = 0\ntransfer_ms = 0\nbounce_ms = 0\n")),
            upper=F(0),
            lower=F(0),
        )
        spare = one.overlap(one.most_upper, one.least_lower)
        wanted = F(floor(10 * spare), 10) - F(chance.randint(14, 24), 10)
        if wanted <= one.noise_v:
            continue
        lower = F(ceil(10 * one.least_lower) + chance.randint(0, 4), 10)
        upper = F(ceil(10 * (lower + wanted) * one.read(one.ratio)), 10)
        if upper <= one.most_upper:
            return TwoBands(**{**vars(one), "hysteresis": wanted, "upper": upper, "lower": lower})


def trace(chance: Random, one: TwoBands) -> Samples:
    """Minutes that walk to and fro across the handover, in tenths of a volt, with a gap now and then."""
    middle = (one.upper / one.read(one.ratio) + one.lower) / 2
    wide = float(one.overlap(one.most_upper, one.least_lower))
    time, slow, found = 0, 0.0, []
    for _ in range(chance.choice((30, 60, 80))):
        slow += chance.gauss(0, wide / 4) - slow / 5
        volts = float(middle) + slow + chance.gauss(0, wide / 3)
        found.append((time, F(round(10 * min(max(volts, 150), 262)), 10)))
        time += MINUTE * (chance.choice((5, 30)) if chance.random() < 0.03 else 1)
    return found


@dataclass(frozen=True, order=True)
class Plain:
    """What is to be small, by the plain loop: changes, microseconds outside, and volts off in whole microvolts."""

    changes: int
    outside: int
    off: int


def judged(one: TwoBands, upper: F, lower: F, samples: Samples) -> Plain:
    """One pair by the plain loop."""
    machine = outside.Machine(one.text(upper, lower))
    found = machine.run(samples)
    inside = [piece for piece in found.pieces if piece.row in machine.ratios]
    volts = sum(abs(machine.ratios[piece.row] * piece.volts - 220) * piece.us for piece in inside)
    lasting = sum(piece.us for piece in inside)
    off = round(1_000_000 * volts / lasting) if lasting else 0
    return Plain(sum(found.changes.values()), found.outside_us, off)


def best(one: TwoBands, samples: Samples) -> Plain:
    """The best of every pair that has not a whole minute more outside than the thresholds as drawn."""
    now = judged(one, one.upper, one.lower, samples)
    found = (judged(one, upper, lower, samples) for upper, lower in one.pairs())
    return min(plain for plain in found if plain.outside <= now.outside + MINUTE)
