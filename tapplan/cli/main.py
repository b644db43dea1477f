"""Parse, call one verb, print its reply, exit."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from tapplan.cli.apart import keep_apart, keep_in_line, look_ahead
from tapplan.cli.arguments import parsed
from tapplan.cli.options import keep
from tapplan.cli.output import as_text, show, write_whole
from tapplan.cli.reply import Reply
from tapplan.cli.verbs import verb_of
from tapplan.cli.working import at_work
from tapplan.errors import TapplanError, escaped, visible
from tapplan.version import __version__

WRONG, FAILED = 2, 70  # exit codes: the call, the input or the output; tapplan itself
TRACE = "TAPPLAN_TRACE"  # set, it lets a failure of tapplan itself through with its trace


class _Output(io.TextIOWrapper):
    """Standard output that keeps what it failed with, so that a failure of any other file is told from its own."""

    failure: OSError | None = None

    def write(self, text: str) -> int:
        """Writes a text."""
        try:
            return super().write(text)
        except OSError as error:
            self.failure = error
            raise

    def flush(self) -> None:
        """Writes what is held back."""
        try:
            super().flush()
        except OSError as error:
            self.failure = error
            raise


def run() -> NoReturn:
    """The console command: `main` with the process's own arguments, its result the exit code."""
    _watch_output()
    try:
        code = main(sys.argv[1:])
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        code = _refused(error)
    except KeyboardInterrupt:
        sys.stderr.write("tapplan: interrupted\n")
        code = 130
    except Exception as error:
        if os.environ.get(TRACE):
            raise
        sys.stderr.write(
            f"tapplan: failed by itself ({type(error).__name__}: {visible(str(error))}); please report this defect "
            f"with the command and what it prints with {TRACE}=1\n"
        )
        code = FAILED
    sys.exit(code)


def _watch_output() -> None:
    """Puts an `_Output` in the place of standard output, if that is the process's own."""
    own = sys.stdout
    if own is sys.__stdout__ and type(own) is io.TextIOWrapper:
        encoding, errors, at_once = own.encoding, own.errors, own.line_buffering
        sys.stdout = _Output(own.detach(), encoding, errors, line_buffering=at_once)
        sys.__stdout__ = sys.stdout  # type: ignore[misc]  # the one before has no file any more


def _refused(error: OSError) -> int:
    """Tells what the system refused: standard output, a file by its name, or what has none."""
    why = error.strerror or str(error)
    if error is getattr(sys.stdout, "failure", None):
        _drop_output()
        seen_enough = isinstance(error, BrokenPipeError)  # the reader of a pipe
        return 0 if seen_enough else _told(f"standard output: cannot be written ({why})")
    if os.environ.get(TRACE):
        raise error
    if error.filename is not None:
        return _told(f"{escaped(str(error.filename))}: cannot be used ({why})")
    return _told(f"tapplan: the system refused what was needed ({why}), for no file by name; {TRACE}=1 shows where")


def _drop_output() -> None:
    """Lets nothing more be written to standard output, also when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def _told(message: str) -> int:
    sys.stderr.write(f"{visible(message)}\n")
    return WRONG


def main(arguments: Sequence[str]) -> int:
    """Answers one call; returns 0 (nothing wrong), 1 (a fault was found) or 2 (the call or input is wrong)."""
    args = parsed(__version__, arguments)
    if sys.stdout is None:
        return _told("standard output: found it closed; accepted: a terminal, a pipe or a file")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a title may hold what the terminal cannot show
    try:
        keep_in_line(args)
        keep_apart(args)
        verb = verb_of(args.verb)
        keep(args, getattr(verb, "LAWS", ()))
        look_ahead(args)
        with at_work(args):
            reply = verb.answer(args)
        _give(reply, args)
    except TapplanError as error:
        return _told(str(error))
    unread = getattr(reply.answer, "errors", ())
    return _told("\n".join(unread)) if unread else int(reply.answer.wrong)


def _give(reply: Reply, args: argparse.Namespace) -> None:
    """Puts the reply where it was asked for, as JSON or for people."""
    as_json = _json(reply, args) if args.json else None
    if args.output is not None and not reply.written:
        own = reply.document is None  # a document goes to its file, and the JSON to standard output
        write_whole(args.output, as_json if own and as_json else as_text(reply.draw), force=args.force)
        if as_json is None:
            sys.stdout.write(f"wrote {escaped(args.output)}\n")
        elif not own:
            sys.stdout.write(as_json)
    elif as_json is not None:
        sys.stdout.write(as_json)
    else:
        show(reply.draw)


def _json(reply: Reply, args: argparse.Namespace) -> str:
    """The answer as one object, with what every answer has."""
    from json import dumps  # for scripts only

    files = _files(args)
    design = files[0] if len(files) == 1 else None
    told = {"verb": args.verb, "design": design, "version": __version__, **reply.answer.as_json()}
    return dumps(told, indent=1) + "\n"


def _files(args: argparse.Namespace) -> list[str]:
    one = getattr(args, "design", None)
    return [one] if one is not None else list(getattr(args, "designs", ()))
