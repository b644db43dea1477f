"""Requests made up for the tests of `fit`, at random or by hand."""

from __future__ import annotations

from fractions import Fraction
from random import Random

from tapplan.design.model import Design, Mains, Output, Sensing, Terminals
from tapplan.exact import Span
from tapplan.study.arrangements import wirings
from tapplan.study.request import InletWeight, Request, evenly
from tapplan.study.wiring import Wiring

F = Fraction
NOMINAL = Span(F(220), F(220))


def asked(mains: tuple[int, int], window: tuple[int, int], **wishes: object) -> Request:
    """A request for 220 V with one percent of sensing error and totals up to 40 turns, unless said otherwise."""
    span = Span(F(mains[0]), F(mains[1]))
    chosen: dict[str, object] = {
        "window": Span(F(window[0]), F(window[1])),
        "mains": span,
        "target": NOMINAL,
        "error": F(1, 100),
        "hysteresis": F(0),
        "noise": F(0),
        "turns": Span(F(2), F(40)),
        "arrangements": ("line-chain", "output-chain", "both-sides", "add-in", "reversing"),
        "relays_max": 3,
        "weights": evenly(span),
    }
    return Request(**(chosen | wishes))  # type: ignore[arg-type]  # the keys are the fields


def drawn(random: Random, most_turns: int, **wishes: object) -> Request:
    """A random request whose range needs more than one ratio."""
    low, high, half = random.randint(140, 195), random.randint(250, 300), random.randint(20, 40)
    errors = {"error": F(random.choice([0, 1, 2]), 100), "hysteresis": F(random.choice([0, 1, 2, 4]))}
    turns = Span(F(random.randint(2, most_turns)), F(most_turns))
    wishes["weights"] = tuple(
        InletWeight(low + F((high - low) * place, 4), F(random.randint(1, 3))) for place in range(5)
    )
    return asked((low, high), (220 - half, 220 + half), turns=turns, **errors, **wishes)


def offered(name: str, relays: int, request: Request | None = None) -> list[Wiring]:
    """The wirings of one arrangement with just so many relays; with the wishes of a request, where one is given."""
    plain = asked((180, 280), (200, 240), arrangements=(name,), relays_max=relays, relays_exactly=relays)
    return wirings(plain if request is None else request)


def file_of(request: Request) -> Design:
    """The request as the file would have it."""
    return Design(
        format=1,
        title="made for a test",
        mains=Mains(nominal_v=F(220), range_v=(request.mains.low, request.mains.high)),
        output=Output(nominal_v=F(220), window_v=(request.window.low, request.window.high)),
        terminals=Terminals(line="LINE", neutral="N", output="OUT"),
        sensing=Sensing(error_pct=request.error * 100, noise_v=request.noise, hysteresis_v=request.hysteresis),
        windings=(),
        relays=(),
    )
