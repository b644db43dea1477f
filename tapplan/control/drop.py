"""The ratio at full load, the lower end of what a state's ratio can be.

A resistive load on resistances is solved exactly. With leakage, with another load model, or for very many states at
once the complex network is solved in floating point, and its ratio rounded down: a bound all the same. A load of
constant current or power pulls the output down most, as a share of it, at the lowest input promised, so that is where
it is taken; an impedance keeps its angle only where there is leakage, else it is a resistance, the worst angle.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import floor, isfinite

from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.network.loaded import has_resistance, loaded_ratio
from tapplan.network.states import State

MOST_EXACT = 200
FINE = 10**9  # ratios from floating point are rounded down to this
COLLAPSED = Fraction(1, FINE)  # the ratio where the load cannot be carried at all


def load_ohm(design: Design) -> Fraction | None:
    """The load as a resistance at nominal output, or None when the design states no load."""
    if design.output.load_va is None:
        return None
    return design.output.nominal_v**2 / design.output.load_va


def full_load_ratio(design: Design, circuit: Circuit, state: State) -> Fraction | None:
    """The state's ratio with the load connected; the plain ratio where nothing pulls it down."""
    return full_load_ratios(design, circuit, [state])[0]


def full_load_ratios(design: Design, circuit: Circuit, states: Sequence[State]) -> list[Fraction | None]:
    """As `full_load_ratio`, for many states, in their order."""
    load, leaks = load_ohm(design), any(winding.leakage_ohm for winding in design.windings)
    if load is None or not (has_resistance(circuit) or leaks):
        return [state.ratio for state in states]
    if design.output.load_model == "impedance" and not leaks and len(states) <= MOST_EXACT:
        return [_exact(circuit, state, load) for state in states]
    return _by_flow(design, circuit, states, leaks=leaks)


def _exact(circuit: Circuit, state: State, load: Fraction) -> Fraction | None:
    if state.ratio is None:
        return None
    return loaded_ratio(circuit, circuit.state(state.energised), load) or state.ratio


def _by_flow(design: Design, circuit: Circuit, states: Sequence[State], *, leaks: bool) -> list[Fraction | None]:
    import numpy as np  # only for such loads, and only then

    from tapplan.network.flow import flows, stated_impedances
    from tapplan.network.load import Load, load_current

    output = design.output
    factor = float(output.power_factor) if leaks or output.load_model != "impedance" else 1.0
    load = Load(float(output.load_va or 0), float(output.nominal_v), factor, output.load_model)
    sound = [place for place, state in enumerate(states) if state.ratio is not None and state.usable]
    found: list[Fraction | None] = [state.ratio for state in states]
    if not sound:
        return found
    closed = [circuit.state(states[place].energised) for place in sound]
    answers = flows(circuit, closed, stated_impedances(design, circuit)).output(circuit)
    low = float(design.mains.span.low)
    behind = np.asarray(-answers[:, 1], dtype=np.complex128)
    opened = np.asarray(answers[:, 0] * low, dtype=np.complex128)
    loaded = np.abs(opened - behind * load_current(load, opened, behind)) / low
    for place, ratio in zip(sound, loaded, strict=True):
        plain = states[place].ratio
        bound = Fraction(floor(float(ratio) * FINE), FINE) if isfinite(ratio) else COLLAPSED
        found[place] = max(min(bound, plain or bound), COLLAPSED)
    return found
