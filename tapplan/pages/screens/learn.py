"""The screen of `bench --learn`: the wiring found, the turns, and what to measure next."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.learn import MOST_SHOWN, Lesson, PoleRow
from tapplan.pages.screens.grid import grid, headline, lines

NO_CONTACT = "no contact seen"


def screen(answer: Lesson, _: int) -> Group:
    """Wirings, turns, and what is open."""
    joined = [f"Always joined, one point: {', '.join(group)}" for group in answer.wires]
    parts: list[RenderableType] = [headline(answer), *lines(joined), *_wirings(answer), *_turns(answer)]
    parts += lines([*answer.clashes_told[:MOST_SHOWN], *answer.left_told])
    parts.append(Text(f"\n{answer.told}"))
    return Group(*parts, *([] if answer.next is None else [Text(answer.next.told)]))


def _wirings(answer: Lesson) -> list[RenderableType]:
    parts: list[RenderableType] = []
    if answer.wirings_told:
        parts.append(Text(answer.wirings_told if answer.relays else f"\n{answer.wirings_told}"))
    if not answer.relays or not answer.wirings:
        return parts
    several = len(answer.wirings) > 1
    for number, wiring in enumerate(answer.wirings[:MOST_SHOWN], 1):
        parts.append(grid(_poles(wiring), heading=f"\nWiring {number}" if several else "\nContacts"))
    parts += lines([one.told for one in answer.unprobed[:MOST_SHOWN]])
    return [*parts, *lines([] if answer.settling is None else [answer.settling.told])]


def _poles(wiring: Mapping[str, tuple[PoleRow, ...]]) -> list[PoleRow]:
    """A line a pole; a relay without one is named all the same."""
    return [
        pole
        for relay, poles in wiring.items()
        for pole in poles or (PoleRow(relay=relay, com=NO_CONTACT, nc="", no=""),)
    ]


def _turns(answer: Lesson) -> list[RenderableType]:
    if not answer.measured:
        return [Text(f"\n{one}") for one in answer.turns_told]
    return [grid(answer.sections, heading="\nSections"), *lines(answer.turns_told)]
