"""Hand-over to a controller: a C header, test vectors, and a directory of C that runs by itself."""

from tapplan.pages.cnames import comment, identifiers
from tapplan.pages.firmware.header import c_header
from tapplan.pages.firmware.vectors import vectors
from tapplan.pages.gates import logic

__all__ = ["c_header", "comment", "identifiers", "logic", "vectors"]
