"""Parse, call one verb, print its reply, exit."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from tapplan.cli.arguments import parsed
from tapplan.cli.output import as_text, show, write_whole
from tapplan.cli.reply import Reply
from tapplan.cli.verbs import VERBS
from tapplan.errors import TapplanError
from tapplan.version import __version__


def run() -> NoReturn:
    """The console command: `main` with the process's own arguments, its result the exit code."""
    try:
        code = main(sys.argv[1:])
        sys.stdout.flush()
    except BrokenPipeError:  # the reader of a pipe has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except KeyboardInterrupt:
        sys.stderr.write("tapplan: interrupted\n")
        code = 130
    sys.exit(code)


def main(arguments: Sequence[str]) -> int:
    """Answers one call; returns 0 (nothing wrong), 1 (a fault was found) or 2 (the call or input is wrong)."""
    args = parsed(__version__, arguments)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a title may hold what the terminal cannot show
    try:
        reply = VERBS[args.verb](args)
        envelope = {"verb": args.verb, "design": getattr(args, "design", None), "version": __version__}
        _give(reply, {**envelope, **reply.answer}, args)
    except TapplanError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return reply.code


def _give(reply: Reply, answer: dict[str, object], args: argparse.Namespace) -> None:
    """Puts the reply where it was asked for, as JSON or for people."""
    as_json = json.dumps(answer, indent=1) + "\n" if args.json else None
    if args.output is not None and not reply.written:
        write_whole(args.output, as_json or as_text(reply.draw), force=args.force)
    elif as_json is not None:
        sys.stdout.write(as_json)
    else:
        show(reply.draw)
