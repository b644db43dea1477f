"""tapplan: from turns, taps and relay wiring of a tapped autotransformer to a table you can trust.

`load` reads a design file; `findings` says what is wrong with a design; `control_table` gives its bands.
"""

from tapplan.checks.finding import Finding
from tapplan.checks.rules import findings
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.version import __version__

__all__ = ["Design", "Finding", "__version__", "control_table", "findings", "load"]
