"""The screen of `bench --learn`: the wiring found, the turns, and what to measure next."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.bench.continuity import FoundWiring
from tapplan.bench.heights import FoundTurns
from tapplan.bench.learned import Learned
from tapplan.pages.screen import headline, plain_table

MOST_SHOWN = 4


def learned(title: str, found: Learned) -> Group:
    """Wirings, turns, and what is open."""
    parts: list[RenderableType] = [headline(title, "Wiring found again")]
    for group in found.contacts.wires:
        parts.append(Text(f"Always joined, one point: {', '.join(group)}"))
    parts += _wirings(found)
    parts += _turns(found.turns)
    for one, two in found.clashes:
        parts.append(
            Text(
                f"{one} and {two} look joined, but volts stand between them: the winding there has so few ohms that "
                "a meter takes it for a wire. Tell contacts by volts on a small source instead."
            )
        )
    parts.append(Text("\nNothing is open." if found.settled else "\nNot settled yet."))
    return Group(*parts)


def _wirings(found: Learned) -> list[RenderableType]:
    wirings = found.contacts.wirings
    if not found.relays:
        return [Text("\nNo coil was driven in any reading, so no contact can be told from a wire.")]
    if not wirings:
        return [
            Text(
                "No wiring of one or two changeovers a relay explains the readings of continuity. A pair that was "
                "seen joined may be a winding of few ohms (above 1 ohm counts as a winding), or a reading is wrong."
            )
        ]
    parts: list[RenderableType] = []
    if len(wirings) > 1:
        parts.append(
            Text(f"{len(wirings)} wirings explain the readings" + ("." if found.contacts.whole else ", at least."))
        )
    for number, wiring in enumerate(wirings[:MOST_SHOWN], 1):
        parts.append(_wiring(found.relays, wiring, f"\nWiring {number}" if len(wirings) > 1 else "\nContacts"))
    for open_ in found.contacts.unprobed[:MOST_SHOWN]:
        stands = "driven" if open_.driven else "at rest"
        parts.append(Text(f"Open: with {open_.relay} {stands}, {open_.one} to {open_.other} was never measured."))
    settling = found.contacts.settling
    if settling is not None:
        coils = " and ".join(sorted(settling.coils)) or "no coil"
        parts.append(
            Text(
                f"Next: power off, {coils} driven: are {settling.ends[0]} and {settling.ends[1]} joined? In "
                f"{settling.joined} of {settling.of} wirings they are."
            )
        )
    return parts


def _wiring(relays: tuple[str, ...], wiring: FoundWiring, heading: str) -> RenderableType:
    table = plain_table("relay", "common", "at rest", "driven", heading=heading)
    for relay, poles in zip(relays, wiring, strict=True):
        for pole in poles:
            table.add_row(relay, pole.com, pole.nc or "-", pole.no or "-")
        if not poles:
            table.add_row(relay, "no contact seen", "", "")
    return table


def _turns(turns: FoundTurns | None) -> list[RenderableType]:
    if turns is None:
        return [Text("\nNo volts on a small source were read, so no turns are known.")]
    known = turns.per_share is not None
    table = plain_table("from", "to", "share of the pair fed", "turns" if known else "", heading="\nSections")
    for one in turns.sections():
        share = f"{float(one.share):.4f} ({float(one.within.low):.4f} to {float(one.within.high):.4f})"
        whole = turns.whole_turns(one)
        told = "" if whole is None else f"{whole.nearest} ({whole.least} to {whole.most})"
        table.add_row(one.low, one.high, share, told)
    parts: list[RenderableType] = [table]
    for told in turns.unused:
        parts.append(Text(f"Not used, for its source stands on points that nothing else placed: {told}"))
    if not known:
        parts.append(Text("A few turns of known number, wound on and measured (--test-winding), would give turns."))
    for side in turns.unclear:
        between = f"{side.point} and {side.other}"
        parts.append(Text(f"Open: on which side {side.point} lies. Measure volts between {between}."))
    return parts
