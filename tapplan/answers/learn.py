"""The wiring and turns of a board, found again from readings: what `bench --learn` answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, names, number, said, word, yes
from tapplan.answers.words import CAUTION
from tapplan.bench.continuity import Contacts
from tapplan.bench.heights import FoundSection, FoundTurns, WholeTurns
from tapplan.bench.learned import Learned
from tapplan.bench.measures import Measure
from tapplan.bench.poles import FoundWiring
from tapplan.bench.words import asked, condition_told, measure_told, told
from tapplan.errors import escaped
from tapplan.exact import Span

MOST_SHOWN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleRow:
    """The throws of one pole, as far as they were seen."""

    relay: Annotated[str, said("relay")]
    com: Annotated[str | None, word("common")]
    nc: Annotated[str | None, word("at rest")]
    no: Annotated[str | None, word("driven")]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingRow:
    """Two points that tell wirings apart: in how many of them they are joined."""

    coils: Annotated[tuple[str, ...], names()]
    between: Annotated[tuple[str, str], names()]
    joined_in: Annotated[int, number()]
    of: int

    @property
    def told(self) -> str:
        """In a sentence."""
        driven, (one, two) = " and ".join(self.coils) or "no coil", self.between
        return f"Open: with {driven} driven, {one} and {two} are joined in {self.joined_in} of {self.of} wirings."


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionRow:
    """A section between two points, as a share of the pair fed, and in turns where a winding of known turns tells."""

    ends: Annotated[tuple[str, str], names()]
    low: Annotated[str, said("from")]
    high: Annotated[str, said("to")]
    share: Annotated[Fraction, number()]
    share_within: Annotated[Span, ends()]
    share_told: Annotated[str, said("share of the pair fed")]
    turns: Annotated[int | None, number()]
    turns_within: Annotated[tuple[int, int] | None, ends(unit="")]
    turns_told: Annotated[str | None, said("turns", optional=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnclearRow:
    """A point whose side is open, and the pair whose volts would tell."""

    point: Annotated[str, word()]
    measure: Annotated[tuple[str, str], names()]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnprobedRow:
    """Two points that were never measured with a relay driven, or at rest."""

    relay: Annotated[str, word()]
    driven: Annotated[bool, yes()]
    between: Annotated[tuple[str, str], names()]

    @property
    def told(self) -> str:
        """In a sentence."""
        stands, (one, two) = "driven" if self.driven else "at rest", self.between
        return f"Open: with {self.relay} {stands}, {one} to {two} was never measured."


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedRow:
    """The reading to take next, in the words of a reading but for its value, and as a sentence."""

    reading: Annotated[str, word()]
    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word()]

    @property
    def told(self) -> str:
        """The sentence, and how to write its reading down."""
        return f"Next: {self.reading}\n{self.asked}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson(Answer):
    """Wirings that explain the readings, what would tell them apart, the sections with their turns, what is open.

    `idle` are relays without a contact found, `unplaced` points on no winding and no contact. `next` is the reading
    that would tell most. `settled`: one wiring, and every point and turn placed. `written`: the file that it was
    written into.
    """

    heading = "Wiring found again"
    caution = CAUTION

    title: str
    relays: Annotated[tuple[str, ...], names()]
    wires: Annotated[tuple[tuple[str, ...], ...], more()]
    wirings: Annotated[tuple[Mapping[str, tuple[PoleRow, ...]], ...], more()]
    settling: Annotated[SettlingRow | None, more()]
    sections: Annotated[tuple[SectionRow, ...], more()]
    unclear: Annotated[tuple[UnclearRow, ...], more()]
    unprobed: Annotated[tuple[UnprobedRow, ...], more()]
    clashes: Annotated[tuple[tuple[str, str], ...], more()]
    unused: Annotated[tuple[str, ...], names()]
    idle: Annotated[tuple[str, ...], names()]
    unplaced: Annotated[tuple[str, ...], names()]
    next: Annotated[WantedRow | None, more()]
    settled: Annotated[bool, yes()]
    written: Annotated[str | None, word(optional=True)] = None
    whole: bool
    measured: bool
    known_turns: bool

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The sections first."""
        return ("sections", "unclear", "unprobed", "settling", "next")

    @property
    def wrong(self) -> bool:
        """Whether something is open."""
        return not self.settled

    @property
    def told(self) -> str:
        """Whether anything is open."""
        return "Nothing is open." if self.settled else "Not settled yet."

    @property
    def wirings_told(self) -> str:
        """Why there is no wiring, or how many there are; nothing for a single one."""
        if not self.relays:
            return "No coil was driven in any reading, so no contact can be told from a wire."
        if not self.wirings:
            return (
                "No wiring of one or two changeovers a relay explains the readings: volts across two points mean "
                "apart, and so do more than 1 ohm. A reading is wrong, or a contact was not read in every state."
            )
        count = len(self.wirings)
        return "" if count == 1 else f"{count} wirings explain the readings" + ("." if self.whole else ", at least.")

    @property
    def turns_told(self) -> list[str]:
        """What the table of sections leaves open."""
        if not self.measured:
            return ["No volts on a small source were read, so no turns are known."]
        lines = [
            f"Not used, for its source stands on points that nothing else placed: {told}" for told in self.unused
        ]
        if not self.known_turns:
            lines.append("A few turns of known number, wound on and measured (--test-winding), would give turns.")
        for one in self.unclear:
            low, high = one.measure
            lines.append(f"Open: on which side {one.point} lies. Measure volts between {low} and {high}.")
        return lines

    @property
    def clashes_told(self) -> list[str]:
        """Points whose volts no wiring explains."""
        return [f"The volts that {one} and {two} show fit no wiring found yet." for one, two in self.clashes]

    @property
    def left_told(self) -> list[str]:
        """Relays and points that nothing places."""
        lines = [f"Open: no contact of {one} was found." for one in self.idle]
        return lines + [f"Open: {one} is on no winding and no contact." for one in self.unplaced]


