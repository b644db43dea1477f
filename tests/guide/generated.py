"""Topics that are made from the code: each by its name, with what makes it."""

from __future__ import annotations

from collections.abc import Callable

from tapplan.design.keys import design_file_topic
from tests.guide.figures import figures_topic
from tests.guide.filled import filled
from tests.guide.findings import findings_topic

MADE: dict[str, Callable[[], str]] = {"file": design_file_topic, "findings": findings_topic, "figures": figures_topic}


def generated(name: str) -> str:
    """The topic as the code gives it now, filled for a terminal."""
    return filled(MADE[name]())
