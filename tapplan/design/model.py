"""The design as a person wrote it: frozen values, exact numbers, names as in the file.

The same classes read a file, explain what is wrong in it, publish its JSON Schema and serve the rest of the program.
Units stand in the names: `_v` volts, `_ms` milliseconds, `_ohm`, `_mm`, `_hz`, `_va`, `_a`, `_w`. The annotations are
the format: `shape` works out from them what each key takes, so these modules keep them as values (no annotations in
text). Rules that need more than one key are in `tapplan.design.sense`.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from tapplan.design.marks import Called
from tapplan.design.names import Title
from tapplan.design.tables.control import Backup, Band, Controller, Sensing, Sequence, SequenceMove
from tapplan.design.tables.rating import Battery, CoilSupply, Copper, Core, Feed, Protection
from tapplan.design.tables.request import OBJECTIVES, Arrangement, Fit, Objective, Rest
from tapplan.design.tables.service import Accept, Limits, Mains, Output
from tapplan.design.tables.wiring import (
    DEFAULT_BOUNCE_MS,
    DEFAULT_OPERATE_MS,
    DEFAULT_RELEASE_MS,
    DEFAULT_TRANSFER_MS,
    Pole,
    Relay,
    Terminals,
    Winding,
)

__all__ = [
    "DEFAULT_BOUNCE_MS",
    "DEFAULT_OPERATE_MS",
    "DEFAULT_RELEASE_MS",
    "DEFAULT_TRANSFER_MS",
    "OBJECTIVES",
    "Accept",
    "Arrangement",
    "Backup",
    "Band",
    "Battery",
    "CoilSupply",
    "Controller",
    "Copper",
    "Core",
    "Design",
    "Feed",
    "Fit",
    "Limits",
    "Mains",
    "Objective",
    "Output",
    "Pole",
    "Protection",
    "Relay",
    "Rest",
    "Sensing",
    "Sequence",
    "SequenceMove",
    "Terminals",
    "Winding",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A whole design file."""

    format: Literal[1]
    title: Title
    mains: Mains
    output: Output
    terminals: Terminals
    windings: Annotated[tuple[Winding, ...], Called("winding")] = ()
    relays: Annotated[tuple[Relay, ...], Called("relay")] = ()
    sensing: Sensing = Sensing()
    bands: Annotated[tuple[Band, ...], Called("band")] = ()
    backup: Backup | None = None
    sequence: Sequence = Sequence()
    limits: Limits = Limits()
    accept: tuple[Accept, ...] = ()
    controller: Controller | None = None
    core: Core | None = None
    copper: Copper = Copper()
    coil_supply: CoilSupply | None = None
    feeds: Annotated[tuple[Feed, ...], Called("feed")] = ()
    battery: Battery | None = None
    protection: Protection | None = None
    fit: Fit | None = None

    @property
    def relay_names(self) -> tuple[str, ...]:
        """The relays in the order of the file; the first counts as the most significant."""
        return tuple(relay.name for relay in self.relays)
