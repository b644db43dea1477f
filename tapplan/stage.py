"""The door for notebooks and scripts: a stage loaded from a file, and the answers of all verbs as values.

stage = tapplan.load("design.toml")
stage.table()            # an answer: a notebook shows it as a table
stage.table().bands      # its rows, frozen values
stage.check().frame()    # a pandas or polars frame, where one of them is installed
stage.curve()            # a picture
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from html import escape
from os import PathLike
from typing import TYPE_CHECKING

from tapplan.design.model import Design
from tapplan.design.numbers import MOST_SAMPLES, MOST_SEED
from tapplan.errors import UsageError

if TYPE_CHECKING:
    from tapplan.answers.at import Relays
    from tapplan.answers.bands import Bands
    from tapplan.answers.compare import Compared
    from tapplan.answers.faults import Faults
    from tapplan.answers.findings import Explained, Findings
    from tapplan.answers.fit import Plans
    from tapplan.answers.isolate import Isolated
    from tapplan.answers.margins import Margins
    from tapplan.answers.moves import Moves
    from tapplan.answers.rate import Rated
    from tapplan.answers.replay import Replay
    from tapplan.answers.sheet import BenchSheet
    from tapplan.answers.states import States
    from tapplan.answers.steps import Steps
    from tapplan.answers.table import TruthTable
    from tapplan.answers.verdict import Verdict
    from tapplan.answers.winding import WindingSheet
    from tapplan.checks.review import Review
    from tapplan.logs.form import LogForm

Volts = float | str | Fraction


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as SVG text; a notebook shows it."""

    svg: str

    def _repr_svg_(self) -> str:
        return self.svg


class Stage:
    """A design with what can be asked of it. `design` is the design itself, `review` what the checks read.

    A method that has the name of a verb answers what that answers, and refuses what it refuses; the others are parts
    of one: `groups` of states, `findings` and `explain` of check.
    """

    def __init__(self, design: Design) -> None:
        self.design = design

    @cached_property
    def review(self) -> Review:
        """The control table and what is worked out once for all checks."""
        from tapplan.checks.review import review

        return review(self.design)

    def states(self) -> States:
        """Every relay state.

        Raises:
            UsageError: more relays than states can be listed of one by one.
        """
        from tapplan.answers.states import states_of

        return states_of(self.design)

    def groups(self) -> States:
        """One row a distinct circuit, for many relays."""
        from tapplan.answers.states import groups_of

        return groups_of(self.design)

    def bands(self) -> Bands:
        """The bands that tapplan would choose, with the room between neighbours."""
        from tapplan.answers.bands import bands_of, derived

        return bands_of(derived(self.design))

    def table(self) -> TruthTable:
        """The truth table and its coverage gaps."""
        from tapplan.answers.table import truth_table

        return truth_table(self.review)

    def check(self) -> Verdict:
        """The verdict: promises, findings, traits.

        Raises:
            TableError: the design accepts a code that there is not.
        """
        from tapplan.answers.verdict import verdict

        return verdict(self.review)

    def findings(self, codes: Iterable[str]) -> Findings:
        """Every finding of some codes, row by row.

        Raises:
            UsageError: a code that there is not, or codes given as one text.
        """
        from tapplan.answers.findings import findings_of

        return findings_of(self.review, codes)

    def explain(self, code: str) -> Explained:
        """What a code means, why it matters, how to mend it, and where it is found.

        Raises:
            UsageError: there is no such code.
        """
        from tapplan.answers.findings import explained

        return explained(self.review, code)

    def at(self, *volts: Volts) -> Relays:
        """The bands in force at line voltages, by how the line got there.

        Raises:
            UsageError: no voltage, or one that is no number from 0 to 1e9.
        """
        from tapplan.answers.at import relays_at

        if not volts:
            raise UsageError("found no voltage; accepted: at least one, such as at(203.5)")
        return relays_at(self.review.table, [_inlet(one) for one in volts])

    def faults(self) -> Faults:
        """What each single fault does in each band."""
        from tapplan.answers.faults import faults

        return faults(self.review)

    def rate(self) -> Rated:
        """What copper, iron and contacts carry at worst."""
        from tapplan.answers.rate import rated

        return rated(self.review)

    def margins(self, samples: int = 0, seed: int = 1) -> Margins:
        """The proof under tolerance; with `samples`, so many random draws beside it.

        Raises:
            UsageError: a number of samples or a seed that cannot be.
        """
        from tapplan.answers.margins import margins, with_samples

        _keep_draws(samples, seed)
        found = margins(self.review)
        return with_samples(found, self.review, samples, seed) if samples else found

    def steps(self, against: str | None = None) -> Steps:
        """Every sudden step against a tolerance curve: the one named, else the file's, else the usual one.

        Raises:
            UsageError: there is no such curve.
        """
        from tapplan.answers.steps import steps

        return steps(self.review, against)

    def moves(self) -> Moves:
        """Every move of the relays, and the safest order."""
        from tapplan.answers.moves import moves

        return moves(self.review)

    def compare(self, older: Stage) -> Compared:
        """What changed since an older revision."""
        from tapplan.answers.compare import compared

        return compared(older.review, self.review)

    def replay(
        self, *logs: str | PathLike[str], form: LogForm | None = None, max_gap_s: Volts | None = None
    ) -> Replay:
        """What logs of measured mains make the controller do; several are sites of their own.

        Raises:
            UsageError: no log.
            LogError: a log cannot be read, or what is meant in it cannot be told.
        """
        from tapplan.answers.replay import replayed_here
        from tapplan.logs.form import LogForm
        from tapplan.logs.sources import logs_in

        if not logs:
            raise UsageError("found no log; accepted: at least one, such as replay('feeder.csv')")
        gap = None if max_gap_s is None else _inlet(max_gap_s)
        return replayed_here(self.review.table, logs_in([str(one) for one in logs], form or LogForm()), gap)

    def bench(self) -> BenchSheet:
        """The test sheet, for the meter that the verb takes when none is stated."""
        from tapplan.answers.sheet import bench_sheet
        from tapplan.bench.meter import Meter

        return bench_sheet(self.review.table, Meter())

    def winding(self) -> WindingSheet:
        """The sheet for the winder, of a design whose layers are known.

        Raises:
            UsageError: they are not, and what is missing.
        """
        from tapplan.answers.winding import winding_sheet

        return winding_sheet(self.review.table)

    def isolate(self, readings: Iterable[str] = ()) -> Isolated:
        """What readings say, written as `--reading` takes them, and the next measurement.

        Raises:
            UsageError: one text in place of several.
            ReadingError: a reading that means nothing.
        """
        from tapplan.answers.isolate import isolated
        from tapplan.bench.isolation import Isolation
        from tapplan.bench.phrase import Names
        from tapplan.bench.readings import reading_of

        table, told = self.review.table, _several(readings, "['line 200 V rising: output = 226']")
        isolation = Isolation(table)
        for one in told:
            isolation.add(reading_of(one, Names.of(table)))
        return isolated(isolation, self.design.title)

    def schematic(self, energised: Iterable[str] = ()) -> Picture:
        """The schematic with these relays driven.

        Raises:
            UsageError: a relay that there is not, or relays given as one text.
        """
        from tapplan.pictures.schematic import schematic
        from tapplan.pictures.style import svg

        circuit, driven = self.review.circuit, _several(energised, "a list of relays")
        unknown = [relay for relay in driven if relay not in circuit.relays]
        if unknown:
            raise UsageError(f"found relay {unknown[0]!r}; accepted: {', '.join(circuit.relays)}")
        return Picture(svg(schematic(circuit, circuit.state(driven)), f"schematic: {self.design.title}"))

    def coil(self) -> Picture:
        """The coil in its window, cut across; raises as `winding` does."""
        from tapplan.pictures.coil import coil_picture
        from tapplan.pictures.style import svg

        return Picture(svg(coil_picture(self.winding().coil), f"coil: {self.design.title}"))

    def curve(self) -> Picture:
        """Output against input, crosses where faults stand."""
        from tapplan.answers.findings import finding_rows
        from tapplan.checks.rules import findings_in
        from tapplan.pictures.curve import curve
        from tapplan.pictures.faultmarks import fault_marks
        from tapplan.pictures.style import svg

        marks = fault_marks(finding_rows(findings_in(self.review)))
        drawn = curve(self.review.table, self.table().gap_spans, marks=marks)
        return Picture(svg(drawn, f"curve: {self.design.title}"))

    def report(self) -> str:
        """The self-contained page, as text."""
        from tapplan.pages.report import report

        return report(self.review)

    def export(self, to: str) -> str:
        """The table in a form that something else takes: c, decisions, logic, spice, vectors, csv or markdown.

        Raises:
            UsageError: another form.
        """
        from tapplan.pages.exports import exported

        return exported(self.review.table, to)

    def __repr__(self) -> str:
        return f"Stage({self.design.title!r})"

    def _repr_html_(self) -> str:
        return self.table()._repr_html_()


