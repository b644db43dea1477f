"""The arrangements: for a request, the wirings each has to offer, fewest relays first.

To add one, write a function that makes its wirings and enter it in `ARRANGEMENTS`; search, design file and pages
need nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations, product

from tapplan.design.model import Arrangement
from tapplan.study.free import free_wirings
from tapplan.study.request import Request
from tapplan.study.wiring import Changeover, SeriesSection, Tap, TurnRow, Wiring

MOST_UNKNOWNS = {2: 4, 3: 4, 4: 3}  # taps of both sides, by relays; more take too long to search


def wirings(request: Request) -> list[Wiring]:
    """All that the request's arrangements offer within its relays and taps.

    Where a direct ratio is a must, some state of a wiring has it by itself: what else could is tied so as a wiring of
    its own.
    """
    found = [one for name in request.arrangements for one in ARRANGEMENTS[name](request.relays_max)]
    return [
        one
        for one in sorted(found, key=lambda one: len(one.relays))
        if (request.taps_max is None or one.points <= request.taps_max)
        and request.relays_exactly in (None, len(one.relays))
        and (_surely_direct(one) if request.require_direct else not _tied_by_chance(one))
        and (not request.fixed_taps or (not one.sections and len(one.taps) <= len(request.fixed_taps)))
    ]


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
        tuple(chain(side, falling, "K")),
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
            if lines + outputs - shared > MOST_UNKNOWNS.get(relays, 4):
                continue
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
        tuple(
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
    for count in range(1, min(most // each, 2 if turned else 3) + 1):  # more unknowns take too long to search
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
        tuple(relays),
        line="LINE" if side == "LINE" else fixed,
        output="OUTPUT" if side == "OUTPUT" else fixed,
        sections=tuple(sections),
        rising=tuple(minus(parts[number + 1], parts[number]) for number in range(count - 1)),
        least_used=2 if count == 1 else (5 if turned else states // 2 + 1),
    )


ARRANGEMENTS: dict[Arrangement, Callable[[int], Iterator[Wiring]]] = {
    "line-chain": lambda most: _chains(most, on_line=True),
    "output-chain": lambda most: _chains(most, on_line=False),
    "both-sides": _both_sides,
    "add-in": lambda most: _sections(most, turned=False),
    "reversing": lambda most: _sections(most, turned=True),
    "free": free_wirings,
}
