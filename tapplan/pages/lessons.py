"""The JSON answer of `bench --learn`, and the head of the file it writes."""

from __future__ import annotations

from tapplan.bench.heights import FoundSection, FoundTurns
from tapplan.bench.learned import Learned
from tapplan.pages.answers import Json


def learned(found: Learned) -> Json:
    """Wirings that explain the readings, what would tell them apart, and the sections with their turns."""
    settling = found.contacts.settling
    return {
        "relays": list(found.relays),
        "wires": [list(group) for group in found.contacts.wires],
        "wirings": [
            {
                relay: [{"com": one.com, "nc": one.nc, "no": one.no} for one in poles]
                for relay, poles in zip(found.relays, wiring, strict=True)
            }
            for wiring in found.contacts.wirings
        ],
        "settling": None
        if settling is None
        else {"coils": sorted(settling.coils), "between": list(settling.ends), "joined_in": settling.joined},
        "sections": [_section(found.turns, one) for one in found.turns.sections()] if found.turns else [],
        "unclear": [{"point": one.point, "measure": [one.point, one.other]} for one in found.turns.unclear]
        if found.turns
        else [],
        "unprobed": [
            {"relay": one.relay, "driven": one.driven, "between": [one.one, one.other]}
            for one in found.contacts.unprobed
        ],
        "clashes": [list(pair) for pair in found.clashes],
        "unused": list(found.turns.unused) if found.turns else [],
        "settled": found.settled,
    }


def _section(turns: FoundTurns, section: FoundSection) -> Json:
    whole = turns.whole_turns(section)
    return {
        "ends": [section.low, section.high],
        "share": float(section.share),
        "share_within": [float(section.within.low), float(section.within.high)],
        "turns": None if whole is None else whole.nearest,
        "turns_within": None if whole is None else [whole.least, whole.most],
    }


def header(found: Learned, source: str) -> tuple[str, ...]:
    """What the file says about where it comes from."""
    count = len(found.contacts.wirings)
    lines = [f"# Found again by `tapplan bench --learn {source}`: compare with the board before use."]
    if count > 1:
        lines.append(f"# One of {count} wirings that explain the readings.")
    if found.turns is not None and found.turns.per_share is None:
        lines.append("# Turns are relative: no winding of known turns was measured.")
    return tuple(lines)
