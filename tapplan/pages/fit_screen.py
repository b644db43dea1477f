"""The screen of the verb `fit`: the bound, the front of plans with a picture, or why there is none."""

from __future__ import annotations

from fractions import Fraction

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.text import Text

from tapplan.pages import words
from tapplan.pages.bars import bar
from tapplan.pages.screen import headline, plain_table
from tapplan.study.fitting import Fitted
from tapplan.study.plans import Plan

_BAR = 30
NARROW = 76  # columns; below, a table of plans would break numbers in two
HEADS = ("plan", "wiring", "relays", "taps (turns)", "ratios", "room (V)", "off", "core", "moves")
LONGEST = {"wiring": 12, "relays": 6, "taps (turns)": 7, "ratios": 7, "room (V)": 6, "off": 5, "core": 5}


def plans(title: str, found: Fitted, width: int) -> Group:
    """The plans that no other beats in relays, taps, room, deviation and transformed power at once."""
    parts: list[RenderableType] = [headline(title, "Plans"), _bound(found)]
    if not found.finished:
        parts.append(Text("Stopped before the search was over: what follows is the best so far, not proven."))
    if found.plans:
        return Group(
            *parts, *_front(found.plans, width), Text("\n`--pick N -o FILE` writes plan N as a design file.")
        )
    return Group(*parts, *_none(found))


def _bound(found: Fitted) -> Text:
    if found.bound is None:
        return Text("No number of ratios is enough: window, error and hysteresis leave no band that reaches upward.")
    ratios, relays = found.bound.ratios, found.bound.relays
    if ratios == 1:
        return Text("One ratio serves the whole range: no relay is needed.")
    least = f"at least {ratios} ratios, so {relays} {'relay' if relays == 1 else 'relays'}"
    text = f"Whatever the wiring, {least}, even with turns that are no whole numbers."
    if found.plans:
        fewest = min(len(one.ratios) for one in found.plans)
        near = "as few as that" if fewest == ratios else f"{fewest - ratios} more than that"
        text += f" The plan with the fewest uses {fewest}, {near}."
    return Text(text)


def _front(shown: tuple[Plan, ...], width: int) -> list[RenderableType]:
    rows = [_cells(number, one) for number, one in enumerate(shown, 1)]
    legend = (
        "room: the smallest between neighbours; off: mean distance of the output from what is wanted; core: the most"
        " of the power that the core transforms; moves: relays that move from band to band, upward in input."
    )
    unproven = [f"{number}" for number, one in enumerate(shown, 1) if not one.proven]
    if unproven:
        legend += f" Not proven the best of their kind: plan {', '.join(unproven)} (--to-the-end proves)."
    return [_table(rows) if width >= NARROW else _listed(rows), Text(legend), *_picture(shown)]


def _cells(number: int, one: Plan) -> list[str]:
    cells = [f"{number}", one.arrangement, f"{one.relays}", _turns(one), _ratios(one), _room(one)]
    return [*cells, f"{float(one.deviation):.1%}", f"{float(one.transformed):.1%}", " ".join(map(str, one.moves))]


def _table(rows: list[list[str]]) -> RenderableType:
    table = plain_table(*HEADS)
    for column in table.columns:
        column.min_width = LONGEST.get(str(column.header), 4)  # a number is never broken in two
    for cells in rows:
        table.add_row(*(escape(cell) for cell in cells))
    return table


def _listed(rows: list[list[str]]) -> RenderableType:
    """One line a plan and quantity, where the screen is too narrow for the table."""
    lines = [f"{head + ':':<14}{cell}" for cells in rows for head, cell in zip(HEADS, cells, strict=True)]
    return Text("\n".join(f"\n{line}" if line.startswith("plan:") else line for line in lines) + "\n")


def _picture(shown: tuple[Plan, ...]) -> list[RenderableType]:
    rooms = [one.room for one in shown if one.room is not None]
    lines = [
        f"{number:>4}  {one.relays} {'relay ' if one.relays == 1 else 'relays'}  "
        f"{bar([('=', one.room)], max(rooms), _BAR)} {_room(one)} V"
        for number, one in enumerate(shown, 1)
        if one.room is not None
    ]
    return [Text("\nRoom against relays:"), Text("\n".join(lines))] if lines else []


def _turns(one: Plan) -> str:
    taps = ", ".join(map(str, one.taps))
    return taps if not one.sections else f"{taps}; in series {', '.join(map(str, one.sections))}"


def _ratios(one: Plan) -> str:
    return ", ".join(f"{float(ratio):.4f}" for ratio in one.ratios)


def _room(one: Plan) -> str:
    return "any" if one.room is None else words.number(one.room, 3)


def _none(found: Fitted) -> list[RenderableType]:
    if found.bound is None or found.bound.ratios == 1 or not found.finished:
        return [Text("No plan.")]
    request = found.request
    lines = ["No plan meets the request."]
    if found.nearest is None:
        lines.append("No turns of these arrangements, with as many relays and taps, serve the whole range.")
    else:
        room = found.nearest.room or Fraction(0)
        needed = request.needed
        lines.append(
            f"The nearest, {found.nearest.arrangement} with {found.nearest.relays} relays, leaves "
            f"{words.number(room, 2)} V between neighbours; {words.number(needed, 2)} V are needed, "
            f"{words.number(needed - room, 2)} V more."
        )
    if request.single_moves:
        lines.append(
            "single_moves leaves chains only: two selectors that use more ratios than a chain has always move two"
            " relays somewhere. Fewer ratios, a longer chain, or moves of two relays would be the ways out."
        )
    lines += [f"It would do to change {one.key} from {one.now} to {one.then}." for one in found.relaxations]
    return [Text("\n".join(lines))]
