"""The verb `new`: a starting file, written to FILE or -o, else given as text."""

from __future__ import annotations

import argparse

from tapplan.answers.text import Plain
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, as_text, written
from tapplan.design.starter import STARTER
from tapplan.errors import UsageError

EXAMPLES = ("tapplan new mine.toml",)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The file to write."""
    verb.add_argument("design", nargs="?", metavar="FILE", help="the file to write")


def answer(args: argparse.Namespace) -> Reply:
    """The text, or where it was written."""
    if args.design is not None and args.output is not None:
        raise UsageError(f"found both FILE ({args.design}) and -o ({args.output}); accepted: one of them")
    target = args.design or args.output
    if target is None:
        return as_text(Plain(text=STARTER), STARTER)
    write_whole(target, STARTER, force=args.force)
    return written(Plain(text=STARTER), f"wrote {target}")
