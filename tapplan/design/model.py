"""The design as a person wrote it: frozen values, exact numbers, names as in the file.

The same classes read a file, explain what is wrong in it, publish its JSON Schema and serve the rest of the program.
Units stand in the names: `_v` volts, `_ms` milliseconds, `_ohm`, `_mm`, `_hz`, `_va`, `_a`, `_w`. The annotations are
the format: `shape` works out from them what each key takes, so these modules keep them as values (no annotations in
text). Rules that need more than one key are in `tapplan.design.sense`.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from tapplan.design.marks import Called, Says
from tapplan.design.names import Title
from tapplan.design.tables.build import Former, Prices
from tapplan.design.tables.control import Backup, Band, Controller, Sensing, Sequence, SequenceMove
from tapplan.design.tables.rating import Battery, CoilSupply, Copper, Core, Feed, Protection
from tapplan.design.tables.request import OBJECTIVES, STACK_RATIO, Arrangement, Fit, Objective, Rest
from tapplan.design.tables.service import Accept, Limits, LoadModel, Mains, Output
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
    "STACK_RATIO",
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
    "Former",
    "Limits",
    "LoadModel",
    "Mains",
    "Objective",
    "Output",
    "Pole",
    "Prices",
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

    format: Annotated[Literal[1], Says("The version of the format; this one.", example="1")]
    title: Annotated[
        Title,
        Says(
            "What the design is for, as pages and exports show it.",
            example='"Hill clinic cold store, 220 V, 600 VA, feeder that runs high at night"',
        ),
    ]
    mains: Annotated[Mains, Says("The supply that the stage meets.")]
    output: Annotated[Output, Says("What the load is promised, and what it is.")]
    terminals: Annotated[Terminals, Says("The points where line, neutral and load are joined to the stage.")]
    windings: Annotated[
        tuple[Winding, ...],
        Called("winding"),
        Says("One section of winding between two points of a core; a file has one such table for each."),
    ] = ()
    relays: Annotated[
        tuple[Relay, ...],
        Called("relay"),
        Says("One relay: a coil, and the contacts that it moves. One table for each."),
    ] = ()
    sensing: Annotated[
        Sensing, Says("Where and how well the controller reads, and how long a reading must stand.")
    ] = Sensing()
    bands: Annotated[
        tuple[Band, ...],
        Called("band"),
        Says(
            "One row of the control table: the relays that are driven, and the readings that keep it. One table "
            "for each; left out, tapplan derives them."
        ),
    ] = ()
    backup: Annotated[
        Backup | None,
        Says("What happens outside all bands: where the load leaves the mains, and where it comes back."),
    ] = None
    sequence: Annotated[Sequence, Says("In which order, and with which pauses, the coils of a move change.")] = (
        Sequence()
    )
    limits: Annotated[
        Limits, Says("What the figures of the stage may be at most; a figure beyond its limit is a fault.")
    ] = Limits()
    accept: Annotated[
        tuple[Accept, ...],
        Says("Warnings and notes of one code that are accepted, for a reason. One table for each code or place."),
    ] = ()
    controller: Annotated[
        Controller | None,
        Says(
            "The chain from the sensed points to whole counts: divider, reference, converter, average. With it "
            "the error of the reading is worked out, and thresholds in counts."
        ),
    ] = None
    core: Annotated[Core | None, Says("The iron of one core, and what it may carry: for `rate`.")] = None
    copper: Annotated[Copper, Says("How wires are chosen and judged.")] = Copper()
    former: Annotated[
        Former | None,
        Says(
            "What the winding lies on and between: with it, and a window whose sides are known, the layers are "
            "worked out, and the length of copper by them."
        ),
    ] = None
    prices: Annotated[Prices | None, Says("What iron, copper, relays and taps cost.")] = None
    coil_supply: Annotated[
        CoilSupply | None, Says("Where the coils get their volts, if it is a winding of the stage.")
    ] = None
    feeds: Annotated[
        tuple[Feed, ...],
        Called("feed"),
        Says("Another source that may drive a winding, such as an inverter. One table for each."),
    ] = ()
    battery: Annotated[Battery | None, Says("A battery that a winding charges.")] = None
    protection: Annotated[Protection | None, Says("The fuse in the line, and the cut-out on the winding.")] = None
    fit: Annotated[
        Fit | None,
        Says("What `fit` may choose, in a request: a design file without winding, relay and band."),
    ] = None

    @property
    def relay_names(self) -> tuple[str, ...]:
        """The relays in the order of the file; the first counts as the most significant."""
        return tuple(relay.name for relay in self.relays)
