"""The verb `completion`: a script that lets the shell complete verbs, options and file names."""

from __future__ import annotations

import argparse

from tapplan.answers.text import Plain
from tapplan.cli.reply import Reply, as_text
from tapplan.errors import UsageError
from tapplan.version import __version__

SHELLS = ("bash", "zsh", "tcsh")
EXAMPLES = ('eval "$(tapplan completion bash)"',)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The shell."""
    verb.add_argument("shell", choices=SHELLS, help="the shell that is to complete")


def answer(args: argparse.Namespace) -> Reply:
    """The script, as the library that knows the shells makes it of the parser."""
    try:
        from shtab import complete
    except ImportError:
        raise UsageError("found no shtab; accepted: pip install 'tapplan[shell]' for completion") from None
    from tapplan.cli.arguments import parser

    text: str = complete(parser(__version__), shell=args.shell)
    return as_text(Plain(to=args.shell, text=text), text if text.endswith("\n") else text + "\n")
