"""The stage with no band in force: where its relays stand then, and what is read of the line."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.drop import Loaded
from tapplan.control.serving import read_of, reading_ratio
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import State, in_file_order


@dataclass(frozen=True, slots=True)
class Away:
    """How the stage stands with no band in force: its relays, and what is read of an input volt, the load being off.

    `sensed` and `read` as in a row; None where nothing fixes the reading, or a feed drives it.
    """

    state: State
    sensed: Fraction | None
    read: Span | None


def away_of(design: Design, circuit: Circuit) -> Away:
    """The stage with no band in force: the backup's relays, or all at rest."""
    backup = design.backup
    state = in_file_order(circuit, () if backup is None else backup.energised)
    sensed = None if _read_of_a_feed(design, circuit, state) else reading_ratio(design, circuit, state)
    return Away(state, sensed, read_of(design, sensed, Loaded(state.ratio, sensed)))


def _read_of_a_feed(design: Design, circuit: Circuit, state: State) -> bool:
    """Whether a feed that runs while the load is away reaches the points sensed, so that they do not read the line.

    Contacts and windings join points, neutral left out; all windings of the fed core live with it.
    """
    if design.backup is None or not design.feeds or design.sensing.at == "input":
        return False
    fed = {winding.core for winding in design.windings for feed in design.feeds if winding.name == feed.winding}
    live = {
        end
        for section in circuit.sections
        if circuit.cores[section.core] in fed
        for end in (section.start, section.finish)
    }
    closed = [circuit.contacts[number] for number in circuit.state(state.energised)]
    joints = [(contact.com, contact.end) for contact in closed]
    joints += [(section.start, section.finish) for section in circuit.sections]
    spread = True
    while spread:
        reached = {
            end for pair in joints if live & {*pair} - {circuit.neutral} for end in pair if end != circuit.neutral
        }
        spread = not reached <= live
        live |= reached
    points = circuit.sensed.points if circuit.sensed is not None else (circuit.output,)
    return any(point in live for point in points if point != circuit.neutral)
