"""The verb `fit`: plans for a mains range, best first; with --pick one of them as a design file. 1 without a plan."""

from __future__ import annotations

import argparse
from dataclasses import replace

from tapplan.answers.fit import Plans, plans
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, as_text, on_screen, written
from tapplan.cli.values import pick, seconds
from tapplan.cli.watching import watched
from tapplan.design.file import Asked, load_request, parse, read_text
from tapplan.design.model import OBJECTIVES, Design
from tapplan.errors import UsageError
from tapplan.study.cores import answered, to_be_built
from tapplan.study.fitting import How
from tapplan.study.kept import keeper, read_kept
from tapplan.study.loaded import LoadedFit
from tapplan.study.request import InletWeight, request_of
from tapplan.study.sensitivity import Sensitivity, sensitivity
from tapplan.study.weights import load_weights
from tapplan.study.written import designed, text_of

EXAMPLES = (
    "tapplan fit designs/requests/coast-road.toml",
    "tapplan fit designs/requests/coast-road.toml --pick 1 -o clinic.toml",
)


def arguments(verb: argparse.ArgumentParser) -> None:
    """What to have best, how long to search, and which plan to take."""
    verb.add_argument("--pick", type=pick, metavar="N", help="plan N as a design file (shown, or with -o written)")
    verb.add_argument("--objective", choices=OBJECTIVES, help="what to have best, in place of the request's")
    verb.add_argument(
        "--weights", metavar="FILE", help="measured mains: lines of volts and weight, for the deviation"
    )
    verb.add_argument("--seconds", type=seconds, metavar="S", help="stop after S seconds with the best so far")
    verb.add_argument("--keep", metavar="FILE", help="keep what is searched in FILE, and go on from what it has")
    verb.add_argument("--sensitivity", action="store_true", help="how far each wish may go, and what saves a relay")
    verb.add_argument("--to-the-end", action="store_true", help="search every wiring until proven, however long")


def answer(args: argparse.Namespace) -> Reply:
    """The plans of a request, or one of them."""
    asked = load_request(args.design)
    weights = () if args.weights is None else load_weights(args.weights, asked.design.mains.span)
    fit = asked.fit if args.objective is None else replace(asked.fit, objective=args.objective)
    with watched(args.seconds) as watch:
        how = How(watch.stop, watch.tell, args.to_the_end)
        if args.keep is not None:
            how = _kept(args.keep, replace(asked, fit=fit), weights, how)
        found = answered(asked.design, fit, weights, how)
        swayed = _swayed(found, how) if args.sensitivity else None
    told = plans(found, asked.design.title, swayed)
    if args.pick is None:
        return on_screen(told, "fit")
    text = _design(args, asked.design, found)
    told = replace(told, picked=args.pick)
    return as_text(replace(told, text=text), text) if args.output is None else _put(args, told, text)


def _swayed(found: LoadedFit, how: How) -> Sensitivity | None:
    """How the wishes sway the plans; of plans wound, with the drop that the first of them was found to need."""
    if found.built:
        plan = found.built[0].plan
        return sensitivity(plan.request, (plan,), how.stop)
    return sensitivity(found.fitted.request, found.fitted.plans, how.stop)


def _kept(path: str, asked: Asked, weights: tuple[InletWeight, ...], how: How) -> How:
    """The search with what a file keeps of it, and kept in it."""
    if to_be_built(asked.design, asked.fit):
        raise UsageError("found --keep with a request whose plans are wound; accepted: one without [core] or load_va")
    request = request_of(asked.design, asked.fit, weights)
    return replace(how, known=read_kept(path, request), keep=keeper(path, request))


def _design(args: argparse.Namespace, asked: Design, found: LoadedFit) -> str:
    """One plan as a design file."""
    fitted = found.fitted
    if args.pick > len(fitted.plans):
        accepted = (
            f"a plan from 1 to {len(fitted.plans)}" if fitted.plans else "nothing, for no plan meets the request"
        )
        raise UsageError(f"found --pick {args.pick}; accepted: {accepted}")
    plan = fitted.plans[args.pick - 1]
    made = found.built[args.pick - 1].design if found.built else designed(asked, fitted.request, plan)
    text = text_of(read_text(args.design), made, plan, args.design)
    parse(text, args.design)  # never write what does not read
    return text


def _put(args: argparse.Namespace, told: Plans, text: str) -> Reply:
    write_whole(args.output, text, force=args.force)
    return written(replace(told, written=args.output), f"wrote plan {args.pick} into {args.output}")
