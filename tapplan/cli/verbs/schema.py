"""The verb `schema`: the JSON Schema of the design file; the same on the screen and for scripts."""

from __future__ import annotations

import argparse
import json

from tapplan.answers.text import Schema
from tapplan.cli.reply import Reply, as_text
from tapplan.design.schema import json_schema

EXAMPLES = ("tapplan schema -o tapplan.schema.json",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(_: argparse.Namespace) -> Reply:
    """The schema."""
    found = json_schema()
    return as_text(Schema(schema=found), json.dumps(found, indent=2) + "\n")
