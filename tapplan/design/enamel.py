"""How thick enamelled round wire is over its enamel: the largest overall diameter, by conductor and grade.

The figures are those held for IEC 60317 in the wire data base of PyOpenMagnetics 1.7.35 (MIT licence), copied as
facts; the standard's own text was not at hand. Between two sizes of the table a wire is taken to have the enamel of
the next thicker one.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal

EnamelGrade = Literal[1, 2, 3]
# By how much at most a strip is thicker and wider over its enamel, in mm; the same source has no grade 3 of it.
STRIP_ENAMEL_MM: dict[EnamelGrade, Fraction] = {1: Fraction("0.11"), 2: Fraction("0.17")}

# Conductor, then the largest overall diameter in grades 1, 2 and 3, in mm.
_SIZES = """
0.05 0.06 0.066 0.072; 0.053 0.064 0.07 0.076; 0.056 0.067 0.074 0.079; 0.06 0.072 0.079 0.085;
0.063 0.076 0.083 0.088; 0.067 0.08 0.088 0.091; 0.07 0.083 0.09 0.096; 0.071 0.084 0.091 0.096;
0.075 0.089 0.095 0.102; 0.08 0.094 0.101 0.108; 0.085 0.1 0.107 0.114; 0.09 0.105 0.113 0.12;
0.095 0.111 0.119 0.126; 0.1 0.117 0.125 0.132; 0.106 0.123 0.132 0.14; 0.11 0.128 0.137 0.145;
0.112 0.13 0.139 0.147; 0.118 0.136 0.145 0.154; 0.12 0.138 0.148 0.157; 0.125 0.144 0.154 0.163;
0.13 0.15 0.16 0.169; 0.132 0.152 0.162 0.171; 0.14 0.16 0.171 0.181; 0.15 0.171 0.182 0.193;
0.16 0.182 0.194 0.205; 0.17 0.194 0.205 0.217; 0.18 0.204 0.217 0.229; 0.19 0.216 0.228 0.24;
0.2 0.226 0.239 0.252; 0.212 0.24 0.254 0.268; 0.224 0.252 0.266 0.28; 0.236 0.267 0.283 0.298;
0.25 0.281 0.297 0.312; 0.265 0.297 0.314 0.33; 0.28 0.312 0.329 0.345; 0.3 0.334 0.352 0.369;
0.315 0.349 0.367 0.384; 0.335 0.372 0.391 0.408; 0.355 0.392 0.411 0.428; 0.375 0.414 0.434 0.453;
0.4 0.439 0.459 0.478; 0.425 0.466 0.488 0.508; 0.45 0.491 0.513 0.533; 0.475 0.519 0.541 0.562;
0.5 0.544 0.566 0.587; 0.56 0.606 0.63 0.653; 0.63 0.679 0.704 0.728; 0.71 0.762 0.789 0.814;
0.8 0.855 0.884 0.911; 0.9 0.959 0.989 1.018; 1 1.062 1.094 1.124; 1.12 1.184 1.217 1.248;
1.25 1.316 1.349 1.381; 1.4 1.468 1.502 1.535; 1.6 1.67 1.706 1.74; 1.8 1.872 1.909 1.944;
2 2.074 2.112 2.148; 2.24 2.316 2.355 2.392; 2.5 2.578 2.618 2.656; 2.8 2.88 2.922 2.961;
3.15 3.233 3.276 3.316; 3.55 3.635 3.679 3.721; 4 4.088 4.133 4.176; 4.5 4.591 4.637 4.681;
5 5.093 5.141 5.186
"""


@dataclass(frozen=True, slots=True)
class Enamelled:
    """One size: its conductor, and the largest overall diameter in each grade, in mm."""

    conductor_mm: Fraction
    overall_mm: tuple[Fraction, ...]


@cache
def enamelled() -> tuple[Enamelled, ...]:
    """Every size of the table, the thinnest first."""
    rows = [[Fraction(cell) for cell in line.split()] for line in _SIZES.split(";")]
    return tuple(Enamelled(conductor, tuple(overall)) for conductor, *overall in rows)


def thickest_enamelled() -> Fraction:
    """The thickest conductor of the table, in mm."""
    return enamelled()[-1].conductor_mm


def overall_mm(conductor_mm: Fraction, grade: EnamelGrade) -> Fraction | None:
    """The largest overall diameter in mm; None for a wire thicker than all of the table."""
    size = next((one for one in enamelled() if one.conductor_mm >= conductor_mm), None)
    return None if size is None else conductor_mm + size.overall_mm[grade - 1] - size.conductor_mm
