"""The arrangements: what wirings each has to offer for a request, fewest relays first.

To add one, write a function that makes its wirings and enter it in `ARRANGEMENTS`; search, design file and pages
need nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, product, takewhile

from tapplan.design.model import Arrangement
from tapplan.study.free import free_wirings
from tapplan.study.request import Request
from tapplan.study.trees import MOST_RELAYS, tree_wirings
from tapplan.study.wiring import Changeover, SeriesSection, Tap, TurnRow, Wiring, never, one_pole_each

MOST_SECTIONS = 4  # in series; more take too long to search
MOST_REVERSED = 2


def wirings(request: Request, stop: Callable[[], bool] = never) -> list[Wiring]:
    """All that the request's arrangements offer within its relays, poles and taps; fewest relays, most taps first.

    Where a direct ratio is a must, some state of a wiring has it by itself: what else could is tied so as a wiring of
    its own. With single moves wanted, only arrangements whose every step is one relay: independent two-way selectors
    that use more ratios than a chain has always move two relays somewhere, for in rising order the first selector
    alone is followed by the second alone (own derivation). When told to stop, those listed by then.
    """
    names = [name for name in request.arrangements if not request.single_moves or name in SINGLE_MOVES]
    found = [one for name in names for one in takewhile(lambda _: not stop(), ARRANGEMENTS[name](request, stop))]
    return [
        one
        for one in sorted(found, key=lambda one: (one.relays, len(one.poles), -one.points))
        if not stop()
        and (request.taps_max is None or one.points <= request.taps_max)
        and request.relays_exactly in (None, one.relays)
        and (_surely_direct(one) if request.require_direct else not _tied_by_chance(one))
        and (not request.fixed_taps or (not one.sections and len(one.taps) <= len(request.fixed_taps)))
    ]


def offers(wiring: Wiring, ratios: int) -> bool:
    """Whether a wiring can give as many ratios as any plan needs; work doubles with every relay."""
    return len({None if rows.direct else rows for rows in wiring.states}) >= ratios


@dataclass(frozen=True, slots=True)
class Considered:
    """Which wirings were looked at: arrangements by name, and how many; and in words what was not."""

    arrangements: tuple[Arrangement, ...]
    wirings: int
    left_out: tuple[str, ...]


def considered(request: Request, listed: int) -> Considered:
    """Which wirings, so many, a request lets be looked at; which not, by a wish or because a search ends there."""
    looked_at = tuple(name for name in request.arrangements if not request.single_moves or name in SINGLE_MOVES)
    named = [name for name in ARRANGEMENTS if name not in looked_at]
    most = request.relays_max if request.relays_exactly is None else request.relays_exactly
    out = [f"more than {most} relays"] if request.relays_exactly is None else [f"other than {most} relays"]
    out += [f"the arrangements {', '.join(named)}"] if named else []
    if "trees" in looked_at:
        out.append(f"trees of more than {MOST_RELAYS} relays, or more than {request.two_pole_max} with two poles")
    if "free" in looked_at:
        out.append("free wirings of more than 3 relays")
    if {"add-in", "mixed"} & set(looked_at):
        out.append(f"more than {MOST_SECTIONS} sections in series")
    if "reversing" in looked_at:
        out.append(f"more than {MOST_REVERSED} sections that are reversed")
    if request.taps_max is not None:
        out.append(f"more than {request.taps_max} taps")
    return Considered(looked_at, listed, tuple(out))


def _surely_direct(wiring: Wiring) -> bool:
    return any(rows.direct for rows in wiring.states)


def _tied_by_chance(wiring: Wiring) -> bool:
    """Whether the fixed tap stands where sections in series reach: a case of the wiring without the tie."""
    return any(sum(map(abs, tap.row)) > 1 for tap in wiring.taps)


def unit(place: int, size: int) -> TurnRow:
    """The row of one unknown."""
    return tuple(int(place == at) for at in range(size))


def minus(a: TurnRow, b: TurnRow) -> TurnRow:
    """The difference of two rows."""
    return tuple(x - y for x, y in zip(a, b, strict=True))


def chain(common: str, taps: list[str], prefix: str) -> list[Changeover]:
    """Changeovers that choose one of some taps: the first driven takes the first tap, all at rest the last one."""
    made: list[Changeover] = []
    for number, tap in enumerate(taps[:-1], 1):
        com = common if number == 1 else f"{prefix}{number}"
        rest = taps[-1] if number == len(taps) - 1 else f"{prefix}{number + 1}"
        made.append(Changeover(com, rest, tap))
    return made


def _chains(most: int, *, on_line: bool) -> Iterator[Wiring]:
    """One side on a fixed tap, the other on a chain; the fixed tap a tap of its own, or one of the chain's."""
    for relays in range(1, most + 1):
        for tie in [None, *range(relays + 1)]:
            yield _chain(relays + 1, on_line=on_line, tie=tie)