def lesson(found: Learned, title: str, wanted: Measure | None = None) -> Lesson:
    """What the readings of a board say; `wanted` is the reading to take next."""
    contacts, turns = found.contacts, found.turns
    return Lesson(
        title=title,
        relays=found.relays,
        wires=contacts.wires,
        wirings=tuple(_wiring(found.relays, one) for one in contacts.wirings),
        settling=_settling(contacts),
        sections=() if turns is None else tuple(_sections(turns)),
        unclear=()
        if turns is None
        else tuple(UnclearRow(point=one.point, measure=(one.point, one.other)) for one in turns.unclear),
        unprobed=tuple(
            UnprobedRow(relay=one.relay, driven=one.driven, between=(one.one, one.other)) for one in contacts.unprobed
        ),
        clashes=found.clashes,
        unused=() if turns is None else turns.unused,
        idle=found.idle,
        unplaced=found.unplaced,
        next=None if wanted is None else _next(wanted),
        settled=found.settled,
        whole=contacts.whole,
        measured=turns is not None,
        known_turns=turns is not None and turns.per_share is not None,
    )


def _next(wanted: Measure) -> WantedRow:
    return WantedRow(
        reading=told(wanted),
        condition=condition_told(wanted.condition),
        measure=measure_told(wanted),
        asked=asked(wanted),
    )


def header(found: Learned, source: str) -> tuple[str, ...]:
    """What a file written from it says about where it comes from."""
    count = len(found.contacts.wirings)
    lines = [f"# Found again by `tapplan bench --learn {escaped(source)}`: compare with the board before use."]
    if count > 1:
        lines.append(f"# One of {count} wirings that explain the readings.")
    if found.turns is not None and found.turns.per_share is None:
        lines.append("# Turns are relative: no winding of known turns was measured.")
    return tuple(lines)


def _wiring(relays: tuple[str, ...], wiring: FoundWiring) -> Mapping[str, tuple[PoleRow, ...]]:
    return {
        relay: tuple(PoleRow(relay=relay, com=one.com, nc=one.nc, no=one.no) for one in poles)
        for relay, poles in zip(relays, wiring, strict=True)
    }


def _settling(contacts: Contacts) -> SettlingRow | None:
    one = contacts.settling
    if one is None:
        return None
    return SettlingRow(coils=tuple(sorted(one.coils)), between=one.ends, joined_in=one.joined, of=one.of)


def _sections(turns: FoundTurns) -> list[SectionRow]:
    return [_section(one, turns.whole_turns(one)) for one in turns.sections()]


def _section(one: FoundSection, whole: WholeTurns | None) -> SectionRow:
    low, high = float(one.within.low), float(one.within.high)
    return SectionRow(
        ends=(one.low, one.high),
        low=one.low,
        high=one.high,
        share=one.share,
        share_within=one.within,
        share_told=f"{float(one.share):.4f} ({low:.4f} to {high:.4f})",
        turns=None if whole is None else whole.nearest,
        turns_within=None if whole is None else (whole.least, whole.most),
        turns_told=None if whole is None else f"{whole.nearest} ({whole.least} to {whole.most})",
    )
