"""Test vectors: what must follow each band and each reading beside a threshold."""

from __future__ import annotations

import csv
import io

from tapplan.answers.forms import safe
from tapplan.control.program import Program


def vectors(made: Program) -> str:
    """Every band in force with every reading at and just below a threshold: the band and coils that must follow."""
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    relays = made.table.circuit.relays
    writer.writerow(["from", "reading", "volts", "to", *map(safe, relays)])
    readings = sorted({one for mark in made.thresholds for one in (mark - 1, mark) if one >= 0})
    for name, standing in zip(made.names, made.standings, strict=True):
        for reading in readings:
            then = made.number(made.decided(standing, reading))
            coils = [made.coils[then] >> number & 1 for number in range(len(relays))]
            volts = f"{float(reading / made.per_volt):.4f}"
            writer.writerow([safe(name), reading, volts, safe(made.names[then]), *coils])
    return written.getvalue()
