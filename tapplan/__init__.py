"""tapplan: from turns, taps and relay wiring of a tapped autotransformer to a table you can trust.

`load` reads a design file and gives a `Stage`, which answers in rows and pictures that show themselves in a notebook.
The names are looked up when they are first used, so that a verb starts without the rooms it does not need.
"""

from importlib import import_module

TYPE_CHECKING = False  # that of typing takes time before the command can catch Ctrl-C
if TYPE_CHECKING:
    from tapplan.checks.finding import Finding
    from tapplan.design.model import Design
    from tapplan.stage import Stage, fit, load
    from tapplan.version import __version__

_HOMES = {
    "Design": "tapplan.design.model",
    "Finding": "tapplan.checks.finding",
    "Stage": "tapplan.stage",
    "__version__": "tapplan.version",
    "fit": "tapplan.stage",
    "load": "tapplan.stage",
}

__all__ = ["Design", "Finding", "Stage", "__version__", "fit", "load"]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
