"""Everything the checks look at, worked out once for a design.

What only some verbs ask for is imported when it is asked for, so that the others start without it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from tapplan.control.once import AnswersOnce
from tapplan.control.rungs import candidates
from tapplan.control.serving import Served
from tapplan.control.source import source_of
from tapplan.control.table import ControlTable
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import Census, State, census, state_of
from tapplan.network.turns import Kind
from tapplan.rating.built import built_table

if TYPE_CHECKING:
    from tapplan.control.automaton import Automaton, Cycle
    from tapplan.control.decisions import Decisions
    from tapplan.control.flown import Flying
    from tapplan.control.moves import Mixtures, Move
    from tapplan.control.response import Response

_TOLD_ALONE = frozenset(Kind) - {Kind.BOOST, Kind.BUCK}  # of no other kind can a state have the ratio of these


@dataclass(frozen=True)
class Review(AnswersOnce):
    """A design with its control table, and usable states that serve together what all of them serve.

    What not every verb needs is worked out when it is first asked for, and then kept.
    """

    design: Design
    table: ControlTable
    serving: tuple[Served, ...]

    @property
    def circuit(self) -> Circuit:
        """The circuit of the design."""
        return self.table.circuit

    @property
    def mains(self) -> Span:
        """The inputs promised, in volts."""
        return self.design.mains.span

    @property
    def window(self) -> Span:
        """The output volts promised."""
        return self.design.output.window

    @cached_property
    def census(self) -> tuple[Census, ...]:
        """All relay states by what they are, but boosts and bucks of a ratio that no other state has.

        Of those there can be a million, and nothing is to be said of any.
        """
        return tuple(census(self.circuit, _TOLD_ALONE))

    @cached_property
    def mixtures(self) -> Mixtures:
        """The relay positions met during moves, solved as they are met."""
        from tapplan.control.moves import Mixtures

        return Mixtures(self.circuit)

    @cached_property
    def flying(self) -> Flying:
        """The moves, each as it is commanded and timed, worked out as they are asked for."""
        from tapplan.control.flown import Flying

        return Flying(self.table, self.mixtures, self.most_movers)

    @cached_property
    def most_movers(self) -> int:
        """How many relays a move may have for its mixtures to be gone through."""
        from tapplan.control.moves import most_movers

        return most_movers(self.moves)

    @cached_property
    def decisions(self) -> Decisions:
        """The compiled controller."""
        from tapplan.control.decisions import decisions

        return decisions(self.table)

    @cached_property
    def moves(self) -> list[Move]:
        """Every move the controller can make by itself, and the loss of the coil supply from every band."""
        from tapplan.control.moves import moves

        return moves(self.decisions)

    @cached_property
    def responses(self) -> list[Response]:
        """Every sudden change of the line that moves relays."""
        from tapplan.control.sudden import responses

        return responses(self.decisions, self.flying)

    @cached_property
    def detoured(self) -> list[Response]:
        """The same, with those that only a shorter confirmation would allow."""
        from tapplan.control.sudden import responses
        from tapplan.control.timing import reading_ms

        if self.design.sensing.shortest_confirmation_ms < reading_ms(self.design):
            return self.responses
        return responses(self.decisions, self.flying, detours=True)

    @cached_property
    def quiet(self) -> Automaton:
        """The controller behind its source, with readings free of noise."""
        from tapplan.control.automaton import automaton

        return automaton(self.decisions, noisy=False)

    @cached_property
    def noisy(self) -> Automaton:
        """The controller behind its source, with the noise of its readings."""
        from tapplan.control.automaton import automaton

        return automaton(self.decisions, noisy=True)

    @cached_property
    def quiet_cycles(self) -> list[Cycle]:
        """The rows that follow one another without end, with readings free of noise."""
        from tapplan.control.automaton import rests

        return [] if rests(self.table, source_of(self.design), noisy=False) else self.quiet.cycles()

    @cached_property
    def noisy_cycles(self) -> list[Cycle]:
        """The same with the noise of the readings."""
        from tapplan.control.automaton import rests

        return [] if rests(self.table, source_of(self.design), noisy=True) else self.noisy.cycles()

    @property
    def rest(self) -> State:
        """The state with every coil off."""
        return state_of(self.circuit, ())


def review(design: Design) -> Review:
    """All that the checks need of a design."""
    return review_of(built_table(design))


def review_of(table: ControlTable) -> Review:
    """All that the checks need, for a control table already at hand."""
    serving = table.serving if table.serving is not None else candidates(table.design, table.circuit).serving
    return Review(table.design, table, serving)
