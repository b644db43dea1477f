"""Moves as timelines: when each coil changes, when its contacts can open and close, and when readings count again.

Every time is one of the move as it is flown, in ms after its first coil change. What is full is sure, what is pale
may be: a contact pale on both throws is on its way, and the output may be on nothing; one full on both joins what
they lead to.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tapplan.answers import words
from tapplan.checks.flight import Flight
from tapplan.control.flights import RelayFlight
from tapplan.exact import Span
from tapplan.pictures.curve import ticks
from tapplan.pictures.letters import letters

WIDTH = 760
LEFT, RIGHT = 132, 222  # beside the time: names of relays and throws, the times in words
BEFORE, BEHIND = 26, 30  # of the time, what is drawn before the first coil change and after the longest move
TOP, BOTTOM = 26, 34
HEAD, LANE, AFTER = 36, 32, 12  # heights: of a move's name with its blanking, of a relay, and between moves
THICK = 8.0
MOST_DRAWN, MOST_HIGH = 12, 2600  # moves in one picture, and how high they may be together


@dataclass(frozen=True, slots=True)
class TimeScale:
    """From ms to places in the picture, for all moves alike."""

    until_ms: Fraction

    def x(self, time_ms: Fraction) -> float:
        """Across."""
        return LEFT + BEFORE + float(time_ms / self.until_ms) * (WIDTH - LEFT - RIGHT - BEFORE - BEHIND)


def time_scale(flights: Sequence[Flight]) -> TimeScale:
    """Room for the longest of some moves."""
    ends = [one.flown.given.decides_ms for one in flights] + [one.takes_ms for one in flights]
    return TimeScale(max([Fraction(1), *ends]))


def timelines(flights: Sequence[Flight]) -> Any:
    """All moves of a design, each in a group `move-N` by its place; of more than `MOST_DRAWN` only those that differ.

    Where even those are more, the worst: what shorts turns, then what leaves the output on nothing for longest.
    """
    told = [_Told(number, one, (one,)) for number, one in enumerate(flights)]
    if len(told) > MOST_DRAWN:
        told = _differing(flights)
    kept = _worst(told)
    left = sum(len(one.alike) for one in told if one not in kept)
    note = f"not drawn: {left} moves more, none of which is worse" if left else ""
    return _drawing([one for one in told if one in kept], time_scale(flights), note)


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """A move to draw, its place among all, and all that look just like it, itself first."""

    number: int
    flight: Flight
    alike: tuple[Flight, ...]

    @property
    def name(self) -> str:
        more = len(self.alike) - 1
        return self.flight.move.name + (f" and {more} alike" if more else "")

    @property
    def height(self) -> int:
        return HEAD + LANE * len(self.flight.move.movers) + AFTER


def _badness(told: _Told) -> tuple[Fraction, ...]:
    one = told.flight
    return (Fraction(bool(one.shorts)), one.gap_ms, one.takes_ms)


def _worst(told: Sequence[_Told]) -> list[_Told]:
    """As many of the worst as one picture takes."""
    kept: list[_Told] = []
    for one in sorted(told, key=_badness, reverse=True)[:MOST_DRAWN]:
        if kept and sum(other.height for other in kept) + one.height > MOST_HIGH:
            break
        kept.append(one)
    return kept


def _differing(flights: Sequence[Flight]) -> list[_Told]:
    """One of each kind of picture, where its first stands."""
    kinds: dict[Hashable, list[int]] = {}
    for number, one in enumerate(flights):
        move, given = one.move, one.flown.given
        driven = tuple(relay in move.new for relay in move.movers)
        key = (move.movers, driven, given.flights, given.blank_ms, move.chosen, one.gap_ms, bool(one.shorts))
        kinds.setdefault(key, []).append(number)
    return [_Told(same[0], flights[same[0]], tuple(flights[one] for one in same)) for same in kinds.values()]


def _drawing(told: Sequence[_Told], scale: TimeScale, note: str = "") -> Any:
    import drawsvg

    base = TOP + sum(one.height for one in told)
    drawing = drawsvg.Drawing(WIDTH, base + BOTTOM + (16 if note else 0))
    _axis(drawing, scale, base)
    y = TOP
    for one in told:
        drawing.append(_move(one, scale, y))
        y += one.height
    if note:
        drawing.append(drawsvg.Text(note, 11, 8, base + BOTTOM + 8, class_="small"))
    return drawing


def _axis(drawing: Any, scale: TimeScale, base: float) -> None:
    """The time above and below."""
    import drawsvg

    for time in ticks(Span(Fraction(0), scale.until_ms)):
        x = scale.x(time)
        for y in (TOP - 6, base + 13):
            drawing.append(drawsvg.Text(f"{float(time):g}", 11, x, y, text_anchor="middle", class_="faint"))
    middle = (LEFT + WIDTH - RIGHT) / 2
    told = "ms after the first coil change"
    drawing.append(drawsvg.Text(told, 11, middle, base + 28, text_anchor="middle", class_="small"))


def _move(told: _Told, scale: TimeScale, top: float) -> Any:
    """The name of a move, what becomes of the output, how long nothing is decided, and a lane a relay."""
    import drawsvg

    flight, given = told.flight, told.flight.flown.given
    group = drawsvg.Group(id=f"move-{told.number}")
    group.append_title(", ".join(one.move.name for one in told.alike))
    font, x = letters("words"), WIDTH - RIGHT + 14
    group.append(drawsvg.Line(8, top, WIDTH - 8, top, class_="axis"))
    for time in ticks(Span(Fraction(0), scale.until_ms)):
        at = scale.x(time)
        group.append(drawsvg.Line(at, top + 22, at, top + told.height - AFTER + 4, class_="grid"))
    group.append(drawsvg.Text(font.cut(told.name, WIDTH - RIGHT - 8), font.size, 8, top + 16, class_="words"))
    group.append(_output(flight, x, top + 15))
    if flight.move.chosen:
        begin, end = scale.x(Fraction(0)), scale.x(given.decides_ms)
        group.append(drawsvg.Rectangle(begin, top + 24, end - begin, 5, class_="blanked"))
        counted = f"readings count from {_ms(given.decides_ms)} ms"
        group.append(drawsvg.Text(counted, 11, x, top + 30, class_="small"))
    lanes = zip(flight.move.movers, given.flights, strict=True)
    for place, (relay, one) in enumerate(lanes):
        lane = _Lane(relay, one, relay in flight.move.new, top + HEAD + LANE * place)
        group.extend(lane.drawn(scale, _throws(flight, relay)))
    return group


def _throws(flight: Flight, relay: str) -> frozenset[str]:
    """The throws that some pole of a relay has."""
    poles = next(one.all_poles for one in flight.review.design.relays if one.name == relay)
    return frozenset(name for name in ("nc", "no") if any(getattr(one, name) is not None for one in poles))


def _output(flight: Flight, x: float, y: float) -> Any:
    """What becomes of the output, in words."""
    import drawsvg

    if flight.shorts:
        return drawsvg.Text("can short turns", 12, x, y, class_="hurt")
    gap = flight.gap_ms
    told = f"output on nothing up to {_ms(gap)} ms" if gap else "output never on nothing"
    return drawsvg.Text(told, 11, x, y, class_="small")


@dataclass(frozen=True, slots=True)
class _Lane:
    """One relay of a move, and whether its coil gets its voltage or loses it."""

    relay: str
    flight: RelayFlight
    driven: bool
    top: float

    def drawn(self, scale: TimeScale, throws: frozenset[str]) -> list[Any]:
        """Its throws over the time, the coil's change and the end of the flight marked, the times in words."""
        import drawsvg

        one, font = self.flight, letters("words")
        nc, no = self.top + 8, self.top + 21
        coil, still, middle = scale.x(one.commanded), scale.x(one.settled), (nc + no) / 2
        tip = -5 if self.driven else 5
        head = (coil - 4, middle - tip, coil + 4, middle - tip, coil, middle + tip)
        parts = [
            drawsvg.Text(font.cut(self.relay, LEFT - 40), font.size, 8, nc + 3, class_="words"),
            drawsvg.Text("driven" if self.driven else "released", 11, 8, no + 5, class_="faint"),
            *(part for name, y in (("nc", nc), ("no", no)) if name in throws for part in self._throw(scale, name, y)),
            drawsvg.Line(coil, nc - 4, coil, no + 4, class_="still"),
            drawsvg.Lines(*head, close=True, class_="dot"),
            drawsvg.Line(still, nc - 6, still, no + 6, class_="still"),
        ]
        for text, y in zip(self._told(throws), (nc + 4, no + 4), strict=True):
            parts.append(drawsvg.Text(text, 11, WIDTH - RIGHT + 14, y, class_="small"))
        return parts

    def _throw(self, scale: TimeScale, name: str, y: float) -> list[Any]:
        """One throw: full while it is surely closed, pale while it may be."""
        import drawsvg

        one, leaves = self.flight, (name == "nc") == self.driven
        ends = [LEFT, scale.x(one.opens.low)] if leaves else [scale.x(one.rests.high), WIDTH - RIGHT]
        pale = one.opens if leaves else Span(one.touches.low, one.rests.high)
        return [
            drawsvg.Text(name.upper(), 11, LEFT - 8, y + 4, text_anchor="end", class_="small"),
            _bar(y, ends[0], ends[1], "shut"),
            _bar(y, scale.x(pale.low), scale.x(pale.high), "may-be-shut"),
        ]

    def _told(self, throws: frozenset[str]) -> list[str]:
        """The times of what is there: a relay that only makes has nothing to close when it is released."""
        one = self.flight
        leaves, comes = ("nc", "no") if self.driven else ("no", "nc")
        opens = f", opens {_between(one.opens)}" if leaves in throws else ""
        closes = f"closes {_between(one.touches)}, " if comes in throws else ""
        return [f"coil at {_ms(one.commanded)}{opens} ms", f"{closes}still by {_ms(one.settled)} ms"]


def _bar(y: float, left: float, right: float, kind: str) -> Any:
    import drawsvg

    return drawsvg.Rectangle(left, y - THICK / 2, right - left, THICK, class_=kind)


def _ms(time: Fraction) -> str:
    return words.number(time, 2)


def _between(time: Span) -> str:
    return _ms(time.low) if time.low == time.high else f"{_ms(time.low)} to {_ms(time.high)}"
