"""Wiring that is legal but odd: ends that lead nowhere, throws that make no difference, relays nobody uses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.states import LoosePoint, OnePoint, Undriven


def loose_ends(review: Review) -> Iterator[Finding]:
    """Contact throws and commons on points nothing else touches.

    A winding whose end is free is not reported: battery and control windings are drawn that way.
    """
    circuit = review.circuit
    touching: Counter[int] = Counter()
    for section in circuit.sections:
        touching.update((section.start, section.finish))
    commons: set[tuple[int, int, int]] = set()
    for contact in circuit.contacts:
        touching[contact.end] += 1
        if (contact.relay, contact.pole, contact.com) not in commons:
            commons.add((contact.relay, contact.pole, contact.com))
            touching[contact.com] += 1
    touching.update(circuit.kept_points)
    for contact in circuit.contacts:
        if touching[contact.end] == 1:
            yield _loose(contact.label, circuit.points[contact.end])
    for relay, _, com in sorted(commons):
        if touching[com] == 1:
            yield _loose(f"{circuit.relays[relay]}, its common", circuit.points[com])


def _loose(part: str, point: str) -> Finding:
    return Finding("loose-end", Severity.WARNING, part, LoosePoint(points=(point,)))


def idle_relays(review: Review) -> Iterator[Finding]:
    """Relays that every band leaves as they are, and changeovers whose two throws go to one point."""
    rows = review.table.rows
    for relay in review.design.relays:
        place, itself = where.at_relay(relay.name), (relay.name,)
        if len(rows) > 1 and not any(relay.name in row.energised for row in rows):
            yield Finding("idle-relay", Severity.NOTE, place, Undriven(energised=itself))
        for pole in relay.all_poles:
            if pole.nc is not None and pole.nc == pole.no:
                shown = OnePoint(energised=itself, points=(pole.nc,))
                yield Finding("idle-relay", Severity.NOTE, place, shown)
