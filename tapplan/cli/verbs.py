"""One function a verb: from parsed arguments to a reply. Nothing here prints.

A reply holds the JSON answer and a way to draw the same answer for a screen, so that rich is imported only
when somebody looks. For the same reason, a quick start, a verb imports inside itself what only it needs.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from tapplan.checks.coverage import gaps as coverage_gaps
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review_of
from tapplan.cli.opened import of_file, review_in, table_in
from tapplan.cli.output import write_bytes, write_whole
from tapplan.cli.reply import Reply, cautioned
from tapplan.control.lookup import Answer, at, line_of
from tapplan.control.table import ControlTable, derived_table, stated_table
from tapplan.design.file import layout_of, load, parse, read_text
from tapplan.design.sense import nearest
from tapplan.errors import UsageError
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.network.states import MOST_RELAYS_EACH, State, each_state, grouped_states
from tapplan.pages import answers
from tapplan.pages.words import CAUTION

if TYPE_CHECKING:
    from rich.console import RenderableType

    from tapplan.design.model import Design
    from tapplan.study.fitting import Fitted


def new(args: argparse.Namespace) -> Reply:
    """A starting file, written to FILE or -o, else given as text."""
    from tapplan.design.starter import STARTER

    if args.design is not None and args.output is not None:
        raise UsageError(f"found both FILE ({args.design}) and -o ({args.output}); accepted: one of them")
    target = args.design or args.output
    if target is None:
        return Reply({"text": STARTER}, lambda _: STARTER)
    write_whole(target, STARTER, force=args.force)
    return Reply({"text": STARTER}, lambda _: f"wrote {target}", written=True)


def states(args: argparse.Namespace) -> Reply:
    """Every relay state, or every distinct circuit."""
    design = load(args.design)
    circuit = circuit_of(design)
    relays = len(circuit.relays)
    if relays > MOST_RELAYS_EACH and not args.grouped:
        raise UsageError(
            f"{args.design}: found {relays} relays, which have 2**{relays} states; accepted: up to "
            f"{MOST_RELAYS_EACH} relays state by state, or --grouped for one row a distinct circuit"
        )
    rows = list(grouped_states(circuit) if args.grouped else each_state(circuit))
    symbolic = list(_symbolic(circuit, rows, wanted=args.symbolic))

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.states(circuit, zip(rows, symbolic, strict=True), design.title, grouped=args.grouped)

    listed = [
        answers.state(circuit, row, text, grouped=args.grouped) for row, text in zip(rows, symbolic, strict=True)
    ]
    return Reply({"states": listed}, draw)


def _symbolic(circuit: Circuit, rows: list[State], *, wanted: bool) -> Iterator[str | None]:
    """The ratio of each row in winding names, "" where it has none, None where nobody asked."""
    if not wanted:
        yield from (None for _ in rows)
        return
    from tapplan.network.symbolic import symbolic_ratio  # sympy takes longer to load than all the rest

    for row in rows:
        found = symbolic_ratio(circuit, circuit.state(row.energised)) if row.ratio is not None else None
        yield "" if found is None else str(found)


def bands(args: argparse.Namespace) -> Reply:
    """The bands the tool would choose, or the file's own with their missing thresholds placed."""
    from tapplan.checks import rules

    text = read_text(args.design)
    design = parse(text, args.design)
    incomplete = bool(design.bands) and any(band.hold_v is None for band in design.bands)
    with of_file(args.design):
        control = stated_table(design) if incomplete else derived_table(design)
    reviewed = review_of(control)
    gaps = coverage_gaps(reviewed)
    faults = any(one.severity is Severity.FAULT for one in rules.findings_in(reviewed))

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.bands(control, gaps)

    if args.order is not None and not args.write:
        raise UsageError("found --order alone; accepted: together with --write")
    if not args.write:
        return Reply(answers.bands(control, gaps), draw, int(faults))
    if faults and not args.force:
        raise UsageError(
            f"{args.design}: the derived bands leave faults (see: tapplan bands {args.design}), "
            "so nothing was written; accepted: --force to write them all the same"
        )
    from tapplan.design.edit import WrittenBand, with_bands, with_order

    rows = [WrittenBand(row.name, row.energised, row.hold) for row in control.rows]
    target = args.output or args.design
    written = with_bands(text, rows)
    if args.order is not None:
        written = with_order(written, args.order)
    parse(written, target)  # never replace a person's file by one that does not read
    write_bytes(target, layout_of(args.design).encoded(written), force=args.output is None or args.force)
    told = f"wrote {len(rows)} bands into {target}"
    if design.bands:
        told += f", in place of the {len(design.bands)} that were there"
    if args.order is None and design.sequence.order == "together" and _several_at_once(reviewed):
        told += (
            "\nSome moves change several relays at once; --order safest commands them one after the other, see: moves"
        )
    return Reply(answers.bands(control, gaps) | {"written": target}, lambda _: told, int(faults), written=True)


