"""The command line as argparse sees it: the options that all verbs share, and each verb's own from its module."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import Any, NoReturn

from tapplan.cli.verbs import VERBS, WITHOUT_DESIGN, verb_of
from tapplan.design.objection import nearest
from tapplan.errors import escaped

REFUSED = re.compile(r"argument (?P<option>.*): invalid choice: '(?P<found>.*)' \(choose from (?P<accepted>.*)\)")


def parsed(version: str, arguments: Sequence[str]) -> argparse.Namespace:
    """The call as argparse reads it, operands allowed after options as well; exits with 2 when it is wrong.

    Only the parser of the verb called is made, so that no verb waits for the others.
    """
    if not arguments:
        _named(version).error(
            f"found no verb; accepted: {', '.join(VERBS)}; see also tapplan --help, and to read: tapplan guide"
        )
    first = arguments[0]
    if first[:1] != "-" and first not in VERBS:
        hint = nearest(first, VERBS)
        _named(version).error(f'found verb "{first}"; accepted: {", ".join(VERBS)}' + (f" ({hint})" if hint else ""))
    if not any(word in VERBS for word in arguments):
        _named(version).parse_args(arguments)
    top = parser(version, [first] if first in VERBS else VERBS)
    args, left = top.parse_known_args(arguments)
    left = [word for word in left if word != "--"]
    if left and args.verb == "at" and not any(word[:2] == "--" for word in left):
        _more_volts(top, args, left)
    elif left and args.verb == "new" and args.design is None and len(left) == 1 and left[0][0] != "-":
        args.design = left[0]
    elif left:
        top.error(f"found {' '.join(left)}; accepted: what tapplan {args.verb} --help lists")
    return args


def _more_volts(top: argparse.ArgumentParser, args: argparse.Namespace, left: Sequence[str]) -> None:
    from tapplan.cli.values import volts

    try:
        args.volts += [volts(word) for word in left]
    except argparse.ArgumentTypeError as error:
        top.error(f"argument VOLTS: {error}")


def _unmeasured(prog: str) -> argparse.HelpFormatter:
    """What argparse makes for each argument to see that it can be told, without a look at the terminal's width.

    The look loads libraries that pack files, for a width that only a printed help has a use for.
    """
    return argparse.HelpFormatter(prog, width=80)


class _Parser(argparse.ArgumentParser):
    """A parser whose refusal of a choice says what was found and what is accepted, as every other does."""

    def __init__(self, *, formatter_class: type[argparse.HelpFormatter] = argparse.HelpFormatter, **how: Any) -> None:
        super().__init__(formatter_class=_unmeasured, **how)
        self._printed_by = formatter_class

    def format_usage(self) -> str:
        """The first lines of the help, as wide as the terminal."""
        self.formatter_class = self._printed_by
        return super().format_usage()

    def format_help(self) -> str:
        """The help, as wide as the terminal."""
        self.formatter_class = self._printed_by
        return super().format_help()

    def error(self, message: str) -> NoReturn:
        """Exits with 2."""
        refused = REFUSED.fullmatch(message)
        if refused is not None:
            accepted = refused["accepted"].replace("'", "")
            message = f'{refused["option"]}: found "{refused["found"]}"; accepted: {accepted}'
        super().error(escaped(message))


def parser(version: str, verbs: Sequence[str] | dict[str, str] = VERBS) -> argparse.ArgumentParser:
    """The command line with these verbs, all of them when left out."""
    top = _top(version)
    added = top.add_subparsers(dest="verb", required=True, metavar="VERB")
    for name in verbs:
        _add(added, name)
    return top


def _named(version: str) -> argparse.ArgumentParser:
    """The command line with every verb's name and summary, for calls that come to none; it loads no verb."""
    top = _top(version)
    added = top.add_subparsers(dest="verb", required=True, metavar="VERB")
    for name, told in VERBS.items():
        added.add_parser(name, help=told)
    return top


def _top(version: str) -> _Parser:
    top = _Parser(
        prog="tapplan",
        description="From turns, taps and relay wiring of a tapped autotransformer to a table you can trust.",
        epilog="Exit: 0 nothing wrong found; 1 at least one fault found; 2 the input, the call or the output is "
        "wrong; 70 tapplan itself failed. `tapplan guide` lists the documents that come with it.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"tapplan {version}")
    return top


def _add(added: argparse._SubParsersAction[_Parser], name: str) -> None:
    told, module = VERBS[name], verb_of(name)
    verb = added.add_parser(
        name,
        help=told,
        description=told[0].upper() + told[1:] + ".",
        epilog="Examples:\n" + "\n".join(f"  {call}" for call in module.EXAMPLES),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    if name not in WITHOUT_DESIGN and name != "check":
        verb.add_argument("design", metavar="OLD" if name == "compare" else "DESIGN", help="a design file (TOML)")
    module.arguments(verb)
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.add_argument("-o", "--output", metavar="FILE", help="write the answer to FILE, whole or not at all")
    verb.add_argument("--force", action="store_true", help="replace FILE if it is there")
