"""The ratio at full load, the lower end of what a state's ratio can be.

A resistive load on resistances is solved exactly. With leakage, with another load model, or for very many states at
once the complex network is solved in floating point, and its ratio rounded down: a bound all the same. A load of
constant current or power pulls the output down most, as a share of it, at the lowest input promised, so that is where
it is taken; an impedance keeps its angle only where there is leakage, else it is a resistance, the worst angle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor, isfinite

from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.network.loaded import has_resistance, loaded_ratio, loaded_sensed
from tapplan.network.states import State

MOST_EXACT = 200
AT_ONCE = 512  # networks solved side by side, each of some tens of kilobytes
FINE = 10**9  # ratios from floating point are rounded down to this
COLLAPSED = Fraction(1, FINE)  # the ratio where the load cannot be carried at all


def load_ohm(design: Design) -> Fraction | None:
    """The load as a resistance at nominal output, or None when the design states no load."""
    if design.output.load_va is None:
        return None
    return design.output.nominal_v**2 / design.output.load_va


@dataclass(frozen=True, slots=True)
class Loaded:
    """A state with its load connected: output over input, and what the sensed points read over input.

    `ratio` is the plain ratio where nothing pulls it down, None where there is none. `sensed` is None where the input
    or the output is read, or where nothing fixes it.
    """

    ratio: Fraction | None
    sensed: Fraction | None = None


def loaded(design: Design, circuit: Circuit, state: State) -> Loaded:
    """The state with the load connected."""
    return all_loaded(design, circuit, [state])[0]


def all_loaded(design: Design, circuit: Circuit, states: Sequence[State]) -> list[Loaded]:
    """As `loaded`, for many states, in their order."""
    load, leaks = load_ohm(design), _leaks(design)
    if load is None or not drops(design, circuit):
        return [Loaded(state.ratio) for state in states]
    if design.output.load_model == "impedance" and not leaks and len(states) <= MOST_EXACT:
        return [_exact(circuit, state, load) for state in states]
    pieces = (states[begin : begin + AT_ONCE] for begin in range(0, len(states), AT_ONCE))
    return [one for piece in pieces for one in _by_flow(design, circuit, piece, leaks=leaks)]


def drops(design: Design, circuit: Circuit) -> bool:
    """Whether the load pulls the output down: there is one, and something that it makes a drop in."""
    return design.output.load_va is not None and (has_resistance(circuit) or _leaks(design))


def _leaks(design: Design) -> bool:
    return any(winding.leakage_ohm for winding in design.windings)


def _exact(circuit: Circuit, state: State, ohm: Fraction) -> Loaded:
    if state.ratio is None:
        return Loaded(None)
    closed = circuit.state(state.energised)
    sensed = loaded_sensed(circuit, closed, ohm) if circuit.sensed is not None else None
    return Loaded(loaded_ratio(circuit, closed, ohm) or state.ratio, sensed)


def _by_flow(design: Design, circuit: Circuit, states: Sequence[State], *, leaks: bool) -> list[Loaded]:
    import numpy as np  # only for such loads, and only then

    from tapplan.network.flow import flows, stated_impedances
    from tapplan.network.load import Load, load_current

    output = design.output
    factor = float(output.power_factor) if leaks or output.load_model != "impedance" else 1.0
    load = Load(float(output.load_va or 0), float(output.nominal_v), factor, output.load_model)
    sound = [place for place, state in enumerate(states) if state.ratio is not None and state.usable]
    found = [Loaded(state.ratio) for state in states]
    if not sound:
        return found
    closed = [circuit.state(states[place].energised) for place in sound]
    flow = flows(circuit, closed, stated_impedances(design, circuit))
    answers = flow.output(circuit)
    low = float(design.mains.span.low)
    behind = np.asarray(-answers[:, 1], dtype=np.complex128)
    opened = np.asarray(answers[:, 0] * low, dtype=np.complex128)
    current = load_current(load, opened, behind)
    outputs = np.abs(opened - behind * current) / low
    if circuit.sensed is not None:
        pair = flow.points[:, :, circuit.sensed.high] - flow.points[:, :, circuit.sensed.low]
        read = [float(one) for one in np.abs(pair[:, 0] * low + pair[:, 1] * current) / low]
    else:
        read = []
    for number, (place, ratio) in enumerate(zip(sound, outputs, strict=True)):
        plain = states[place].ratio
        bound = _rounded(float(ratio))
        full = max(min(bound, plain or bound), COLLAPSED)
        found[place] = Loaded(full, _rounded(read[number]) if read else None)
    return found


def _rounded(value: float) -> Fraction:
    """A share from floating point, rounded down; next to nothing where it is not a number."""
    return Fraction(floor(value * FINE), FINE) if isfinite(value) else COLLAPSED
