"""The verb `guide`: the topics of the guide, or one of them."""

from __future__ import annotations

import argparse

from tapplan.answers.guide import guide_topic, guide_topics
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan guide", "tapplan guide repairer")


def arguments(verb: argparse.ArgumentParser) -> None:
    """The topic."""
    verb.add_argument("topic", nargs="?", metavar="TOPIC", help="one of the topics; left out, all are listed")


def answer(args: argparse.Namespace) -> Reply:
    """The list, or a topic."""
    if args.topic is None:
        return on_screen(guide_topics(), "guide")
    return on_screen(guide_topic(args.topic), "guide", "topic")
