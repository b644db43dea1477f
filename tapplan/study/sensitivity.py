"""How far each wish may go: before it takes a relay more, and from where a relay fewer does.

Hysteresis and noise follow from the most room there is; for error, window and range the change is halved towards the
least that does, each one tried by a search, and told on the safe side. What a search finds is possible; what it does
not find may still be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor

from tapplan.study.plans import Plan
from tapplan.study.relaxing import TRIES, inward, least_share, nearest, outward, possible, written
from tapplan.study.request import Request, bound, narrowed, widened
from tapplan.study.search import Stop

MOST = Fraction(1, 2)  # the largest change that is tried, as a share
FINE = 100  # of a volt, or of a percent


@dataclass(frozen=True, slots=True)
class WishSpan:
    """A wish: what it is now, how far it may go with as many relays, from where a relay fewer does.

    `farthest` None: no farther was found; `saving` None: nothing that was tried saves a relay.
    """

    key: str
    now: str
    farthest: str | None
    saving: str | None


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """All wishes of a request, about plans of so many relays; `finished`: each was tried as far as it goes."""

    relays: int
    wishes: tuple[WishSpan, ...]
    finished: bool = True


@dataclass(frozen=True, slots=True)
class _Wish:
    """A wish with a change by a share: `harder` asks for more, `easier` for less; and how it is told."""

    key: str
    harder: Callable[[Request, Fraction], Request]
    easier: Callable[[Request, Fraction], Request]
    told: Callable[[Request], str]


WISHES = (
    _Wish(
        "sensing.error_pct",
        lambda asked, share: replace(asked, error=asked.error * (1 + share)),
        lambda asked, share: replace(asked, error=asked.error * (1 - share)),
        lambda asked: _volts(_down(asked.error * 100)),
    ),
    _Wish(
        "output.window_v",
        lambda asked, share: widened(asked, -share),
        widened,
        lambda asked: written(outward(asked.window)),
    ),
    _Wish(
        "mains.range_v",
        lambda asked, share: narrowed(asked, -share),
        narrowed,
        lambda asked: written(inward(asked.mains)),
    ),
)


def sensitivity(request: Request, plans: tuple[Plan, ...], stop: Stop = lambda: False) -> Sensitivity | None:
    """About the fewest relays of these plans; None where there are none, or one band does.

    When told to stop, what was found by then: wishes may go farther, or not be tried.
    """
    roomy = [plan for plan in plans if plan.room is not None]
    if not roomy:
        return None
    relays = min(plan.relays for plan in roomy)
    same = replace(request, relays_max=relays, relays_exactly=None)
    fewer = replace(request, relays_max=relays - 1, relays_exactly=None) if relays > 1 else None
    less = None if fewer is None else _most_room(fewer, stop)
    wishes = _by_room(same, less, max(plan.room or Fraction(0) for plan in roomy if plan.relays == relays))
    for wish in WISHES:
        if stop():
            break
        if wish.harder(request, MOST) != request:
            wishes.append(_by_trying(wish, same, fewer, stop))
    return Sensitivity(relays, tuple(wishes), not stop())


def _by_room(same: Request, less: Fraction | None, room: Fraction) -> list[WishSpan]:
    """Hysteresis and noise, from the most room that there is with as many relays, and the less with one fewer."""
    noise, hysteresis = same.noise, same.hysteresis
    wishes = [
        WishSpan(
            "sensing.hysteresis_v",
            _volts(hysteresis),
            _volts(_down(room - noise)),
            _volts(_down(less - noise)) if less is not None and less > 2 * noise and less < same.needed else None,
        )
    ]
    if noise and same.noise_least is None:  # told in volts of the input, as the file has them
        quiet = None if less is None else _down(min(less - hysteresis, less / 2 - Fraction(1, FINE)))
        wishes.append(
            WishSpan(
                "sensing.noise_v",
                _volts(noise),
                _volts(_quieter(min(room - hysteresis, room / 2), room)),
                _volts(quiet) if quiet is not None and 0 <= quiet < noise else None,
            )
        )
    return wishes


def _quieter(noise: Fraction, room: Fraction) -> Fraction:
    """Noise in hundredths of a volt, so that the room is more than twice as much."""
    told = _down(noise)
    return told if 2 * told < room else told - Fraction(1, FINE)


def _most_room(request: Request, stop: Stop) -> Fraction | None:
    """The most room with as many relays, though it is not enough."""
    least = bound(replace(request, hysteresis=Fraction(0), noise=Fraction(0), noise_least=None))
    plan = None if least is None else nearest(request, stop)
    return None if plan is None else plan.room


def _by_trying(wish: _Wish, same: Request, fewer: Request | None, stop: Stop) -> WishSpan:
    kept = _most(lambda share: possible(wish.harder(same, share), stop))
    saved = None if fewer is None else least_share(lambda share: possible(wish.easier(fewer, share), stop))
    return WishSpan(
        wish.key,
        wish.told(same),
        None if kept == 0 else wish.told(wish.harder(same, kept)) + (" or beyond" if kept == MOST else ""),
        None if saved is None or fewer is None else wish.told(wish.easier(fewer, saved)),
    )


def _most(still: Callable[[Fraction], bool]) -> Fraction:
    """The largest share at which it still does, by halving."""
    low, high = Fraction(0), MOST
    if still(high):
        return high
    for _ in range(TRIES):
        middle = (low + high) / 2
        low, high = (middle, high) if still(middle) else (low, middle)
    return low


def _down(volts: Fraction) -> Fraction:
    return Fraction(floor(volts * FINE), FINE)


def _volts(volts: Fraction) -> str:
    return f"{float(volts):g}"
