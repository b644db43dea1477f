"""Rules over windings, relays and points: names that are there, and once; contacts that lead somewhere."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tapplan.design.model import Design, Relay
from tapplan.design.objection import Objection, nearest, quoted
from tapplan.design.shape import Path

MOST_RELAYS = 400
MOST_WINDINGS = 2000


def sizes(design: Design) -> Iterator[Objection]:
    """A winding at least, unless the file is a request; and no more parts than can be gone through."""
    if not design.windings and design.fit is None:
        yield Objection(("winding",), "no [[winding]]", "at least one winding")
    if len(design.windings) > MOST_WINDINGS:
        yield Objection(("winding",), f"{len(design.windings)} windings", f"at most {MOST_WINDINGS}")
    if len(design.relays) > MOST_RELAYS:
        yield Objection(("relay",), f"{len(design.relays)} relays", f"at most {MOST_RELAYS}")


def unique_names(design: Design) -> Iterator[Objection]:
    """Each name once among windings, relays, bands and feeds."""
    named = {
        "winding": [winding.name for winding in design.windings],
        "relay": [relay.name for relay in design.relays],
        "band": [band.name for band in design.bands],
        "feed": [feed.name for feed in design.feeds],
    }
    for table, names in named.items():
        for index, name in enumerate(names):
            if name in names[:index]:
                yield Objection((table, index, "name"), f'"{name}" again', f"a name no other {table} has")


def terminals(design: Design) -> Iterator[Objection]:
    """Three points, each its own, that a winding or a contact touches."""
    terminals = design.terminals
    named = {"line": terminals.line, "neutral": terminals.neutral, "output": terminals.output}
    touched = _touched_points(design)
    seen: dict[str, str] = {}
    for key, point in named.items():
        if point in seen:
            found = f'"{point}", which is also {seen[point]}'
            yield Objection(("terminals", key), found, "a point of its own for each terminal")
        elif point not in touched and design.windings:
            yield Objection(
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


def windings(design: Design) -> Iterator[Objection]:
    """Ends on two different points."""
    for index, winding in enumerate(design.windings):
        if winding.ends[0] == winding.ends[1]:
            found = f'both ends on "{winding.ends[0]}"'
            yield Objection(("winding", index, "ends"), found, "two different points")


def relays(design: Design) -> Iterator[Objection]:
    """Contacts that lead somewhere, and names that cannot be taken for a pole of another relay."""
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
            yield Objection(("relay", index, "name"), found, "a name that is not also a pole of another relay")


def _contacts(path: Path, relay: Relay) -> Iterator[Objection]:
    written_here = any(point is not None for point in (relay.com, relay.nc, relay.no))
    if relay.poles is not None and written_here:
        yield Objection((*path, "poles"), "poles beside com, nc or no", "either poles, or com with nc or no")
    elif relay.poles is None and relay.com is None:
        yield Objection(path, "no com", "com with nc or no, or poles = [{ com = ..., nc = ..., no = ... }]")
    for number, pole in enumerate(relay.all_poles):
        place = path if relay.poles is None else (*path, "poles", number)
        if pole.nc is None and pole.no is None:
            yield Objection(place, f'com "{pole.com}" with neither nc nor no', "nc, no or both beside com")
        throws = {throw: point for throw, point in (("nc", pole.nc), ("no", pole.no)) if point is not None}
        if relay.makes_first and len(throws) == 1:
            found, accepted = f'"{relay.contact}" on a pole with {", ".join(throws)} alone', "nc and no in every pole"
            yield Objection((*path, "contact"), found, accepted)
        for throw, point in throws.items():
            if point == pole.com:
                yield Objection((*place, throw), f'"{point}", its own com', "a point other than the com")


def sensing(design: Design) -> Iterator[Objection]:
    """Two different points that something touches."""
    at = design.sensing.at
    if isinstance(at, str):
        return
    touched = _touched_points(design)
    if design.fit is not None and not design.windings:
        terminals = (design.terminals.line, design.terminals.neutral, design.terminals.output)
        if design.fit.sensing_v is None:
            accepted = '"input", "output", or two new points and sensing_v in [fit], which makes a winding of them'
            yield Objection(("sensing", "at"), f"{quoted(at)} in a request", accepted)
        if at[0] in terminals or at[1] in terminals[::2]:
            found, accepted = quoted(at), "two new points, of which the second may be the neutral"
            yield Objection(("sensing", "at"), found, accepted)
        touched.update(at)
    for point in at:
        if point not in touched:
            accepted = "points that a winding or a contact touches"
            yield Objection(("sensing", "at"), f'"{point}"', accepted, nearest(point, touched))
    if at[0] == at[1]:
        yield Objection(("sensing", "at"), f'"{at[0]}" twice', "two different points")


def named_windings(design: Design) -> Iterator[Objection]:
    """Feeds, battery and coil supply on windings that are there; in a request they are made as named."""
    if not design.windings and design.fit is not None:
        return
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
            yield Objection(
                path, f'"{winding}"', f"a winding of this design: {quoted(known)}", nearest(winding, known)
            )
