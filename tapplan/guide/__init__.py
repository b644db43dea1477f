"""The guide: documents that ship with the package, so that they can be read at the bench without a network.

A topic is a Markdown file beside this module. Its first heading is its title, the first sentence after that its
summary.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources

from tapplan.design.objection import nearest
from tapplan.errors import UsageError

# In the order in which they are best read.
NAMES = (
    *("designer", "repairer", "reviewer"),
    *("requests", "logs", "page", "file", "findings", "figures", "method", "limits", "words"),
    *("notebook", "ci", "firmware", "changes"),
)


@dataclass(frozen=True, slots=True)
class Topic:
    """One document: the name by which it is asked for, its title, and what it is about in a sentence."""

    name: str
    title: str
    summary: str


def topics() -> tuple[Topic, ...]:
    """Every topic, in the order in which they are best read."""
    return tuple(_topic(name) for name in NAMES)


def text(name: str) -> str:
    """The whole document, as Markdown.

    Raises:
        UsageError: there is no topic of this name.
    """
    if name not in NAMES:
        hint = nearest(name, NAMES)
        raise UsageError(f'found topic "{name}"; accepted: {", ".join(NAMES)}' + (f" ({hint})" if hint else ""))
    return resources.files(__name__).joinpath(f"{name}.md").read_text(encoding="utf-8")


def _topic(name: str) -> Topic:
    heading, _, body = text(name).partition("\n")
    opening = " ".join(body.strip().partition("\n\n")[0].split())
    return Topic(name, heading.removeprefix("# "), opening.partition(". ")[0].removesuffix(".") + ".")
