"""The mains filled in from the published supply named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from tapplan.design.objection import Objection, nearest
from tapplan.errors import escaped

Tables = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Supplied:
    """The tables with the mains of the supply that `standard` names, and what is wrong with that."""

    tables: Tables
    objections: list[Objection]


def supplied(tables: Tables) -> Supplied:
    """The mains filled in where the file names a supply.

    A file that names none is given back as it is. In place of an unknown supply stands another, so that the rest of
    the file is checked too.
    """
    mains = tables.get("mains")
    if not isinstance(mains, dict) or not isinstance(mains.get("standard"), str):
        return Supplied(tables, [])
    from tapplan.design import standards  # only where one is named

    objections = [
        Objection(("mains", key), f"{key} beside standard", "either standard, or nominal_v and range_v")
        for key in ("nominal_v", "range_v")
        if key in mains
    ]
    named = mains["standard"]
    entry = standards.supply(named)
    if entry is None:
        hint = nearest(named, [known.key for known in standards.SUPPLIES])
        accepted = 'a key that "tapplan standards" lists'
        objections.append(Objection(("mains", "standard"), f'"{escaped(named)}"', accepted, hint))
    supply = entry or standards.SUPPLIES[0]
    published = {
        "nominal_v": _decimal(supply.nominal_v),
        "range_v": [_decimal(end) for end in supply.range_v],
        "frequency_hz": _decimal(supply.frequency_hz),
    }
    return Supplied({**tables, "mains": {**published, **mains}}, objections)


def _decimal(number: Fraction) -> Decimal:
    return Decimal(number.numerator) / Decimal(number.denominator)
