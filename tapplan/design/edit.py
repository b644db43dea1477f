"""Putting bands, or a whole stage, into the text of a design file, its comments and layout kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.design.model import Design, Pole, Relay
from tapplan.exact import Span, rounded_down, rounded_up

MOST_PLACES = 15  # of a decimal, which a float tells apart
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


def with_order(text: str, order: str) -> str:
    """The text with this order in its [sequence]; everything else stays as it is."""
    import tomlkit  # only for writing, with comments kept

    document = tomlkit.parse(text)
    if "sequence" in document:
        document["sequence"]["order"] = order
        return tomlkit.dumps(document)
    return f'{text.rstrip()}\n\n[sequence]\norder = "{order}"\n'


def _written(volts: Fraction) -> int | float:
    """Volts for a file: whole where whole, else the shortest decimal."""
    return int(volts) if volts.denominator == 1 else float(volts)


def with_stage(text: str, design: Design, header: Sequence[str]) -> str:
    """A request's text made a design file: its own tables and comments, then windings, relays and bands of `design`.

    What the stage replaces ([fit], [[winding]], [[relay]], [[band]]) is taken out; line and output go where they
    stand in the design, and the core is the one that it has.
    """
    import tomlkit  # only for writing, with comments kept

    document = tomlkit.parse(text)
    for key in ("fit", "winding", "relay", "band"):
        document.pop(key, None)
    terminals: dict[str, object] = document["terminals"]
    for key in ("line", "output"):
        terminals[key] = getattr(design.terminals, key)
    core: dict[str, object] = document.get("core", {})
    if design.core is not None and design.core.lamination is not None and design.core.stack_mm is not None:
        core["lamination"], core["stack_mm"] = design.core.lamination, float(design.core.stack_mm)
    lines = [*header, "", tomlkit.dumps(document).rstrip()]
    for winding in design.windings:
        ends = _listed(winding.ends)
        lines += ["", "[[winding]]", f"name = {_quoted(winding.name)}", f"ends = {ends}", f"turns = {winding.turns}"]
        if winding.wire_mm is not None:
            lines.append(f"wire_mm = {_decimal(winding.wire_mm)}")
        if winding.strands is not None:
            lines.append(f"strands = {winding.strands}")
    for relay in design.relays:
        lines += ["", "[[relay]]", f"name = {_quoted(relay.name)}", *_poles(relay), *_stated(relay)]
    for band in design.bands:
        lines += ["", "[[band]]", f"name = {_quoted(band.name)}", f"energised = {_listed(band.energised)}"]
        if band.hold_v is not None:
            lines.append(f"hold_v = [{_decimal(band.hold_v[0])}, {_decimal(band.hold_v[1])}]")
    return "\n".join(lines) + "\n"


def _stated(relay: Relay) -> list[str]:
    """The ratings that are stated."""
    keys = ("contact_a", "contact_v", "contact_ohm", "coil_v", "coil_w")
    return [f"{key} = {_decimal(value)}" for key in keys if (value := getattr(relay, key)) is not None]


def _poles(relay: Relay) -> list[str]:
    def throws(pole: Pole) -> list[str]:
        ends = (("com", pole.com), ("nc", pole.nc), ("no", pole.no))
        return [f"{key} = {_quoted(end)}" for key, end in ends if end is not None]

    poles = relay.all_poles
    if len(poles) == 1:
        return throws(poles[0])
    return ["poles = [", *(f"    {{ {', '.join(throws(pole))} }}," for pole in poles), "]"]


def _listed(names: Sequence[str]) -> str:
    return "[" + ", ".join(map(_quoted, names)) + "]"


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _decimal(value: Fraction) -> str:
    """The number as it is where decimals can write it, else as near as a float comes."""
    places = next((places for places in range(MOST_PLACES) if (value * 10**places).denominator == 1), None)
    if places is None:
        return f"{float(value):.{MOST_PLACES}g}"
    whole, rest = divmod(abs(value.numerator) * 10**places // value.denominator, 10**places)
    return ("-" if value < 0 else "") + (f"{whole}.{rest:0{places}d}" if places else f"{whole}")
