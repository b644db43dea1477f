"""The verb `standards`: the published supplies and curves."""

from __future__ import annotations

import argparse

from tapplan.answers.standards import standards
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan standards",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(_: argparse.Namespace) -> Reply:
    """All that tapplan knows of."""
    return on_screen(standards(), "standards")