def _chain(length: int, *, on_line: bool, tie: int | None) -> Wiring:
    size = length + (tie is None)
    rows = [unit(place, size) for place in range(length)]
    names = [f"chosen {place + 1}" for place in range(length)]
    fixed = names[tie] if tie is not None else "fixed"
    taps = [Tap(name, row) for name, row in zip(names, rows, strict=True)]
    taps += [Tap("fixed", unit(length, size))] if tie is None else []
    falling = names if on_line else names[::-1]
    side = "LINE" if on_line else "OUTPUT"
    return Wiring(
        "line-chain" if on_line else "output-chain",
        size,
        tuple(taps),
        one_pole_each(chain(side, falling, "K")),
        line="LINE" if on_line else fixed,
        output=fixed if on_line else "OUTPUT",
        rising=tuple(minus(rows[place + 1], rows[place]) for place in range(length - 1)),
    )


def _both_sides(most: int) -> Iterator[Wiring]:
    """A chain on each side, over taps of its own or shared ones."""
    for lines, outputs in product(range(2, most + 1), repeat=2):
        relays = lines + outputs - 2
        if relays > most:
            continue
        for shared in range(min(lines, outputs) + 1):
            for on_line in combinations(range(lines), shared):
                for on_output in combinations(range(outputs), shared):
                    yield _two_chains(lines, outputs, dict(zip(on_output, on_line, strict=True)))


def _two_chains(lines: int, outputs: int, shared: dict[int, int]) -> Wiring:
    """`shared`: output taps that are line taps, by their places."""
    size = lines + outputs - len(shared)
    line_rows = [unit(place, size) for place in range(lines)]
    own = iter(range(lines, size))
    output_rows = [line_rows[shared[place]] if place in shared else unit(next(own), size) for place in range(outputs)]
    name = {row: f"tap {place + 1}" for place, row in enumerate(dict.fromkeys(line_rows + output_rows))}
    return Wiring(
        "both-sides",
        size,
        tuple(Tap(point, row) for row, point in name.items()),
        one_pole_each(
            chain("LINE", [name[row] for row in line_rows], "KL")
            + chain("OUTPUT", [name[row] for row in output_rows[::-1]], "KO")
        ),
        rising=tuple(
            minus(rows[place + 1], rows[place]) for rows in (line_rows, output_rows) for place in range(len(rows) - 1)
        ),
        least_used=max(lines, outputs) + 1,  # fewer are a chain
    )


