"""Whether a well-formed design makes sense: rules that need more than one key, each a small generator.

A rule yields `(path, found, accepted, hint)`; `tapplan.design.file` turns that into a message with its line.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction

from tapplan.design.materials import LAMINATIONS, STEELS
from tapplan.design.model import Design, Relay, SequenceMove
from tapplan.design.places import Path
from tapplan.design.standards import CURVES

MOST_RELAYS = 400
MOST_WINDINGS = 2000
AWAY_NAME = "away"  # what a move of [sequence] calls having no band in force
RESERVED = (AWAY_NAME, "gap")  # words that answers use beside the names of bands


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something in a well-formed design that cannot be meant."""

    path: Path
    found: str
    accepted: str
    hint: str = ""


def quoted(names: Iterable[str], most: int = 12) -> str:
    """Names in quotes, the list cut where it gets long."""
    listed = list(names)
    text = ", ".join(f'"{name}"' for name in listed[:most])
    return f"{text}, ... ({len(listed)} in all)" if len(listed) > most else text


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint naming the known word most like `word`, or nothing."""
    plain = {name.casefold(): name for name in known}
    close = get_close_matches(word.casefold(), plain, n=1, cutoff=0.6)
    return f'nearest known: "{plain[close[0]]}"' if close else ""


def doubts(design: Design) -> list[Doubt]:
    """Everything in the design that makes no sense, rule by rule."""
    return [doubt for rule in RULES for doubt in rule(design)]


def _sizes(design: Design) -> Iterator[Doubt]:
    if not design.windings and design.fit is None:
        yield Doubt(("winding",), "no [[winding]]", "at least one winding")
    if len(design.windings) > MOST_WINDINGS:
        yield Doubt(("winding",), f"{len(design.windings)} windings", f"at most {MOST_WINDINGS}")
    if len(design.relays) > MOST_RELAYS:
        yield Doubt(("relay",), f"{len(design.relays)} relays", f"at most {MOST_RELAYS}")


def _fit(design: Design) -> Iterator[Doubt]:
    fit = design.fit
    if fit is None:
        return
    if fit.total_turns is None and not fit.taps:
        yield Doubt(("fit",), "neither total_turns nor taps", "total_turns, or the taps of a winding that exists")
    if fit.total_turns is not None and fit.taps:
        yield Doubt(("fit", "taps"), "taps beside total_turns", "one of them")
    if len(set(fit.taps)) != len(fit.taps) or any(tap.denominator != 1 for tap in fit.taps) or len(fit.taps) == 1:
        yield Doubt(
            ("fit", "taps"), f"{', '.join(map(str, fit.taps))}", "two or more different whole numbers of turns"
        )
    if fit.relays is not None and fit.relays > fit.relays_max:
        yield Doubt(("fit", "relays"), f"{fit.relays}", f"at most relays_max, {fit.relays_max}")
    window, preferred = design.output.window, fit.preferred_v
    if preferred is not None and not window.low <= preferred[0] < preferred[1] <= window.high:
        yield Doubt(("fit", "preferred_v"), f"{preferred[0]} to {preferred[1]} V", "a window inside output.window_v")


def _unique_names(design: Design) -> Iterator[Doubt]:
    named = {
        "winding": [winding.name for winding in design.windings],
        "relay": [relay.name for relay in design.relays],
        "band": [band.name for band in design.bands],
        "feed": [feed.name for feed in design.feeds],
    }
    for table, names in named.items():
        for index, name in enumerate(names):
            if name in names[:index]:
                yield Doubt((table, index, "name"), f'"{name}" again', f"a name no other {table} has")


def _volts(design: Design) -> Iterator[Doubt]:
    ranges: list[tuple[Path, tuple[Fraction, Fraction]]] = [
        (("mains", "range_v"), design.mains.range_v),
        (("output", "window_v"), design.output.window_v),
    ]
    ranges += [(("feed", index, "volts_v"), feed.volts_v) for index, feed in enumerate(design.feeds)]
    for path, (low, _) in ranges:
        if low == 0:
            yield Doubt(path, "a lower end of 0", "a lower end above 0 V")


def _terminals(design: Design) -> Iterator[Doubt]:
    terminals = design.terminals
    named = {"line": terminals.line, "neutral": terminals.neutral, "output": terminals.output}
    touched = _touched_points(design)
    seen: dict[str, str] = {}
    for key, point in named.items():
        if point in seen:
            found = f'"{point}", which is also {seen[point]}'
            yield Doubt(("terminals", key), found, "a point of its own for each terminal")
        elif point not in touched and design.windings:
            yield Doubt(
                ("terminals", key),
                f'"{point}"',
                "a point that a winding or a contact touches",
                nearest(point, touched),
            )
        seen[point] = key


def _touched_points(design: Design) -> Counter[str]:
    """How many winding ends and contact points meet in each point."""
    touched: Counter[str] = Counter()
    for winding in design.windings:
        touched.update(winding.ends)
    for relay in design.relays:
        for pole in relay.all_poles:
            touched.update(point for point in (pole.com, pole.nc, pole.no) if point is not None)
    return touched


def _windings(design: Design) -> Iterator[Doubt]:
    for index, winding in enumerate(design.windings):
        if winding.ends[0] == winding.ends[1]:
            found = f'both ends on "{winding.ends[0]}"'
            yield Doubt(("winding", index, "ends"), found, "two different points")


def _relays(design: Design) -> Iterator[Doubt]:
    for index, relay in enumerate(design.relays):
        yield from _contacts(("relay", index), relay)
    labels = Counter(
        relay.name if number == 1 else f"{relay.name}.{number}"
        for relay in design.relays
        for number in range(1, len(relay.all_poles) + 1)
    )
    for index, relay in enumerate(design.relays):
        if labels[relay.name] > 1 and "." in relay.name:
            found = f'"{relay.name}"'
            yield Doubt(("relay", index, "name"), found, "a name that is not also a pole of another relay")


def _contacts(path: Path, relay: Relay) -> Iterator[Doubt]:
    written_here = any(point is not None for point in (relay.com, relay.nc, relay.no))
    if relay.poles is not None and written_here:
        yield Doubt((*path, "poles"), "poles beside com, nc or no", "either poles, or com with nc or no")
    elif relay.poles is None and relay.com is None:
        yield Doubt(path, "no com", "com with nc or no, or poles = [{ com = ..., nc = ..., no = ... }]")
    for number, pole in enumerate(relay.all_poles):
        place = path if relay.poles is None else (*path, "poles", number)
        if pole.nc is None and pole.no is None:
            yield Doubt(place, f'com "{pole.com}" with neither nc nor no', "nc, no or both beside com")
        for throw, point in (("nc", pole.nc), ("no", pole.no)):
            if point == pole.com:
                yield Doubt((*place, throw), f'"{point}", its own com', "a point other than the com")


def _sensing(design: Design) -> Iterator[Doubt]:
    at = design.sensing.at
    if isinstance(at, str):
        return
    touched = _touched_points(design)
    for point in at:
        if point not in touched:
            accepted = "points that a winding or a contact touches"
            yield Doubt(("sensing", "at"), f'"{point}"', accepted, nearest(point, touched))
    if at[0] == at[1]:
        yield Doubt(("sensing", "at"), f'"{at[0]}" twice', "two different points")


def _driven_relays(design: Design) -> Iterator[Doubt]:
    driven: list[tuple[Path, tuple[str, ...]]] = [
        (("band", index, "energised"), band.energised) for index, band in enumerate(design.bands)
    ]
    if design.backup is not None:
        driven.append((("backup", "energised"), design.backup.energised))
    driven += [(("feed", index, "energised"), feed.energised or ()) for index, feed in enumerate(design.feeds)]
    known = design.relay_names
    for path, relays in driven:
        for relay, count in Counter(relays).items():
            if relay not in known:
                accepted = f"relays of this design: {quoted(known)}" if known else "nothing: there is no relay"
                yield Doubt(path, f'"{relay}"', accepted, nearest(relay, known))
            elif count > 1:
                yield Doubt(path, f'"{relay}" {count} times', "each relay once")


def _backup(design: Design) -> Iterator[Doubt]:
    """Leave and return where the input is read; readings elsewhere need the ratios: `control.table` judges them."""
    backup = design.backup
    if backup is None or design.sensing.at != "input":
        return
    leave, back = backup.leave_v, backup.return_v
    if back[0] < leave[0] or back[1] > leave[1]:
        found = f"[{float(back[0]):g}, {float(back[1]):g}]"
        accepted = f"a range inside leave_v [{float(leave[0]):g}, {float(leave[1]):g}]"
        yield Doubt(("backup", "return_v"), found, accepted)
    holds = [band.hold_v for band in design.bands if band.hold_v is not None]
    if not holds:
        return
    lowest, highest = min(hold[0] for hold in holds), max(hold[1] for hold in holds)
    if leave[0] > lowest or leave[1] < highest:
        found = f"[{float(leave[0]):g}, {float(leave[1]):g}]"
        accepted = f"a range that holds the outermost ends, [{float(lowest):g}, {float(highest):g}]"
        yield Doubt(("backup", "leave_v"), found, accepted)


def _band_names(design: Design) -> Iterator[Doubt]:
    for index, band in enumerate(design.bands):
        if band.name in RESERVED:
            accepted = f"a name other than {quoted(RESERVED)}, which mean no band"
            yield Doubt(("band", index, "name"), f'"{band.name}"', accepted)


def _confirmations(design: Design) -> Iterator[Doubt]:
    sensing = design.sensing
    if sensing.confirm_ms and sensing.confirm_up_ms is not None and sensing.confirm_down_ms is not None:
        accepted = "either confirm_ms, or confirm_up_ms and confirm_down_ms"
        yield Doubt(("sensing", "confirm_ms"), "confirm_ms beside both confirm_up_ms and confirm_down_ms", accepted)


def _sequence(design: Design) -> Iterator[Doubt]:
    seen: set[tuple[str, str]] = set()
    for index, move in enumerate(design.sequence.moves):
        path: Path = ("sequence", "move", index)
        if (move.old, move.new) in seen:
            yield Doubt(path, f'"{move.old}" to "{move.new}" again', "each move once")
        seen.add((move.old, move.new))
        yield from _sequence_move(design, path, move)


def _sequence_move(design: Design, path: Path, move: SequenceMove) -> Iterator[Doubt]:
    """Both ends known, different, and the order made of just the relays that move."""
    known = [*(band.name for band in design.bands), AWAY_NAME]
    unknown = [(key, name) for key, name in (("from", move.old), ("to", move.new)) if name not in known]
    if not design.bands:
        yield Doubt(
            path, "a single move, and no [[band]] to name", "bands written into the file; see `tapplan bands`"
        )
        return
    for key, name in unknown:
        yield Doubt(
            (*path, key), f'"{name}"', f"a band of this design, or away: {quoted(known)}", nearest(name, known)
        )
    if move.old == move.new:
        yield Doubt((*path, "to"), f'"{move.new}", where it begins', "another band, or away")
    if unknown or move.old == move.new:
        return
    movers = sorted(_energised(design, move.old) ^ _energised(design, move.new))
    if sorted(move.order) != movers:
        accepted = f"each relay that moves, once: {quoted(movers)}" if movers else "no such move: no relay moves"
        yield Doubt((*path, "order"), quoted(move.order), accepted)


def _energised(design: Design, name: str) -> set[str]:
    """The relays driven in a band; away, those of the backup."""
    if name == AWAY_NAME:
        return set() if design.backup is None else set(design.backup.energised)
    return set(next(band.energised for band in design.bands if band.name == name))


def _controller(design: Design) -> Iterator[Doubt]:
    controller = design.controller
    if controller is None:
        return
    if controller.window_ms is not None and controller.window == "synchronised":
        accepted = 'window = "fixed" beside it; a synchronised window follows window_cycles'
        yield Doubt(("controller", "window_ms"), "window_ms of a synchronised window", accepted)
    low, high = controller.temperature_c
    drift = controller.divider_ppm_k * max(abs(high - controller.adjusted_at_c), abs(controller.adjusted_at_c - low))
    if drift >= 10**6:
        found = f"{float(controller.divider_ppm_k):g} ppm/K, which is 100 % or more over temperature_c"
        yield Doubt(("controller", "divider_ppm_k"), found, "a drift below 100 % over temperature_c")


def _core(design: Design) -> Iterator[Doubt]:
    core = design.core
    if core is None:
        return
    cores = {winding.core for winding in design.windings}
    if core.name not in cores:
        yield Doubt(("core", "name"), f'"{core.name}"', f"a core of a winding: {quoted(sorted(cores))}")
    laminations, steels = [one.key for one in LAMINATIONS], [one.key for one in STEELS]
    if core.lamination is not None and core.lamination not in laminations:
        accepted = f"a lamination of {quoted(laminations, 30)}, or area_mm2, window_mm2 and mean_turn_mm"
        hint = nearest(core.lamination, laminations)
        yield Doubt(("core", "lamination"), f'"{core.lamination}"', accepted, hint)
    elif core.lamination is not None and core.stack_mm is None:
        yield Doubt(("core", "lamination"), "a lamination without stack_mm", "stack_mm beside it")
    if core.grade is not None and core.grade not in steels:
        accepted = f"a grade of {quoted(steels, 30)}"
        yield Doubt(("core", "grade"), f'"{core.grade}"', accepted, nearest(core.grade, steels))
    window = core.window_mm2
    for index, winding in enumerate(design.windings):
        if window is not None and winding.wire_mm is not None and winding.wire_mm**2 * Fraction(11, 14) >= window:
            found = f"{float(winding.wire_mm):g} mm, thicker than the window of {float(window):g} mm2"
            yield Doubt(("winding", index, "wire_mm"), found, "a wire that goes into the window")


def _named_windings(design: Design) -> Iterator[Doubt]:
    named: list[tuple[Path, str]] = [
        (("feed", index, "winding"), feed.winding) for index, feed in enumerate(design.feeds)
    ]
    if design.battery is not None:
        named.append((("battery", "winding"), design.battery.winding))
    if design.coil_supply is not None:
        named.append((("coil_supply", "winding"), design.coil_supply.winding))
    known = [winding.name for winding in design.windings]
    for path, winding in named:
        if winding not in known:
            yield Doubt(path, f'"{winding}"', f"a winding of this design: {quoted(known)}", nearest(winding, known))


def _tolerance_curve(design: Design) -> Iterator[Doubt]:
    asked, known = design.output.tolerance_curve, [curve.key for curve in CURVES]
    if asked is not None and asked not in known:
        yield Doubt(("output", "tolerance_curve"), f'"{asked}"', f"a curve of {quoted(known)}", nearest(asked, known))


RULES: tuple[Callable[[Design], Iterator[Doubt]], ...] = (
    _sizes,
    _fit,
    _unique_names,
    _volts,
    _terminals,
    _windings,
    _relays,
    _sensing,
    _driven_relays,
    _band_names,
    _confirmations,
    _backup,
    _sequence,
    _controller,
    _core,
    _named_windings,
    _tolerance_curve,
)
