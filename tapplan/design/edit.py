"""Putting bands into the text of a design file, its comments and layout kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.exact import Span, rounded_down, rounded_up

FINEST = Fraction(1, 10**6)  # ends that are no short decimal are written to this, inward: the safe side


@dataclass(frozen=True, slots=True)
class WrittenBand:
    """A band as it goes into a file."""

    name: str
    energised: tuple[str, ...]
    hold_v: Span


def with_bands(text: str, bands: Sequence[WrittenBand]) -> str:
    """The text with exactly these [[band]] tables; everything else stays as it is.

    Tables that are there already are filled anew, so comments inside them stay; those left over are removed.
    The result ends in a newline.
    """
    import tomlkit  # only here: reading needs no layout

    document = tomlkit.parse(text)
    if "band" in document and not isinstance(document["band"], tomlkit.items.AoT):
        document.remove("band")  # written as one inline array, which cannot grow by tables
    tables = document.get("band")
    if tables is None:
        if not text.endswith("\n\n"):
            document.add(tomlkit.nl())
        tables = tomlkit.aot()
        document.add("band", tables)
    while len(tables) > len(bands):
        del tables[-1]
    for place, band in enumerate(bands):
        kept = place < len(tables)
        table = tables[place] if kept else tomlkit.table()
        table["name"] = band.name
        table["energised"] = list(band.energised)
        table["hold_v"] = [
            _written(rounded_up(band.hold_v.low, FINEST)),
            _written(rounded_down(band.hold_v.high, FINEST)),
        ]
        if not kept:
            tables.append(table)
    written = tomlkit.dumps(document)
    return written if written.endswith("\n") else written + "\n"


def _written(volts: Fraction) -> int | float:
    """Volts for a file: whole where whole, else the shortest decimal."""
    return int(volts) if volts.denominator == 1 else float(volts)
