"""How the place of a finding is written; accepted findings and comparisons know a place by these words."""

from __future__ import annotations


def in_band(name: str) -> str:
    """One band."""
    return f'band "{name}"'


def in_bands(*names: str) -> str:
    """Several bands, by rising input."""
    return "bands " + " and ".join(f'"{name}"' for name in names)


def below_band(name: str) -> str:
    """The readings below the lowest band that holds."""
    return f"below {in_band(name)}"


def above_band(name: str) -> str:
    """The readings above the highest band that holds."""
    return f"above {in_band(name)}"


def in_feed(name: str) -> str:
    """A feed while it runs."""
    return f'feed "{name}"'


def at_relay(name: str) -> str:
    """One relay."""
    return f'relay "{name}"'


def at_winding(name: str) -> str:
    """One section of a winding."""
    return f'winding "{name}"'


def between(old: str, new: str) -> str:
    """A move from one standing to another."""
    return f'"{old}" to "{new}"'
