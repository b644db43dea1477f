"""Questions about plans put to CP-SAT and z3: the most room of turns, and the fewest ratios of any plan."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from random import Random

import z3

from tapplan.study.request import Request, Sag, bound
from tests.engines.tallied import Compared, Tally
from tests.engines.test_cp_sat import ARRANGEMENTS, agrees, case, orders_agree
from tests.engines.test_z3 import real, satisfiable
from tests.study.requests import drawn, offered

F = Fraction
BY_ORDERS = ("line-chain", "both-sides", "trees", "mixed", "add-in")


def compare_room(seeds: range, tally: Tally) -> None:
    """Turns with the most room: by boxes, and by the orders of ratios."""
    for seed in seeds:
        arrangement = ARRANGEMENTS[seed % len(ARRANGEMENTS)]
        random = Random(f"room {seed}")
        request, wiring = case(arrangement, random)
        _agreed(
            tally.of("most room, boxes", "CP-SAT"),
            f"seed {seed}",
            arrangement,
            lambda r=request, w=wiring: agrees(r, w),
        )
        other = BY_ORDERS[seed % len(BY_ORDERS)]
        request, _ = case("both-sides", random)
        wiring = random.choice(offered(other, 1 if other == "line-chain" else 2))
        _agreed(
            tally.of("most room, orders", "CP-SAT"),
            f"seed {seed}",
            other,
            lambda r=request, w=wiring: orders_agree(r, w),
        )


def _agreed(row: Compared, case: str, arrangement: str, ask: Callable[[], bool]) -> None:
    row.count += 1
    try:
        row.outcomes[f"{arrangement}: {'a plan' if ask() else 'none'}"] += 1
    except RuntimeError:  # of a minute, on a busy machine
        row.outcomes[f"{arrangement}: no answer in time"] += 1
    except AssertionError as error:
        row.disagreements.append(f"{case} {arrangement}: {error!r}"[:300])


def compare_bounds(seeds: range, tally: Tally) -> None:
    """The fewest ratios with which any plan, of real-valued ratios, can serve a range."""
    row = tally.of("fewest ratios of any plan", "z3")
    for seed in seeds:
        random = Random(f"bound {seed}")
        sag = Sag(F(random.choice((0, 0, 2, 5)), 100), F(random.choice((0, 0, 1)), 100))
        noise = F(random.choice((0, 1, 2)))
        request = drawn(random, 40, sag=sag, noise=noise)
        least = bound(request)
        case = f"seed {seed}"
        if least is None:
            row.same(served(request, 9), False, case, "none serves")
            continue
        row.same(served(request, least.ratios), True, case, f"{least.ratios}")
        if least.ratios > 1:
            row.same(served(request, least.ratios - 1), False, f"{case} with one less", f"not {least.ratios - 1}")


def served(request: Request, count: int) -> bool:
    """Whether so many ratios serve the range, each pair of neighbours overlapping as is wanted.

    With u line over output volts without load: the first is at most what serves the lowest input, the last at least
    what the highest asks for, and (1 - e) hi u less (1 + e) lo u' and the noise, u' with the load on, is the overlap:
    the hysteresis, and more than the noise.
    """
    low, high, error, noise = request.window.low, request.window.high, request.error, request.noise
    u = [z3.Real(f"u{number}") for number in range(count)]
    loaded = [_loaded(request.sag, one) for one in u]
    limits = [one > 0 for one in u]
    limits += [real(low) * loaded[0] <= real(request.mains.low), real(high) * u[-1] >= real(request.mains.high)]
    for here, onward in zip(u, loaded[1:], strict=False):
        overlap = real((1 - error) * high) * here - real((1 + error) * low) * onward - real(noise)
        limits += [overlap >= real(request.hysteresis), overlap > real(noise)]
    return satisfiable(*limits)


def _loaded(sag: Sag, u: z3.ArithRef) -> z3.ArithRef:
    far = z3.If(u >= 1, u - 1, 1 - u)
    return real(1 + sag.always) * u + real(sag.share) * far
