"""Rules over bands, backup, moves and the reading: relays that exist, ranges inside one another."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tapplan.design.model import Design, SequenceMove
from tapplan.design.objection import Objection, nearest, quoted
from tapplan.design.shape import Path

AWAY_NAME = "away"  # what a move of [sequence] calls having no band in force
RESERVED = (AWAY_NAME, "gap")  # words that answers use beside the names of bands


def driven_relays(design: Design) -> Iterator[Objection]:
    """Relays driven in bands, backup and feeds: there, and each once."""
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
                yield Objection(path, f'"{relay}"', accepted, nearest(relay, known))
            elif count > 1:
                yield Objection(path, f'"{relay}" {count} times', "each relay once")


def band_names(design: Design) -> Iterator[Objection]:
    """No band by a name that means no band."""
    for index, band in enumerate(design.bands):
        if band.name in RESERVED:
            accepted = f"a name other than {quoted(RESERVED)}, which mean no band"
            yield Objection(("band", index, "name"), f'"{band.name}"', accepted)


def confirmations(design: Design) -> Iterator[Objection]:
    """One confirmation for both ways, or one for each."""
    sensing = design.sensing
    if sensing.confirm_ms and sensing.confirm_up_ms is not None and sensing.confirm_down_ms is not None:
        accepted = "either confirm_ms, or confirm_up_ms and confirm_down_ms"
        yield Objection(
            ("sensing", "confirm_ms"), "confirm_ms beside both confirm_up_ms and confirm_down_ms", accepted
        )


def backup(design: Design) -> Iterator[Objection]:
    """Leave and return where the input is read; readings elsewhere need the ratios: `control.table` judges them."""
    backup = design.backup
    if backup is None or design.sensing.at != "input":
        return
    leave, back = backup.leave_v, backup.return_v
    if back[0] < leave[0] or back[1] > leave[1]:
        found = f"[{float(back[0]):g}, {float(back[1]):g}]"
        accepted = f"a range inside leave_v [{float(leave[0]):g}, {float(leave[1]):g}]"
        yield Objection(("backup", "return_v"), found, accepted)
    holds = [band.hold_v for band in design.bands if band.hold_v is not None]
    if not holds:
        return
    lowest, highest = min(hold[0] for hold in holds), max(hold[1] for hold in holds)
    if leave[0] > lowest or leave[1] < highest:
        found = f"[{float(leave[0]):g}, {float(leave[1]):g}]"
        accepted = f"a range that holds the outermost ends, [{float(lowest):g}, {float(highest):g}]"
        yield Objection(("backup", "leave_v"), found, accepted)


def sequence(design: Design) -> Iterator[Objection]:
    """Single moves: each once, between bands, with just the relays that move."""
    seen: set[tuple[str, str]] = set()
    for index, move in enumerate(design.sequence.moves):
        path: Path = ("sequence", "move", index)
        if (move.old, move.new) in seen:
            yield Objection(path, f'"{move.old}" to "{move.new}" again', "each move once")
        seen.add((move.old, move.new))
        yield from _sequence_move(design, path, move)


def _sequence_move(design: Design, path: Path, stated: SequenceMove) -> Iterator[Objection]:
    """Both ends known, different, and the order made of just the relays that move."""
    known = [*(band.name for band in design.bands), AWAY_NAME]
    unknown = [(key, name) for key, name in (("from", stated.old), ("to", stated.new)) if name not in known]
    if not design.bands:
        yield Objection(
            path, "a single move, and no [[band]] to name", "bands written into the file; see `tapplan bands`"
        )
        return
    for key, name in unknown:
        yield Objection(
            (*path, key), f'"{name}"', f"a band of this design, or away: {quoted(known)}", nearest(name, known)
        )
    if stated.old == stated.new:
        yield Objection((*path, "to"), f'"{stated.new}", where it begins', "another band, or away")
    if unknown or stated.old == stated.new:
        return
    movers = sorted(_energised(design, stated.old) ^ _energised(design, stated.new))
    if sorted(stated.order) != movers:
        accepted = f"each relay that moves, once: {quoted(movers)}" if movers else "no such move: no relay moves"
        yield Objection((*path, "order"), quoted(stated.order), accepted)


def _energised(design: Design, name: str) -> set[str]:
    """The relays driven in a band; away, those of the backup."""
    if name == AWAY_NAME:
        return set() if design.backup is None else set(design.backup.energised)
    return set(next(band.energised for band in design.bands if band.name == name))


def controller(design: Design) -> Iterator[Objection]:
    """A window and a drift that the rest of the chain allows."""
    controller = design.controller
    if controller is None:
        return
    if controller.window_ms is not None and controller.window == "synchronised":
        accepted = 'window = "fixed" beside it; a synchronised window follows window_cycles'
        yield Objection(("controller", "window_ms"), "window_ms of a synchronised window", accepted)
    low, high = controller.temperature_c
    drift = controller.divider_ppm_k * max(abs(high - controller.adjusted_at_c), abs(controller.adjusted_at_c - low))
    if drift >= 10**6:
        found = f"{float(controller.divider_ppm_k):g} ppm/K, which is 100 % or more over temperature_c"
        yield Objection(("controller", "divider_ppm_k"), found, "a drift below 100 % over temperature_c")
