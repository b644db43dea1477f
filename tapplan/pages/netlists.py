"""The stage as a SPICE netlist: coupled windings, and a source for each contact that the coils' volts close."""

from __future__ import annotations

from itertools import combinations

from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.pages.firmware import comment, identifiers
from tapplan.version import __version__

CONTACT_OHM = 1e-3
OPEN_SIEMENS = 1e-12
LEAST_OHM = 1e-6  # in series with a winding, so that parallel sections share


def spice(design: Design, circuit: Circuit, energised: tuple[str, ...]) -> str:
    """A deck that runs by itself: the line at the nominal volts, these relays driven, the output printed.

    Contacts are sources of current in proportion to their volts: a switch's state is not kept in a small-signal run.

    A winding of N turns is N squared microhenry, its coupling 1, so that ratios are those of the turns. `COIL_*` are
    sources of 0 or 1 V that stand for the coils: change them, or drive them in time.
    """
    node = _nodes(circuit)
    relays = identifiers(circuit.relays)
    driven = ", ".join(energised) or "none"
    hertz = float(sum(design.mains.frequency_hz) / 2)
    lines = [f"* {comment(design.title)}", f"* design {fingerprint(design)}, tapplan {__version__}"]
    lines += [f"* relays driven: {comment(driven)}", "* nodes: " + "; ".join(_named(circuit, node))]
    lines.append(f"VLINE {node[circuit.line]} {node[circuit.neutral]} DC 0 AC {float(design.mains.nominal_v):g}")
    if node[circuit.neutral] != "0":
        lines.append(f"RGROUND {node[circuit.neutral]} 0 1u")
    for number, section in enumerate(circuit.sections, 1):
        ohm = float(section.resistance_ohm or 0) or LEAST_OHM
        turns = float(section.turns * circuit.turn_unit)
        lines.append(f"RW{number} {node[section.finish]} w{number} {ohm:g}")
        lines.append(f"LW{number} w{number} {node[section.start]} {turns**2 * 1e-6:.12g}")
    for (one, a), (two, b) in combinations(enumerate(circuit.sections, 1), 2):
        if a.core == b.core:
            lines.append(f"KW{one}_{two} LW{one} LW{two} 1")
    for number, contact in enumerate(circuit.contacts, 1):
        coil = f"coil_{relays[contact.relay].lower()}"
        ends = f"{node[contact.com]} {node[contact.end]}"
        volts = f"({_volts(node[contact.com])}-{_volts(node[contact.end])})"
        closed, opened = (1 / (float(contact.ohm) or CONTACT_OHM), OPEN_SIEMENS)
        driven_rested = (closed, opened) if contact.throw == "no" else (opened, closed)
        lines.append(f"B{number} {ends} I={volts}*(v({coil}) > 0.5 ? {driven_rested[0]:g} : {driven_rested[1]:g})")
    for relay, name in zip(circuit.relays, relays, strict=True):
        lines.append(f"VCOIL_{name} coil_{name.lower()} 0 {int(relay in energised)}")
    used = sorted({one for one in node if one != "0"})
    lines += [f"RLEAK{number} {one} 0 1e9" for number, one in enumerate(used, 1)]
    output = node[circuit.output]
    lines += [f".ac lin 1 {hertz:g} {hertz:g}", f".print ac vm({output}) vp({output})", ".end"]
    return "\n".join(lines) + "\n"


def _nodes(circuit: Circuit) -> list[str]:
    """A node for each point: neutral is 0, the others by name in letters and digits."""
    plain = [f"p_{name.lower()}" for name in identifiers(circuit.points)]
    return ["0" if point == circuit.neutral else name for point, name in enumerate(plain)]


def _named(circuit: Circuit, node: list[str]) -> list[str]:
    return [f"{node[number]} is {comment(point)}" for number, point in enumerate(circuit.points)]


def _volts(node: str) -> str:
    return "0" if node == "0" else f"v({node})"
