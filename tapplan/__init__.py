"""tapplan: from turns, taps and relay wiring of a tapped autotransformer to a table you can trust.

`load` reads a design file; `findings` says what is wrong with a design; `control_table` gives its bands. The
names are looked up when they are first used, so that a verb starts without the rooms it does not need.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapplan.checks.finding import Finding
    from tapplan.checks.rules import findings
    from tapplan.control.table import control_table
    from tapplan.design.file import load
    from tapplan.design.model import Design
    from tapplan.version import __version__

_HOMES = {
    "Design": "tapplan.design.model",
    "Finding": "tapplan.checks.finding",
    "__version__": "tapplan.version",
    "control_table": "tapplan.control.table",
    "findings": "tapplan.checks.rules",
    "load": "tapplan.design.file",
}

__all__ = ["Design", "Finding", "__version__", "control_table", "findings", "load"]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
