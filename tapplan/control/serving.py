"""Which inputs a relay state serves, and between which readings a band may therefore be kept.

With window [lo, hi] and a ratio that lies between `full` (full load) and `ratio` (no load), the state serves the
inputs [lo/full, hi/ratio]. So that every input a reading can stand for is among them (`reading.Blur`), a band may be
kept for readings from (1+e) q lo/full + n/2, with the most that is read of an input volt as q, up to
(1-e) q hi/ratio - n/2 with the least.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import islice

from tapplan.control.drop import Loaded, all_loaded, loaded
from tapplan.control.reading import blur_of
from tapplan.control.ripple import ripple
from tapplan.design.model import Design
from tapplan.errors import UsageError
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import MOST_CIRCUITS, State, candidate_states
from tapplan.network.turns import Gain, sensed_ratio

STEADY = Span(Fraction(1), Fraction(1))


@dataclass(frozen=True, slots=True)
class Served:
    """A state with a positive ratio and what follows from it.

    `serves` is in input volts. `sensed` is reading over input volts without load, `read` the least and the most of it
    under load and ripple; both None when the state does not fix the reading (or turns it over). `lowest_keep` and
    `highest_keep` are, in the units sensed, the outermost readings that keep every input they can stand for inside
    `serves`. They may lie the wrong way round when error or noise are large.
    """

    state: State
    ratio: Fraction
    full: Fraction
    sensed: Fraction | None
    read: Span | None
    serves: Span | None
    lowest_keep: Fraction
    highest_keep: Fraction
    half_noise: Fraction


def reading_ratio(design: Design, circuit: Circuit, state: State) -> Fraction | None:
    """Reading over input volts in a state, without load; None when not fixed or not positive."""
    if design.sensing.at == "input":
        return Fraction(1)
    if design.sensing.at == "output":
        ratio = state.ratio
    else:
        found = state.outcome
        if not isinstance(found, Gain):
            return None
        ratio = sensed_ratio(circuit, circuit.state(state.energised), found)
    return ratio if ratio is not None and ratio > 0 else None


def read_of(design: Design, sensed: Fraction | None, full: Loaded) -> Span | None:
    """The least and the most read of an input volt: between full load and no load, and with the window's ripple."""
    if sensed is None:
        return None
    under = {"input": sensed, "output": full.ratio}.get(str(design.sensing.at), full.sensed)
    if under is None or under <= 0:
        under = sensed
    wander = rippling(design)
    return Span(min(sensed, under) * wander.low, max(sensed, under) * wander.high)


def rippling(design: Design) -> Span:
    """The factor by which an averaging window lets a steady reading wander.

    A [controller] counts it in its error budget, and so in `error_pct`: it is not counted twice.
    """
    if design.controller is not None:
        return STEADY
    return ripple(design.sensing.detector, design.sensing.window_cycles)


def all_served(design: Design, circuit: Circuit) -> list[Served]:
    """What every candidate state serves, those left out that no band may use.

    Raises:
        UsageError: there are more than `MOST_CIRCUITS` of them.
    """
    states = list(islice((state for state in candidate_states(circuit) if state.usable), MOST_CIRCUITS + 1))
    if len(states) > MOST_CIRCUITS:
        raise UsageError(
            f"found more than {MOST_CIRCUITS} states to be worked out under load; accepted: up to {MOST_CIRCUITS} of "
            "them, or a design without load_va, or without resistance and leakage of windings and contacts"
        )
    fulls = all_loaded(design, circuit, states)
    found = (served_under(design, circuit, state, full) for state, full in zip(states, fulls, strict=True))
    return [one for one in found if one is not None]


def served(design: Design, circuit: Circuit, state: State) -> Served | None:
    """What a usable state serves, or None for a state that no band may use."""
    if not state.usable:
        return None
    return served_under(design, circuit, state, loaded(design, circuit, state))


def served_under(design: Design, circuit: Circuit, state: State, under: Loaded) -> Served | None:
    """What a usable state serves that a load leaves so much of, or None without a ratio."""
    if state.ratio is None:
        return None
    ratio = state.ratio
    full = under.ratio or ratio
    low, high = design.output.window.low / full, design.output.window.high / ratio
    sensed = reading_ratio(design, circuit, state)
    read = read_of(design, sensed, under)
    blur, seen = blur_of(design.sensing), read or STEADY
    return Served(
        state,
        ratio,
        full,
        sensed,
        read,
        Span(low, high) if low <= high else None,
        (1 + blur.error) * seen.high * low + blur.half_noise,
        (1 - blur.error) * seen.low * high - blur.half_noise,
        blur.half_noise,
    )