def _sections(most: int, *, turned: bool) -> Iterator[Wiring]:
    """Sections in series with one side, each added or skipped, or with `turned` also reversed (two relays each)."""
    each = 2 if turned else 1
    for count in range(1, min(most // each, MOST_REVERSED if turned else MOST_SECTIONS) + 1):
        reaches = [*product((-1, 0, 1) if turned else (0, 1), repeat=count)]
        for side, reach in product(("OUTPUT", "LINE"), (None, *reaches)):
            yield _in_series(side, count, reach, turned=turned)


def _in_series(side: str, count: int, reach: TurnRow | None, *, turned: bool) -> Wiring:
    """`count` sections, which with `turned` can be reversed too.

    `reach`: the other side stands where these sections, added to the base, reach; None: on turns of its own.
    """
    size = count + (2 if reach is None else 1)
    base, fixed = "base", "base" if reach is not None and not any(reach) else "fixed"
    relays: list[Changeover] = []
    sections: list[SeriesSection] = []
    point = base
    for number in range(count):
        start, finish = (f"start {number + 1}" if turned else point), f"finish {number + 1}"
        after = side if number == count - 1 else f"after {number + 1}"
        sections.append(SeriesSection(start, finish, size - count + number))
        if turned:
            relays.append(Changeover(point, start, finish))
        relays.append(Changeover(after, start, finish))
        point = after
    other = unit(1, size) if reach is None else (1, *reach)
    taps = [Tap("base", unit(0, size)), *([] if fixed == base else [Tap("fixed", other)])]
    parts = [unit(size - count + number, size) for number in range(count)]
    states = 3**count if turned else 2**count
    return Wiring(
        "reversing" if turned else "add-in",
        size,
        tuple(taps),
        one_pole_each(relays),
        line="LINE" if side == "LINE" else fixed,
        output="OUTPUT" if side == "OUTPUT" else fixed,
        sections=tuple(sections),
        rising=tuple(minus(parts[number + 1], parts[number]) for number in range(count - 1)),
        least_used=2 if count == 1 else (5 if turned else states // 2 + 1),
    )


def _mixed(most: int) -> Iterator[Wiring]:
    """Sections in series that are added or skipped, behind a chain that chooses the tap they begin at."""
    for taps, count in product(range(2, most + 1), range(1, MOST_SECTIONS + 1)):
        if taps - 1 + count <= most:
            for side, tie in product(("OUTPUT", "LINE"), (None, *range(taps))):
                yield _behind_a_chain(side, taps, count, tie)


def _behind_a_chain(side: str, taps: int, count: int, tie: int | None) -> Wiring:
    """`taps` to choose from, and `count` sections; the other side stands on the tap `tie`, or on one of its own."""
    size = taps + count + (tie is None)
    rows = [unit(place, size) for place in range(taps)]
    names = [f"chosen {place + 1}" for place in range(taps)]
    fixed = names[tie] if tie is not None else "fixed"
    relays = chain("begin", names[::-1] if side == "OUTPUT" else names, "K")
    sections: list[SeriesSection] = []
    point = "begin"
    for number in range(count):
        after = side if number == count - 1 else f"after {number + 1}"
        sections.append(SeriesSection(point, f"finish {number + 1}", taps + number))
        relays.append(Changeover(after, point, f"finish {number + 1}"))
        point = after
    return Wiring(
        "mixed",
        size,
        (
            *(Tap(name, row) for name, row in zip(names, rows, strict=True)),
            *([Tap("fixed", unit(size - 1, size))] if tie is None else []),
        ),
        one_pole_each(relays),
        line="LINE" if side == "LINE" else fixed,
        output="OUTPUT" if side == "OUTPUT" else fixed,
        sections=tuple(sections),
        rising=(
            *(minus(rows[place + 1], rows[place]) for place in range(taps - 1)),
            *(minus(unit(taps + place + 1, size), unit(taps + place, size)) for place in range(count - 1)),
        ),
        least_used=taps + count + 1,  # fewer are a chain
    )


SINGLE_MOVES: tuple[Arrangement, ...] = ("line-chain", "output-chain")

ARRANGEMENTS: dict[Arrangement, Callable[[Request, Callable[[], bool]], Iterator[Wiring]]] = {
    "line-chain": lambda request, _: _chains(request.relays_max, on_line=True),
    "output-chain": lambda request, _: _chains(request.relays_max, on_line=False),
    "both-sides": lambda request, _: _both_sides(request.relays_max),
    "trees": lambda request, _: tree_wirings(request.relays_max, request.two_pole_max, direct=request.require_direct),
    "add-in": lambda request, _: _sections(request.relays_max, turned=False),
    "mixed": lambda request, _: _mixed(request.relays_max),
    "reversing": lambda request, _: _sections(request.relays_max, turned=True),
    "free": lambda request, stop: free_wirings(request.relays_max, stop),
}
