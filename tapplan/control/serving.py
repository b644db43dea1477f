"""Which inputs a relay state serves, and between which readings a band may therefore be kept.

With window [lo, hi], sensing error e and a ratio that lies between `full` (full load) and `ratio` (no load),
the state serves the inputs [lo/full, hi/ratio]. A reading m stands for a true input between m/(1+e) and
m/(1-e), so a band may be kept for readings, referred to the input, from (1+e) lo/full up to (1-e) hi/ratio.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.drop import full_load_ratio, full_load_ratios
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import State, candidate_states
from tapplan.network.turns import Gain, sensed_ratio


@dataclass(frozen=True, slots=True)
class Served:
    """A state with a positive ratio and what follows from it; all volts are input volts.

    `sensed` is reading over input volts, or None when the state does not fix the reading (or turns it over).
    `highest_keep` and `lowest_keep` are the outermost readings, referred to the input, that keep every true
    input they can stand for inside `serves`. They may lie the wrong way round when the error is large.
    """

    state: State
    ratio: Fraction
    full: Fraction
    sensed: Fraction | None
    serves: Span | None
    lowest_keep: Fraction
    highest_keep: Fraction


def reading_ratio(design: Design, circuit: Circuit, state: State) -> Fraction | None:
    """Reading over input volts in a state; None when not fixed or not positive."""
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


def all_served(design: Design, circuit: Circuit) -> list[Served]:
    """What every candidate state serves, those left out that no band may use."""
    states = [state for state in candidate_states(circuit) if state.usable]
    fulls = full_load_ratios(design, circuit, states)
    found = (_served(design, circuit, state, full) for state, full in zip(states, fulls, strict=True))
    return [one for one in found if one is not None]


def served(design: Design, circuit: Circuit, state: State) -> Served | None:
    """What a usable state serves, or None for a state that no band may use."""
    if not state.usable:
        return None
    return _served(design, circuit, state, full_load_ratio(design, circuit, state))


def _served(design: Design, circuit: Circuit, state: State, loaded: Fraction | None) -> Served | None:
    if state.ratio is None:
        return None
    ratio = state.ratio
    full = loaded or ratio
    window, error = design.output.window, design.sensing.error
    low, high = window.low / full, window.high / ratio
    return Served(
        state,
        ratio,
        full,
        reading_ratio(design, circuit, state),
        Span(low, high) if low <= high else None,
        (1 + error) * low,
        (1 - error) * high,
    )
