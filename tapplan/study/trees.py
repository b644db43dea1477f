"""Selectors as trees of changeovers, in which relays may have two poles: on one side, or one on each.

A side is a tap, or a pole whose two throws lead to two smaller sides that no longer ask its relay. Of all pairs of a
line tree and an output tree those are kept that join different sets of taps, whatever relays, throws and taps are
called, and have more ratios than a chain of as many relays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import permutations, product

from tapplan.study.taps import TapPair
from tapplan.study.wiring import Changeover, Tap, Wiring

MOST_RELAYS = 3  # four take a minute to go through


@dataclass(frozen=True, slots=True)
class Selector:
    """A pole of a relay, and what hangs on its throws; None there: a tap."""

    coil: int
    rest: Selector | None = None
    driven: Selector | None = None


TreeSide = Selector | None


@dataclass(frozen=True, slots=True)
class TreeShape:
    """A tree for the line and one for the output."""

    line: TreeSide
    output: TreeSide

    @property
    def poles(self) -> Counter[int]:
        """How many poles each relay has."""
        return Counter([*_coils(self.line), *_coils(self.output)])


def tree_wirings(most: int, two_pole: int, *, direct: bool = False) -> Iterator[Wiring]:
    """The wirings of so many relays at most, of which so many have two poles; one does at least.

    With `direct` each has a tap in common to both sides, as which it serves the direct ratio.
    """
    for relays in range(2, min(most, MOST_RELAYS) + 1):
        for shape in shapes(relays, min(two_pole, relays)):
            yield from _tied(shape) if direct else [_wiring(shape, None)]


@cache
def shapes(relays: int, two_pole: int) -> tuple[TreeShape, ...]:
    """One shape for every set of joined taps, the fewest poles first."""
    found: dict[object, TreeShape] = {}
    for shape in sorted(_all_shapes(relays, two_pole), key=lambda one: one.poles.total()):
        pairs = _joined(shape, relays)
        if len(pairs) > relays + 1:
            found.setdefault((shape.poles.total(), _canonical(pairs)), shape)
    return tuple(found.values())


def _all_shapes(relays: int, two_pole: int) -> Iterator[TreeShape]:
    """Every line tree, up to the names of relays and throws, with every output tree that leaves each two poles."""
    seen: set[tuple[int, ...]] = set()
    most = relays + two_pole
    for line in _sides(frozenset(range(relays)), most):
        used = Counter(_coils(line))
        if max(used.values(), default=0) > 2 or (form := _renamed(line, relays)) in seen:
            continue
        seen.add(form)
        for output in _sides(frozenset(range(relays)), most - used.total()):
            count = used + Counter(_coils(output))
            twice = sum(times == 2 for times in count.values())
            if len(count) == relays and max(count.values()) <= 2 and 1 <= twice <= two_pole:
                yield TreeShape(line, output)


@cache
def _sides(coils: frozenset[int], poles: int) -> tuple[TreeSide, ...]:
    """Every side of so many poles at most, none of which asks a relay twice on one way."""
    found: list[TreeSide] = [None]
    for coil in sorted(coils) if poles else []:
        for rest, driven in product(_sides(coils - {coil}, poles - 1), repeat=2):
            used = Counter([*_coils(rest), *_coils(driven)])
            if used.total() <= poles - 1 and max(used.values(), default=0) <= 2:
                found.append(Selector(coil, rest, driven))
    return tuple(found)


def _coils(side: TreeSide) -> list[int]:
    return [] if side is None else [side.coil, *_coils(side.rest), *_coils(side.driven)]


def _leaves(side: TreeSide, code: frozenset[int], path: tuple[bool, ...] = ()) -> tuple[bool, ...]:
    """The way to the tap chosen with these relays driven."""
    if side is None:
        return path
    driven = side.coil in code
    return _leaves(side.driven if driven else side.rest, code, (*path, driven))


def _codes(relays: int) -> list[frozenset[int]]:
    return [frozenset(coil for coil in range(relays) if number >> coil & 1) for number in range(2**relays)]


def _labels(ways: Iterable[object]) -> tuple[int, ...]:
    """The taps chosen, numbered in the order in which they come."""
    number: dict[object, int] = {}
    return tuple(number.setdefault(way, len(number)) for way in ways)


def _renamed(side: TreeSide, relays: int) -> tuple[int, ...]:
    """The least of the taps chosen in every naming of relays and throws."""
    chosen = {code: _leaves(side, code) for code in _codes(relays)}
    names = product(permutations(range(relays)), _codes(relays))
    return min(
        _labels(chosen[frozenset(order[coil] for coil in code) ^ turned] for code in _codes(relays))
        for order, turned in names
    )


def _joined(shape: TreeShape, relays: int) -> frozenset[TapPair]:
    """The pairs of a line tap and an output tap."""
    codes = _codes(relays)
    lines, outputs = (_labels(_leaves(side, code) for code in codes) for side in (shape.line, shape.output))
    return frozenset(TapPair(line, output) for line, output in zip(lines, outputs, strict=True))


def _canonical(joined: frozenset[TapPair]) -> tuple[tuple[int, ...], ...]:
    """A form that is the same for sets that differ in the names of taps: by partners, then their partners, and so on.

    Two taps are told apart as far as their neighbourhoods differ (colour refinement), which for the small sets of
    trees tells all sets apart that differ; were two taken for one, one wiring would go untried.
    """
    lines, outputs = (dict.fromkeys({getattr(one, side) for one in joined}, 0) for side in ("line", "output"))
    signs: list[dict[int, tuple[int, ...]]] = []
    for _ in range(len(lines) + len(outputs)):
        signs = [
            {
                tap: (colour, *sorted(outputs[one.output] for one in joined if one.line == tap))
                for tap, colour in lines.items()
            },
            {
                tap: (colour, *sorted(lines[one.line] for one in joined if one.output == tap))
                for tap, colour in outputs.items()
            },
        ]
        lines, outputs = (_coloured(one) for one in signs)
    return (*sorted(signs[0].values()), (-1,), *sorted(signs[1].values()))


def _coloured(signs: dict[int, tuple[int, ...]]) -> dict[int, int]:
    place = {sign: number for number, sign in enumerate(sorted(set(signs.values())))}
    return {tap: place[sign] for tap, sign in signs.items()}


@dataclass(frozen=True, slots=True, order=True)
class Tie:
    """The ways to a line tap and to an output tap that are one."""

    line: tuple[bool, ...]
    output: tuple[bool, ...]


def _tied(shape: TreeShape) -> Iterator[Wiring]:
    """The shape with each pair of taps that some state joins made one."""
    codes = _codes(len(shape.poles))
    for tie in sorted({Tie(_leaves(shape.line, code), _leaves(shape.output, code)) for code in codes}):
        yield _wiring(shape, tie)


def _wiring(shape: TreeShape, tie: Tie | None) -> Wiring:
    """The poles of a shape between line, output, joints and taps."""
    poles: list[Changeover] = []
    taps: dict[str, None] = {}

    def end(side: TreeSide, name: str, path: tuple[bool, ...]) -> str:
        """The point where a part begins: its tap, or the common of its pole."""
        if side is not None:
            poles.append(
                Changeover(
                    name,
                    end(side.rest, f"{name}r", (*path, False)),
                    end(side.driven, f"{name}d", (*path, True)),
                    side.coil,
                )
            )
            return name
        tied = None if tie is None else tie.line if name.startswith("LINE") else tie.output
        tap = "shared tap" if path == tied else f"tap of {name}"
        taps[tap] = None
        return tap

    line, output = end(shape.line, "LINE", ()), end(shape.output, "OUTPUT", ())
    rows = {name: tuple(int(place == at) for at in range(len(taps))) for place, name in enumerate(taps)}
    return Wiring(
        "trees",
        len(taps),
        tuple(Tap(name, row) for name, row in rows.items()),
        tuple(poles),
        line=line,
        output=output,
        least_used=len(shape.poles) + 2,
    )
