"""The verb `fit`: plans for a mains range, best first; with --pick one of them as a design file. 1 without a plan.

With --log the plans are weighed by and tried on measured mains, and thresholds refined, also those of a design.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

from tapplan.answers.fit import Plans, plans, with_logs
from tapplan.answers.refined import refined_figures
from tapplan.answers.weighed import weighed
from tapplan.cli.logged import HOW_READ, log_arguments
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.output import write_whole
from tapplan.cli.refining import refined_design, refinement, sites_of
from tapplan.cli.reply import Reply, as_text, on_screen, written
from tapplan.cli.values import pick, seconds, span_s
from tapplan.cli.watching import Watch, watched
from tapplan.design.file import Asked, load_request, parse, read_text
from tapplan.design.model import OBJECTIVES, Design
from tapplan.errors import OutputError, UsageError, escaped
from tapplan.rating.built import built_table
from tapplan.replay.zone import Zone
from tapplan.study.cores import answered, to_be_built
from tapplan.study.fitting import How
from tapplan.study.handovers import restated
from tapplan.study.kept import keeper, read_kept
from tapplan.study.loaded import LoadedFit
from tapplan.study.logged import MOST_PLANS, MainsWeights, PlanRuns, tried_on, weights_of
from tapplan.study.plans import Plan
from tapplan.study.recording import Recording
from tapplan.study.refined import Refinement
from tapplan.study.request import InletWeight, request_of
from tapplan.study.sensitivity import Sensitivity, sensitivity
from tapplan.study.weights import InletWeights, load_weights
from tapplan.study.written import designed, text_of

EXAMPLES = (
    "tapplan fit designs/requests/coast-road.toml",
    "tapplan fit designs/requests/coast-road.toml --pick 1 -o clinic.toml",
    "tapplan fit designs/ridge-dispensary.toml --log feeder.csv -o refined.toml",
)
LAWS = (
    Excludes("--weights", "--log"),
    Needs("--max-gap", "--log"),
    Needs("--joined", "--log"),
    *(Needs(option, "--log") for option in HOW_READ),
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
    verb.add_argument(
        "--log",
        nargs="+",
        metavar="LOG",
        help="logs of measured mains, which weigh the deviation; plans are tried on them, and the thresholds of the "
        "one picked refined; with a complete design in place of a request, its own",
    )
    verb.add_argument("--max-gap", type=span_s, metavar="S", help="longer steps are gaps; left out, 3 usual steps")
    verb.add_argument("--joined", action="store_true", help="the logs are the parts of one, in this order")
    log_arguments(verb)


def answer(args: argparse.Namespace) -> Reply:
    """The plans of a request, or one of them; of a complete design, its thresholds refined on a log."""
    if args.log is not None:
        text = read_text(args.design)
        design = parse(text, args.design)
        if design.fit is None and design.windings:
            return refined_design(args, text, design)
    asked = load_request(args.design)
    fit = asked.fit if args.objective is None else replace(asked.fit, objective=args.objective)
    with watched(args.seconds) as watch:
        logged = None if args.log is None else _logged(args, asked.design, watch)
        stated = _weights(args, asked.design)
        weights = stated.entries if logged is None else logged.weights.weights
        how = How(watch.stop, watch.tell, args.to_the_end)
        if args.keep is not None:
            how = _kept(args.keep, replace(asked, fit=fit), weights, how)
        found = answered(asked.design, fit, weights, how)
        told = plans(found, asked.design.title, _swayed(found, how) if args.sensitivity else None)
        told = replace(told, weights_made=stated.made)
        if logged is not None:
            told = with_logs(told, weighed(logged.sites, logged.weights), logged.tried(args, asked.design, found))
        if args.pick is None:
            return on_screen(told, "fit")
        picked = _picked(args, asked.design, found)
        refining = None if logged is None else refinement(built_table(picked.design), logged.sites, args, watch)
    if refining is not None:
        picked = picked.refined(refining)
        told = replace(told, refined=refined_figures(refining))
    text = _text(args, replace(picked, notes=(*picked.notes, *told.stopped, *told.made_told)))
    told = replace(told, picked=args.pick)
    return as_text(replace(told, text=text), text) if args.output is None else _put(args, told, text)


def _weights(args: argparse.Namespace, asked: Design) -> InletWeights:
    return InletWeights() if args.weights is None else load_weights(args.weights, asked.mains.span)


@dataclass(frozen=True, slots=True)
class _Logged:
    """The logs of a call, what they weigh, and the watch under which plans are tried on them."""

    sites: tuple[Recording, ...]
    weights: MainsWeights
    watch: Watch

    def tried(self, args: argparse.Namespace, asked: Design, found: LoadedFit) -> tuple[PlanRuns, ...]:
        """The first plans on the logs."""
        designs = [_made(asked, found, place) for place in range(min(len(found.fitted.plans), MOST_PLANS))]
        return tried_on(self.sites, [built_table(one) for one in designs], Zone(args.zone), self.watch.stop)


def _logged(args: argparse.Namespace, asked: Design, watch: Watch) -> _Logged:
    sites = sites_of(args, watch)
    return _Logged(sites, weights_of(sites, asked.mains.span, asked.mains.nominal_v), watch)


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


@dataclass(frozen=True, slots=True)
class _Picked:
    """A plan, the design it makes, and what is said of the design in its file."""

    plan: Plan
    design: Design
    notes: tuple[str, ...] = ()

    def refined(self, found: Refinement) -> _Picked:
        """The same with the thresholds to be used."""
        log, bands = escaped(refined_figures(found).log), restated(found.table).bands
        note = f"thresholds refined on {log}" if found.kept else f"thresholds as placed, not refined on {log}"
        return replace(self, design=replace(self.design, bands=bands), notes=(note,))


def _picked(args: argparse.Namespace, asked: Design, found: LoadedFit) -> _Picked:
    """One plan and its design.

    Raises:
        UsageError: there is no such plan.
    """
    offered = found.fitted.plans
    if args.pick > len(offered):
        accepted = f"a plan from 1 to {len(offered)}" if offered else "nothing, for no plan meets the request"
        raise UsageError(f"found --pick {args.pick}; accepted: {accepted}")
    return _Picked(offered[args.pick - 1], _made(asked, found, args.pick - 1))


def _made(asked: Design, found: LoadedFit, place: int) -> Design:
    """The design that a plan makes."""
    return (
        found.built[place].design if found.built else designed(asked, found.fitted.request, found.fitted.plans[place])
    )


def _text(args: argparse.Namespace, picked: _Picked) -> str:
    """The design as a file."""
    text = text_of(read_text(args.design), picked.design, picked.plan, args.design, picked.notes)
    if parse(text, args.design).bands != picked.design.bands:  # never write what reads otherwise
        raise OutputError(f"{escaped(args.design)}: the plan would read otherwise from a file; nothing was written")
    return text


def _put(args: argparse.Namespace, told: Plans, text: str) -> Reply:
    write_whole(args.output, text, force=args.force)
    refined = () if told.refined is None else told.refined.told
    lines = [*told.stopped, *refined, f"wrote plan {args.pick} into {escaped(args.output)}"]
    return written(replace(told, written=args.output), "\n".join(lines))
