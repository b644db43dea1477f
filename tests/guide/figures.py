"""The topic `figures`, made from what each figure of `rate` is held against."""

from __future__ import annotations

from collections.abc import Iterator

from tapplan.answers.judged import JUDGED

OPENING = """\
# Figures: what each figure of `rate` is held against

Every figure of `rate` either has a limit, with the code of the finding that
tells when it is passed, or is information.

Keys are those of `--json`. A limit that the file does not state is a common
practice where there is one, and passing it only a warning; where there is none,
nothing is told. `tapplan check DESIGN --explain CODE` says more of a code.
"""

PARTS = {
    "bands": "Bands",
    "sections": "Windings",
    "contacts": "Contacts",
    "bridges": "Contacts bridged",
    "permitted": "Permitted load",
    "core": "Core",
    "layers": "Layers",
    "build": "The coil in its window",
    "feeds": "Feeds",
    "states": "States of a feed",
    "charging": "Charger",
    "coil_supply": "Coil supply",
    "cost": "Cost",
}


def figures_topic() -> str:
    """The whole topic."""
    return "\n".join([OPENING, *_parts()])


def _parts() -> Iterator[str]:
    for part, held in JUDGED.items():
        yield f"## {PARTS[part]}\n"
        yield "| figure | held against |\n| --- | --- |"
        for one in held:
            limit = f"`{one.code}`: {one.by}" if one.code is not None else f"information: {one.by}"
            yield f"| `{one.key}` | {limit} |"
        yield ""
