"""Where the probes go for a measurement, in words for somebody with the board in front of them."""

from __future__ import annotations

from tapplan.bench.measures import Measure
from tapplan.network.circuit import Circuit, Contact

TERMINALS = ("line", "neutral", "output")  # in the order of a circuit's terminals
THROWS = {"nc": "the contact that is closed while {} is at rest", "no": "the contact that closes when {} is driven"}


def probes_told(measure: Measure, circuit: Circuit) -> str:
    """Where to put the probes, or to listen or look where there are none, as a sentence."""
    match measure.what:
        case "ohms" | "volts":
            red, black = (place_told(name, circuit) for name in measure.at)
            return f"red probe on {red}; black probe on {black}."
        case "coil-ohms" | "drive":
            return f"on the two pins of the coil of {measure.at[0]}."
        case "part-ohms":
            return f"one on each end of the {measure.at[0]}, one of these ends off the board."
        case "click" | "chatter":
            return f"none; listen to {measure.at[0]}."
        case "lamp":
            return "none; look at the lamp."
        case "current":
            return "on the two ends of the source's resistor; its volts over its ohms are the current."
        case "switch":
            line, neutral = (circuit.points[end] for end in circuit.terminals[:2])
            return f"on {line} and {neutral}; listen for the coils."
        case "rail":
            return "red probe on the plus of the coils' supply, black probe on its minus; direct volts."
        case "ripple":
            return "red probe on the plus of the coils' supply, black probe on its minus; alternating volts."
        case "battery":
            return "red probe on the plus of the battery, black probe on its minus; direct volts."


def place_told(name: str, circuit: Circuit) -> str:
    """A point by its name, and what it is on the board."""
    for end, terminal in zip(circuit.terminals, TERMINALS, strict=True):
        if circuit.points[end] == name:
            return f"{name}, the {terminal} terminal"
    for contact in circuit.contacts:
        pole = _pole(contact, circuit)
        if contact.label == name:
            return f"{name}, {THROWS[contact.throw].format(circuit.relays[contact.relay])}{pole}"
        if name == f"{contact.label.rpartition('.')[0]}.com":
            return f"{name}, the common pin of {circuit.relays[contact.relay]}{pole}"
    if name.startswith("lug "):
        return f"{name}, the winding's own end at {name[4:]}, before its lead"
    return f"{name}, a tap of the winding"


def _pole(contact: Contact, circuit: Circuit) -> str:
    """Which pole, where its relay has several."""
    several = any(one.pole != contact.pole for one in circuit.contacts if one.relay == contact.relay)
    return f", pole {contact.pole}" if several else ""
