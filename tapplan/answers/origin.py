"""What of the control table the file states, and what tapplan chose: said wherever thresholds are shown."""

from __future__ import annotations

from tapplan.control.table import ControlTable


def origin_told(table: ControlTable) -> str:
    """What the file leaves to tapplan, in a sentence; nothing where it states all."""
    if not table.placed:
        return ""
    what = "bands chosen and thresholds placed" if table.derived else "missing thresholds placed"
    return f"The file leaves them out: {what} by tapplan."
