"""Names of lines in a picture: beside each, else over them with leaders, else a number at each and a list of names.

The first of these ways in which no name lies on another, on a line or on the edge is taken for all lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from tapplan.pictures.labels import Ground, Label, Patch, Stroke, around, centred
from tapplan.pictures.letters import letters

SHARES = (0.5, 0.6, 0.4, 0.7, 0.3, 0.8, 0.2, 0.9, 0.1)  # of a line, where a name may stand
ASIDE = (0, *(side * step for step in range(4, 49, 4) for side in (-1, 1)))  # how far a name over the lines may move
APART = 6.0  # between names of one row
MOST_ROWS = 3
PITCH = 16.0  # from line to line of a list


@dataclass(frozen=True, slots=True)
class Named:
    """A line of the picture and its name; its ends in rising input."""

    text: str
    line: Stroke


@dataclass(frozen=True, slots=True)
class Listing:
    """Texts under a picture, and the one line that stands there instead of more of them than there is room for."""

    texts: tuple[str, ...]
    instead: str = ""


NOTHING_LISTED = Listing(())


@dataclass(frozen=True, slots=True)
class Naming:
    """The labels, one for each line in their order, and what has to be listed under the picture."""

    labels: tuple[Label, ...]
    listed: Listing = NOTHING_LISTED


def named(ground: Ground, lines: Sequence[Named]) -> Naming:
    """The names of these lines, placed; `ground` has all that they must not lie on, and is left as it was."""
    for way in (_beside_each, _over_all):
        if (labels := way(ground, lines)) is not None:
            return Naming(tuple(labels))
    numbered = [replace(one, text=str(number)) for number, one in enumerate(lines, 1)]
    told = Listing(
        tuple(f"{number}: {one.text}" for number, one in enumerate(lines, 1)),
        f"1 to {len(lines)}: the bands, in the order of the truth table",
    )
    for way in (_beside_each, _over_all):
        if (labels := way(ground, numbered)) is not None:
            return Naming(tuple(labels), told)
    return Naming(tuple(_wherever(ground, numbered)), told)


def _beside_each(ground: Ground, lines: Sequence[Named]) -> list[Label] | None:
    """A label beside each line, all at the same place of it where that can be; None where one finds no room."""
    for share in SHARES:
        for side in (-1, 1):
            if (made := _first_free(ground, ([_beside(one, share, side)] for one in lines))) is not None:
                return made
    return _first_free(ground, ([_beside(one, share, side) for share in SHARES for side in (-1, 1)] for one in lines))


def _first_free(ground: Ground, choices: Iterable[Sequence[Label]]) -> list[Label] | None:
    """Of the choices for each line the first that there is room for beside those before it."""
    tried, found = ground.copied(), []
    for some in choices:
        one = next((label for label in some if tried.takes(label)), None)
        if one is None:
            return None
        tried.put(one)
        found.append(one)
    return found


def _beside(one: Named, share: float, side: int) -> Label:
    """A label to the left of a line, the corner next to the line at it, or to its right."""
    line = one.line
    x, y = line.x1 + (line.x2 - line.x1) * share, line.y1 + (line.y2 - line.y1) * share
    size = centred(one.text, 0, 0).patch
    up = 1 if line.y2 > line.y1 else -1  # the side of the left label on which the line does not run
    across, down = size.right + line.apart + 1, size.bottom + line.apart + 1
    return centred(one.text, x + side * across, y - side * up * down)


def _over_all(ground: Ground, lines: Sequence[Named]) -> list[Label] | None:
    """Labels in a few rows along the top, each led to the upper end of its line; None without room."""
    for rows in range(1, MOST_ROWS + 1):
        labels = _in_rows(ground, lines, rows)
        if labels is not None and _uncrossed(labels):
            return labels
    return None


def _in_rows(ground: Ground, lines: Sequence[Named], rows: int) -> list[Label] | None:
    """One line after the other to the next row; the leaders of an upper row are in place before a lower one."""
    order = sorted(range(len(lines)), key=lambda number: _top(lines[number].line).x2)
    tried, placed = ground.copied(), dict[int, Label]()
    for row in range(rows):
        wishes = [_wish(lines[number]) for number in order[row::rows]]
        middles = _spread(wishes, ground)
        if middles is None:
            return None
        for number, x in zip(order[row::rows], middles, strict=True):
            choices = (_led_down(lines[number], x + aside, _row_y(ground, row)) for aside in ASIDE)
            made = next((label for label in choices if _leads_down(label) and tried.takes(label)), None)
            if made is None:
                return None
            tried.put(made)
            placed[number] = made
    return [placed[number] for number in range(len(lines))]


def _row_y(ground: Ground, place: int) -> float:
    high = centred("", 0, 0).patch.bottom * 2 + 1
    return ground.frame.top + high * (place + 0.5)


def _led_down(one: Named, x: float, y: float) -> Label:
    """A label there with its leader to the upper end of its line."""
    end, made = _top(one.line), centred(one.text, x, y)
    return replace(made, leader=Stroke(x, made.patch.bottom, end.x2, end.y2 - 3))


def _leads_down(label: Label) -> bool:
    """Whether its leader leaves it; a line that ends higher than the label would be led to through its letters."""
    return label.leader is not None and label.leader.y2 >= label.leader.y1


def _top(line: Stroke) -> Stroke:
    """The same line, its upper end last."""
    return line if line.y2 <= line.y1 else replace(line, x1=line.x2, y1=line.y2, x2=line.x1, y2=line.y1)


def _uncrossed(labels: Sequence[Label]) -> bool:
    """Whether no leader crosses another."""
    leaders = sorted((one.leader for one in labels if one.leader is not None), key=lambda led: led.x1)
    return all(one.x2 <= other.x2 for one, other in pairwise(leaders))


@dataclass(frozen=True, slots=True)
class _Wish:
    """Where the middle of a label should be, and half of the room it takes."""

    middle: float
    half: float


def _wish(one: Named) -> _Wish:
    return _Wish(_top(one.line).x2, centred(one.text, 0, 0).patch.right + APART / 2)


def _spread(wishes: Sequence[_Wish], ground: Ground) -> list[float] | None:
    """Middles in one row, as near as may be to those wished (least squares), none on the next; None without room.

    Less what stands before each, the middles only have to rise; what would fall is pooled to its mean.
    """
    before = [0.0, *accumulate(one.half + other.half for one, other in pairwise(wishes))]
    pools: list[list[float]] = []
    for wish, room in zip(wishes, before, strict=False):
        pools.append([wish.middle - room])
        while len(pools) > 1 and _mean(pools[-2]) > _mean(pools[-1]):
            pools[-2:] = [pools[-2] + pools[-1]]
    least = ground.frame.left + (wishes[0].half if wishes else 0)
    most = ground.frame.right - (before[-1] + wishes[-1].half if wishes else 0)
    if most < least:
        return None
    level = [min(max(_mean(pool), least), most) for pool in pools for _ in pool]
    return [one + room for one, room in zip(level, before, strict=False)]


def _mean(some: Sequence[float]) -> float:
    return sum(some) / len(some)


def _wherever(ground: Ground, lines: Sequence[Named]) -> list[Label]:
    """A label near the middle of each line, on no other one if that can be, whatever it crosses."""
    tried, found = ground.copied(), []
    for one in lines:
        x, y = (one.line.x1 + one.line.x2) / 2, (one.line.y1 + one.line.y2) / 2
        choices = list(around(one.text, x, y))
        found.append(next((label for label in choices if tried.keeps_apart(label)), choices[0]))
        tried.put(found[-1])
    return found


def listed(listing: Listing, under: Patch, most_lines: float) -> list[Label]:
    """A list under a picture, as many texts beside one another as there is room for, read downward."""
    texts = listing.texts
    if not texts:
        return []
    font = letters("small")
    widest = min(max(font.wide(one) for one in texts) + 3 * APART, under.right - under.left)
    beside = max(int((under.right - under.left) // widest), 1)
    rows = -(-len(texts) // beside)
    if rows > most_lines:
        return listed(replace(listing, texts=(listing.instead,)), under, most_lines)
    return [
        Label(
            font.cut(text, under.right - under.left),
            under.left + place // rows * widest,
            under.top + PITCH * (place % rows + 1),
            "small",
        )
        for place, text in enumerate(texts)
    ]