def load(path: str | PathLike[str]) -> Stage:
    """The stage in a design file.

    Raises:
        DesignError: the file cannot be read or means nothing; carries every problem found.
    """
    from tapplan.design.file import load as load_design

    return Stage(load_design(str(path)))


def fit(path: str | PathLike[str]) -> Plans:
    """The plans that meet a request: a design file with [fit], without winding, relays and bands.

    Raises:
        DesignError: the file cannot be read or means nothing.
    """
    from tapplan.answers.fit import plans
    from tapplan.design.file import load_request
    from tapplan.study.cores import answered

    asked = load_request(str(path))
    return plans(answered(asked.design, asked.fit, ()), asked.design.title)


def _inlet(volts: Volts) -> Fraction:
    """A line voltage, exact."""
    refused = UsageError(f"found {volts!r} as volts; accepted: a number from 0 to 1e9, such as 203.5")
    try:
        inlet = volts if isinstance(volts, Fraction) else Fraction(str(volts))
    except (ValueError, ZeroDivisionError):
        raise refused from None
    if isinstance(volts, bool) or not 0 <= inlet <= 10**9:
        raise refused
    return inlet


def _keep_draws(samples: int, seed: int) -> None:
    if type(samples) is not int or not 0 <= samples <= MOST_SAMPLES:
        raise UsageError(f"found {samples!r} samples; accepted: a whole number up to {MOST_SAMPLES}")
    if type(seed) is not int or not 0 <= seed <= MOST_SEED:
        raise UsageError(f"found seed {seed!r}; accepted: a whole number from 0 to {MOST_SEED}")


def _several(words: Iterable[str], such_as: str) -> Sequence[str]:
    """Words given as a list, not as one text that would be taken letter by letter."""
    if isinstance(words, str):
        raise UsageError(f"found the text {escape(words)!r}; accepted: a list, such as {such_as}")
    return tuple(words)
