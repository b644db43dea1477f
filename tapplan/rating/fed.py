"""What each relay state does while a feed runs: the output, and whether the inlet is live. Exact.

While a feed of U volts drives a winding of N turns, every turn of that core has U/N, and loops tie other cores to it
(`spaces`): a point's turns from neutral are so many turns of the fed core, up to the loops, or its volts are free.
A core that no loop, the load's included, ties to the fed one has nothing to drive it and no volts: its windings are
mere wire then.

The inlet is dead only when no closed contact and no winding leads from its line pin to a winding of a core that the
feed excites, other than through neutral, which inlet and output share.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice

from tapplan.control.table import ControlTable
from tapplan.design.model import Design, Feed
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, Closed
from tapplan.network.excited import axis, excited_from, settled
from tapplan.network.spaces import holds, multiple
from tapplan.network.states import State, candidate_states, in_file_order
from tapplan.network.turns import Kind, Potentials, potentials

MOST_STATES = 256


@dataclass(frozen=True, slots=True)
class Fed:
    """One relay state while a feed runs: volts at the output, and at the inlet's line pin, over the feed's range.

    None: nothing fixes the volts of the point against neutral. `inlet_live` says that the line pin is joined to a
    live winding, with volts that are known or not. `fault` is why the feed cannot serve in this state, as the kind
    of state it is then; None when it can.
    """

    feed: Feed
    state: State
    output: Span | None
    line: Span | None
    inlet_live: bool
    fault: Kind | None


def fed_states(table: ControlTable, feed: Feed) -> list[Fed]:
    """Every relay state that shorts nothing, and the one stated; beyond 256 of them only those in use."""
    circuit = table.circuit
    states = list(islice(candidate_states(circuit), MOST_STATES + 1))
    if len(states) > MOST_STATES:
        states = [row.state for row in table.rows]
    states = [state for state in states if state.kind is not Kind.SHORTED]
    used = [stated_state(table.design, feed), table.design.backup.energised if table.design.backup else None, ()]
    states += [in_file_order(circuit, energised) for energised in used if energised is not None]
    once = {frozenset(state.energised): state for state in states}
    stated = None if used[0] is None else frozenset(used[0])
    return [
        fed(table.design, circuit, feed, state)
        for driven, state in once.items()
        if state.kind is not Kind.SHORTED or driven == stated
    ]


def stated_state(design: Design, feed: Feed) -> tuple[str, ...] | None:
    """The relays driven while the feed runs: as the feed, else the backup, states it; None where neither does."""
    if feed.energised is not None:
        return feed.energised
    return design.backup.energised if design.backup is not None else None


def fed(design: Design, circuit: Circuit, feed: Feed, state: State) -> Fed:
    """One relay state while the feed runs."""
    winding = next(one for one in design.windings if one.name == feed.winding)
    core = circuit.cores.index(winding.core)
    closed = circuit.state(state.energised)
    found = potentials(circuit, closed)
    excited = excited_from(circuit, found, [core])
    live = _reaches(circuit, closed, excited)
    if state.kind is Kind.SHORTED:
        return Fed(feed, state, None, None, live, Kind.SHORTED)
    known = settled(circuit, found, excited)

    def volts(point: int) -> Span | None:
        turns = found.between(circuit.neutral, point)
        of_core = None if turns is None else multiple(known, turns, axis(circuit, core))
        if of_core is None:
            return None
        share = abs(of_core * circuit.turn_unit / winding.turns)
        return Span(share * feed.volts_v[0], share * feed.volts_v[1])

    output = volts(circuit.output)
    return Fed(feed, state, output, volts(circuit.line) if live else None, live, _fault(circuit, found, output))


def _fault(circuit: Circuit, found: Potentials, output: Span | None) -> Kind | None:
    turns = found.between(circuit.neutral, circuit.output)
    if turns is None:
        return Kind.FLOATING
    if output is None:
        return Kind.UNDETERMINED
    if output.high:
        return None
    return Kind.DEAD if holds(found.loops, turns) else Kind.FLOATING


def _reaches(circuit: Circuit, closed: Closed, cores: frozenset[int]) -> bool:
    """Whether the line pin is joined to a winding of these cores by contacts and windings, not through neutral."""
    contacts = potentials(circuit, closed, windings=False).part
    steps: dict[int, list[tuple[int, bool]]] = {point: [] for point in range(len(circuit.points))}
    joints = [(section.start, section.finish, section.core in cores) for section in circuit.sections]
    joints += [(circuit.contacts[number].com, circuit.contacts[number].end, False) for number in closed]
    for one, other, live in joints:
        steps[one].append((other, live))
        steps[other].append((one, live))
    waiting, seen = [circuit.line], {circuit.line}
    for point in waiting:
        if contacts[point] == contacts[circuit.neutral]:
            continue
        for neighbour, live in steps[point]:
            if live:
                return True
            if neighbour not in seen:
                seen.add(neighbour)
                waiting.append(neighbour)
    return False


def state_in_use(table: ControlTable, feed: Feed, states: Iterable[Fed]) -> Fed | None:
    """The state while the feed runs: the one stated, else the best there is.

    Best: the inlet dead, then the output as near nominal as can be in the middle of the feed's range.
    """
    stated = stated_state(table.design, feed)
    if stated is not None:
        wanted = frozenset(stated)
        return next((one for one in states if frozenset(one.state.energised) == wanted), None)
    nominal = table.design.output.nominal_v

    def rank(one: Fed) -> tuple[bool, Fraction, int]:
        middle = (one.output.low + one.output.high) / 2 if one.output else Fraction(0)
        return one.inlet_live, abs(middle - nominal), len(one.state.energised)

    return min((one for one in states if one.fault is None), key=rank, default=None)