def _several_at_once(reviewed: Review) -> bool:
    """Whether some move commands several relays at one instant."""
    return any(move.chosen and len(move.movers) > 1 for move in reviewed.moves)


def table(args: argparse.Namespace) -> Reply:
    """The truth table with its coverage gaps; a gap is a fault."""
    reviewed = review_in(args.design)
    gaps = coverage_gaps(reviewed)

    def draw(width: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.table(reviewed.table, gaps, width)

    return Reply(answers.table(reviewed.table, gaps), draw, int(bool(gaps)))


def check(args: argparse.Namespace) -> Reply:
    """Every finding, or those of some codes, or the explanation of one code."""
    from tapplan.checks import rules

    for code in [*(args.only or []), *([args.explain] if args.explain else [])]:
        if code not in rules.CODES:
            hint = nearest(code, rules.CODES)
            raise UsageError(
                f'found code "{code}"; accepted: {", ".join(rules.CODES)}' + (f" ({hint})" if hint else "")
            )
    reviewed = review_in(args.design)
    if args.only is None and args.explain is None:
        return _judged(args, reviewed)
    found = rules.findings_in(reviewed, args.only if args.explain is None else [args.explain])
    if args.explain is not None:
        return _explained(args.explain, found)

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.findings(found, reviewed.design.title, fold=False)

    return Reply(answers.findings(found), draw, _code(found))


def _judged(args: argparse.Namespace, reviewed: Review) -> Reply:
    """The verdict; 1 when a promise is broken."""
    from tapplan.checks.judgement import judged

    with of_file(args.design):
        found = judged(reviewed)

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.judgement(found, reviewed.design.title, everything=args.all)

    return Reply(answers.judgement(found), draw, int(not found.sound))


def _explained(code: str, found: list[Finding]) -> Reply:
    from tapplan.checks.remedies import REMEDIES
    from tapplan.checks.rules import CODES

    meaning, remedy = CODES[code], REMEDIES[code]

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.explanation((code, meaning), remedy, found)

    explained = {"code": code, "means": meaning, "why": remedy.why, "mend": remedy.mend}
    return Reply({"explained": explained} | answers.findings(found), draw, _code(found))


def _code(found: list[Finding]) -> int:
    return int(any(one.severity is Severity.FAULT for one in found))


def at_volts(args: argparse.Namespace) -> Reply:
    """The bands in force at one input, at several, or along a sweep."""
    if args.sweep is None and not args.volts:
        raise UsageError("found no voltage; accepted: at DESIGN VOLTS..., or --sweep FROM:TO:STEP")
    if args.sweep is not None and args.volts:
        raise UsageError("found both VOLTS and --sweep; accepted: one of them")
    if args.both_ways and args.sweep is None:
        raise UsageError("found --both-ways alone; accepted: together with --sweep FROM:TO:STEP")
    control = table_in(args.design)
    return _sweep(args, control) if args.sweep is not None else _points(args, control)


def _points(args: argparse.Namespace, control: ControlTable) -> Reply:
    line = line_of(control)
    found = [at(line, volts) for volts in args.volts]
    points = [answers.at_point(control, answer) for answer in found]

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return cautioned(screen.at(control, found))

    answer: answers.Json = points[0] if len(points) == 1 else {"points": points}
    return Reply(answer | {"caution": CAUTION}, draw)


def _sweep(args: argparse.Namespace, control: ControlTable) -> Reply:
    line = line_of(control)
    found = [at(line, volts) for volts in args.sweep]
    first = "rising" if args.sweep[0] <= args.sweep[-1] else "falling"
    passes: list[tuple[str, list[Answer]]] = [(first, found)]
    if args.both_ways:
        passes.append(("falling" if first == "rising" else "rising", found[::-1]))

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return cautioned(screen.sweep(control, passes))

    points = [
        answers.at_point(control, answer) | {"direction": course} for course, inputs in passes for answer in inputs
    ]
    return Reply({"points": points, "caution": CAUTION}, draw)


def faults(args: argparse.Namespace) -> Reply:
    """What each single fault does in each band."""
    from tapplan.checks.faulted import fault_table, never_survived

    reviewed = review_in(args.design)
    rows = fault_table(reviewed)
    never = never_survived(rows)

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return cautioned(screen.faults(reviewed.table, rows, never))

    return Reply(answers.faults(rows, never) | {"caution": CAUTION}, draw)


def fit(args: argparse.Namespace) -> Reply:
    """Plans for a mains range, best first; with --pick one of them as a design file. 1 when there is none."""
    from tapplan.cli.watching import watched
    from tapplan.design.file import load_request
    from tapplan.pages import fits
    from tapplan.study.fitting import How, fitted
    from tapplan.study.request import request_of
    from tapplan.study.weights import load_weights

    asked, wanted = load_request(args.design)
    weights = () if args.weights is None else load_weights(args.weights, asked.mains.span)
    request = request_of(asked, wanted, weights)
    if args.objective is not None:
        request = replace(request, objective=args.objective)
    with watched(args.seconds) as (state, tell):
        found = fitted(request, How(state.stop, tell, args.to_the_end))
    if args.pick is not None:
        return _picked(args, (asked, found))

    def draw(width: int) -> RenderableType:
        from tapplan.pages import fit_screen

        return fit_screen.plans(asked.title, found, width)

    return Reply(fits.plans(found), draw, int(not found.plans))


def _picked(args: argparse.Namespace, answer: tuple[Design, Fitted]) -> Reply:
    """One plan as a design file, shown or written."""
    from tapplan.pages import fits
    from tapplan.study.written import designed, text_of

    asked, found = answer
    if args.pick > len(found.plans):
        accepted = f"a plan from 1 to {len(found.plans)}" if found.plans else "nothing, for no plan meets the request"
        raise UsageError(f"found --pick {args.pick}; accepted: {accepted}")
    plan = found.plans[args.pick - 1]
    text = text_of(read_text(args.design), designed(asked, found.request, plan), plan, args.design)
    parse(text, args.design)  # never write what does not read
    if args.output is None:
        return Reply(fits.plans(found) | {"picked": args.pick, "text": text}, lambda _: text)
    write_whole(args.output, text, force=args.force)
    told = fits.plans(found) | {"picked": args.pick, "written": args.output}
    return Reply(told, lambda _: f"wrote plan {args.pick} into {args.output}", written=True)


def rate(args: argparse.Namespace) -> Reply:
    """What copper, iron and contacts carry; 1 when a limit of the file is broken."""
    from tapplan.checks import rules
    from tapplan.checks.witnesses.moving import OpenLine
    from tapplan.pages import ratings as answer
    from tapplan.rating.rated import ratings

    reviewed = review_in(args.design)
    found = ratings(reviewed.table)
    broken = rules.findings_in(reviewed, rules.RATED)
    flights = [one.witness for one in rules.findings_in(reviewed, ["flight-inrush"])]
    factor = next((float(one.factor) for one in flights if isinstance(one, OpenLine)), None)

    def draw(_: int) -> RenderableType:
        from rich.console import Group

        from tapplan.pages import rating_screen, screen

        told = [screen.findings(broken, heading="Limits")] if broken else []
        return cautioned(Group(rating_screen.ratings(found, factor), *told))

    return Reply(answer.ratings(found, factor) | answers.findings(broken) | {"caution": CAUTION}, draw, _code(broken))


def margins(args: argparse.Namespace) -> Reply:
    """The proof under tolerance, with the error budget of a [controller]; exit 1 when a promise is broken."""
    from tapplan.checks import margins as proof
    from tapplan.checks import rules
    from tapplan.checks.growths import growths
    from tapplan.pages import proofs

    if args.seed is not None and args.samples is None:
        raise UsageError("found --seed alone; accepted: together with --samples N")
    reviewed = review_in(args.design)
    found, shared, grown = proof.margins(reviewed), proof.sharings(reviewed), growths(reviewed)
    broken = [one for one in rules.findings_in(reviewed, rules.PROMISES) if one.severity is Severity.FAULT]
    answer = proofs.margins(found, shared, grown) | answers.findings(broken)
    more: list[Callable[[], RenderableType]] = []
    if reviewed.design.controller is not None:
        _add_budget(reviewed, answer, more)
    if args.samples is not None:
        _add_samples(reviewed, (args.samples, 1 if args.seed is None else args.seed), answer, more)

    def draw(width: int) -> RenderableType:
        from rich.console import Group

        from tapplan.pages import proof_screen, screen

        told = [screen.findings(broken, heading="\nPromises broken")] if broken else []
        return Group(proof_screen.margins(reviewed, (found, shared, grown), width), *(part() for part in more), *told)

    return Reply(answer, draw, _code(broken))


def _add_budget(reviewed: Review, answer: answers.Json, more: list[Callable[[], RenderableType]]) -> None:
    from tapplan.checks.budget import budget
    from tapplan.control.counts import converter, counted_holds, counts_between
    from tapplan.pages import proofs

    controller = reviewed.design.controller
    if controller is None:
        return
    found, reading = budget(reviewed.table, controller), converter(reviewed.design, controller)
    holds = counted_holds(reviewed.table, reading)
    left = [counts_between(below, above, reading) for below, above in pairwise(holds)]
    backup = reviewed.design.backup
    back = None if backup is None else (reading.lower(backup.return_v[0]), reading.upper(backup.return_v[1]))
    counted: proofs.Counted = (reading, holds, left, back)
    answer |= proofs.budget(found, counted)

    def drawn() -> RenderableType:
        from tapplan.pages import proof_screen

        return proof_screen.budget(found, counted)

    more.append(drawn)


def _add_samples(
    reviewed: Review, wanted: tuple[int, int], answer: answers.Json, more: list[Callable[[], RenderableType]]
) -> None:
    from tapplan.checks.samples import samples
    from tapplan.pages import proofs

    found = samples(reviewed, *wanted)
    answer |= proofs.samples(found)

    def drawn() -> RenderableType:
        from tapplan.pages import proof_screen

        return proof_screen.samples(found)

    more.append(drawn)


def steps(args: argparse.Namespace) -> Reply:
    """Every sudden step against a tolerance curve."""
    from tapplan.checks.advice import tried_cure
    from tapplan.checks.recovery import curve_of, verdicts, worst_each
    from tapplan.design.standards import CURVES, curve
    from tapplan.pages import proofs

    reviewed = review_in(args.design)
    asked = curve(args.curve) if args.curve is not None else curve_of(reviewed)
    if asked is None:
        known = [one.key for one in CURVES]
        hint = nearest(args.curve, known)
        raise UsageError(f'found curve "{args.curve}"; accepted: {", ".join(known)}' + (f" ({hint})" if hint else ""))
    found = worst_each(verdicts(reviewed, asked))
    sides = dict.fromkeys(one.side for one in found)
    left = {one.side for one in found if not one.kept}
    cures = {side: tried_cure(reviewed, asked, side) if side in left else None for side in sides}
    stated = reviewed.design.output.tolerance_curve == asked.key
    unheld = bool(coverage_gaps(reviewed))

    def draw(width: int) -> RenderableType:
        from tapplan.pages import proof_screen

        shown = proof_screen.steps(reviewed, found, cures, width)
        return proof_screen.unfollowed(shown) if unheld else shown

    code = int(stated and any(not one.kept for one in found))
    return Reply(proofs.steps(reviewed, found, cures) | {"unheld_inputs": unheld}, draw, code)


def moves(args: argparse.Namespace) -> Reply:
    """Every move of the relays with its mixtures and its safest order."""
    from tapplan.checks.flight import flights_of
    from tapplan.pages import proofs

    reviewed = review_in(args.design)
    found = flights_of(reviewed)

    def draw(_: int) -> RenderableType:
        from tapplan.pages import proof_screen

        return proof_screen.moves(reviewed, found)

    return Reply(proofs.moves(found), draw)


def compare(args: argparse.Namespace) -> Reply:
    """Two revisions, difference by difference; 1 when anything got worse."""
    from tapplan.checks.comparison import compared_reviews
    from tapplan.pages import proofs

    found = compared_reviews(review_in(args.design), review_in(args.new))

    def draw(_: int) -> RenderableType:
        from tapplan.pages import proof_screen

        return proof_screen.compared(found, (args.design, args.new))

    return Reply({"new": args.new} | proofs.compared(found), draw, int(found.worse))


def standards(_: argparse.Namespace) -> Reply:
    """The published supplies and curves."""

    def draw(_: int) -> RenderableType:
        from tapplan.pages import screen

        return screen.standards()

    return Reply(answers.standards(), draw)


def schema(_: argparse.Namespace) -> Reply:
    """The JSON Schema of the design file; the same on the screen and for scripts."""
    from tapplan.design.schema import json_schema

    found = json_schema()
    return Reply({"schema": found}, lambda _: json.dumps(found, indent=2) + "\n")


def isolate(args: argparse.Namespace) -> Reply:
    """From readings to faults, and the next measurement."""
    from tapplan.cli.bench import isolate as answer

    return answer(args)


def bench(args: argparse.Namespace) -> Reply:
    """The test sheet of a design, or the wiring from readings of continuity and ratio."""
    from tapplan.cli.bench import bench as answer

    return answer(args)


def export(args: argparse.Namespace) -> Reply:
    """The table in a form that something else takes."""
    from tapplan.cli.export import export as answer

    return answer(args)


def report(args: argparse.Namespace) -> Reply:
    """One page with everything."""
    from tapplan.cli.export import report as answer

    return answer(args)


VERBS: dict[str, Callable[[argparse.Namespace], Reply]] = {
    "new": new,
    "states": states,
    "bands": bands,
    "table": table,
    "check": check,
    "at": at_volts,
    "faults": faults,
    "bench": bench,
    "isolate": isolate,
    "fit": fit,
    "rate": rate,
    "margins": margins,
    "steps": steps,
    "moves": moves,
    "compare": compare,
    "report": report,
    "export": export,
    "standards": standards,
    "schema": schema,
}
