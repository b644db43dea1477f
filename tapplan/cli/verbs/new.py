"""The verb `new`: a starting file or a shipped one, written to FILE or -o, else given as text."""

from __future__ import annotations

import argparse

from tapplan.answers.text import Plain
from tapplan.cli.options import Excludes
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, as_text, written
from tapplan.design.shipped import shipped
from tapplan.design.starter import REQUEST, STARTER
from tapplan.errors import UsageError, escaped

EXAMPLES = (
    "tapplan new mine.toml",
    "tapplan new --request asked.toml",
    "tapplan new --like ridge-dispensary ridge.toml",
)
LAWS = (Excludes("--like", "--request"),)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The file to write, and what goes into it."""
    verb.add_argument("design", nargs="?", metavar="FILE", help="the file to write")
    verb.add_argument("--request", action="store_true", help="a request for `fit` in place of a design")
    verb.add_argument(
        "--like", metavar="NAME", help="a shipped design or request, as it is; a name that is none lists them"
    )


def answer(args: argparse.Namespace) -> Reply:
    """The text, or where it was written."""
    if args.design is not None and args.output is not None:
        raise UsageError(
            f"found both FILE ({escaped(args.design)}) and -o ({escaped(args.output)}); accepted: one of them"
        )
    target = args.design or args.output
    text = shipped(args.like) if args.like is not None else REQUEST if args.request else STARTER
    if target is None:
        return as_text(Plain(text=text), text)
    write_whole(target, text, force=args.force)
    return written(Plain(text=text), f"wrote {escaped(target)}")
