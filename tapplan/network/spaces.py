"""Small exact linear algebra over turn vectors, one entry a core.

A closed loop says that its turns times each core's volts per turn add up to nothing; all such loop vectors
span a space. What that space holds decides shorts, and what it leaves open decides ratios.
"""

from __future__ import annotations

from fractions import Fraction

Vector = tuple[int, ...]
Direction = tuple[Fraction, ...]  # a combination of loop vectors
LoopSpace = tuple[Direction, ...]  # reduced, each with a leading 1 in a column of its own


def residue(space: LoopSpace, vector: Vector | Direction) -> Direction:
    """What is left of a vector when the space's own directions are taken out; all zero inside the space."""
    left = tuple(Fraction(entry) for entry in vector)
    for row in space:
        factor = left[_lead(row)]
        if factor:
            left = tuple(a - factor * b for a, b in zip(left, row, strict=True))
    return left


def extended(space: LoopSpace, vector: Vector | Direction) -> LoopSpace:
    """The space with one more direction; the same space when it holds the vector already."""
    left = residue(space, vector)
    if not any(left):
        return space
    lead = _lead(left)
    new = tuple(entry / left[lead] for entry in left)
    reduced = (tuple(a - row[lead] * b for a, b in zip(row, new, strict=True)) for row in space)
    return tuple(sorted((*reduced, new), key=_lead))


def holds(space: LoopSpace, vector: Vector | Direction) -> bool:
    """Whether the vector is a combination of the space's directions."""
    return not any(residue(space, vector))


def multiple(space: LoopSpace, vector: Vector | Direction, of: Vector | Direction) -> Fraction | None:
    """The one number q with `vector = q * of` up to the space, or None when there is none.

    `of` lies outside the space.
    """
    part, unit = residue(space, vector), residue(space, of)
    lead = _lead(unit)
    factor = part[lead] / unit[lead]
    return factor if all(a == factor * b for a, b in zip(part, unit, strict=True)) else None


def _lead(direction: Direction) -> int:
    return next(column for column, entry in enumerate(direction) if entry)
