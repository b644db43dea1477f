"""What the stage is built with beside iron and copper: the former that the winding goes on, and what things cost."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.design.marks import Says
from tapplan.design.names import Name, Title
from tapplan.design.numbers import NotNegative, Percent

# How much a winding stands off from what its layers add up to; common practice (10 to 15 %), no source.
DEFAULT_BULGE_PCT = Fraction(15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Former:
    """What the layers lie on and between. What insulates is the designer's to state: no distance has a default."""

    flange_mm: Annotated[
        NotNegative, Says("How thick each flange of the former is.", unit="mm", place="along the limb", example="1.5")
    ]
    margin_mm: Annotated[
        NotNegative,
        Says(
            "What is left free between a layer and each flange, as the standard that applies asks.",
            unit="mm",
            place="along the limb",
            example="3",
        ),
    ]
    base_mm: Annotated[
        NotNegative | None,
        Says(
            "How thick the former is between limb and first layer.",
            unit="mm",
            place="outward from the limb",
            example="1.5",
            default="that of `flange_mm`",
        ),
    ] = None
    interlayer_mm: Annotated[
        NotNegative,
        Says("The insulation over each layer.", unit="mm", place="outward from the limb", example="0.1"),
    ]
    between_mm: Annotated[
        NotNegative,
        Says(
            "The insulation, beside that over the layer, before a winding that no turn joins to the one under it, as "
            "the standard that applies asks.",
            unit="mm",
            place="outward from the limb",
            example="0.5",
        ),
    ]
    bulge_pct: Annotated[
        Percent,
        Says("How much more than its layers add up to a winding builds up.", unit="%", example="12"),
    ] = DEFAULT_BULGE_PCT
    order: Annotated[
        tuple[Name, ...],
        Says(
            "The windings in the order in which they are wound, from the limb outward.",
            example='["body", "step", "battery"]',
            default="that of the file",
        ),
    ] = ()

    @property
    def base(self) -> Fraction:
        """How thick the former is under the first layer, in mm."""
        return self.flange_mm if self.base_mm is None else self.base_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What the parts of a stage cost, in one currency; what is left out counts as nothing."""

    currency: Annotated[Title, Says("The currency of all prices, as it is to be shown.", example='"EUR"')]
    iron: Annotated[NotNegative, Says("Laminations.", unit="of the currency a kilogram", example="3.2")]
    copper: Annotated[NotNegative, Says("Winding wire.", unit="of the currency a kilogram", example="14")]
    relay: Annotated[NotNegative, Says("A relay with one pole, fitted.", unit="of the currency", example="2.1")] = (
        Fraction(0)
    )
    pole: Annotated[NotNegative, Says("Each further pole of a relay.", unit="of the currency", example="0.6")] = (
        Fraction(0)
    )
    tap: Annotated[
        NotNegative, Says("A point of the winding brought out.", unit="of the currency", example="0.4")
    ] = Fraction(0)
