"""The door for notebooks and scripts: a stage loaded from a file, and its answers as rows that show themselves.

stage = tapplan.load("design.toml")
stage.table()            # rows, shown as a table in a notebook
stage.check().frame()    # a pandas or polars frame, where one of them is installed
stage.curve()            # a picture
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from html import escape
from importlib import import_module
from os import PathLike
from typing import TYPE_CHECKING, Any

from tapplan.design.model import Design
from tapplan.errors import UsageError

if TYPE_CHECKING:
    from tapplan.checks.review import Review

Value = str | int | float | bool | None


class Rows(tuple[Mapping[str, Value], ...]):
    """Answers as mappings from column to value, in order; a tuple that a notebook shows as a table."""

    __slots__ = ()

    def frame(self) -> Any:
        """A pandas frame, or a polars one where pandas is not installed.

        Raises:
            UsageError: neither is installed.
        """
        for name in ("pandas", "polars"):
            try:
                library = import_module(name)
            except ImportError:
                continue
            return library.DataFrame([dict(row) for row in self])
        raise UsageError("found neither pandas nor polars; accepted: one of them installed, for a frame")

    def _repr_html_(self) -> str:
        if not self:
            return "<p>nothing</p>"
        heads = "".join(f"<th>{escape(str(head))}</th>" for head in self[0])
        body = "".join(
            "<tr>" + "".join(f"<td>{escape(_told(value))}</td>" for value in row.values()) + "</tr>" for row in self
        )
        return f"<table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"


def _inlet(volts: float | str | Fraction) -> Fraction:
    """A line voltage, exact.

    Raises:
        UsageError: it is no number, or below nought.
    """
    try:
        inlet = volts if isinstance(volts, Fraction) else Fraction(str(volts))
    except (ValueError, ZeroDivisionError):
        raise UsageError(f"found {volts!r} as volts; accepted: a number from 0 to 1e9, such as 203.5") from None
    if not 0 <= inlet <= 10**9:
        raise UsageError(f"found {volts!r} as volts; accepted: a number from 0 to 1e9, such as 203.5")
    return inlet


def _told(value: Value) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as SVG text; a notebook shows it."""

    svg: str

    def _repr_svg_(self) -> str:
        return self.svg


class Stage:
    """A design with what can be asked of it. `design` is the design itself, `review` what the checks read."""

    def __init__(self, design: Design) -> None:
        self.design = design

    @cached_property
    def review(self) -> Review:
        """The control table and what is worked out once for all checks."""
        from tapplan.checks.review import review

        return review(self.design)

    def states(self) -> Rows:
        """Every relay state: relays driven, kind, exact ratio as text and as a number, path.

        Raises:
            UsageError: more relays than states can be listed of one by one.
        """
        from tapplan.network.circuit import circuit_of
        from tapplan.network.paths import way
        from tapplan.network.states import MOST_RELAYS_EACH, each_state

        circuit = circuit_of(self.design)
        if len(circuit.relays) > MOST_RELAYS_EACH:
            raise UsageError(f"found {len(circuit.relays)} relays; accepted: up to {MOST_RELAYS_EACH} state by state")
        rows = []
        for state in each_state(circuit):
            found = way(circuit, circuit.state(state.energised)) if state.ratio is not None else None
            rows.append(
                {
                    "energised": "+".join(state.energised),
                    "kind": state.kind.value,
                    **_ratio(state.ratio),
                    "path": "" if found is None else " ".join(found.steps),
                }
            )
        return Rows(rows)

    def table(self) -> Rows:
        """The truth table: a row a band, in order of rising input; volts as numbers."""
        table = self.review.table
        return Rows(
            {
                "band": row.name,
                "energised": "+".join(row.energised),
                **_ratio(row.ratio),
                **_ends("hold", row.hold),
                **_ends("output", table.output_nominal(row)),
                **_ends("worst", table.output_worst(row)),
            }
            for row in table.rows
        )

    def check(self, codes: Iterable[str] | None = None) -> Rows:
        """What should be mended, or every row of some codes; `check` of the command line says the same.

        Raises:
            UsageError: a code that there is not, or codes given as one text.
        """
        from tapplan.checks.judgement import judged
        from tapplan.checks.rules import CODES, findings_in

        if codes is None:
            found = list(judged(self.review).findings)
        else:
            wanted = [codes] if isinstance(codes, str) else list(codes)
            unknown = [code for code in wanted if code not in CODES]
            if isinstance(codes, str) or unknown:
                raise UsageError(f"found {codes!r}; accepted: a list of codes, such as ['dead-zone']")
            found = findings_in(self.review, wanted)
        return Rows(
            {"severity": one.severity.value, "code": one.code, "where": one.where, "message": one.told}
            for one in found
        )

    def verdict(self) -> str:
        """The verdict in a sentence."""
        from tapplan.checks.judgement import judged

        return judged(self.review).told

    def at(self, volts: float | str | Fraction) -> Rows:
        """The bands in force at a line voltage, by how the line got there; empty outside all bands."""
        from tapplan.control.lookup import at, in_force, line_of

        inlet = _inlet(volts)
        table = self.review.table
        found = [(one.row, one.when) for one in in_force(table, at(line_of(table), inlet)) if one.row is not None]
        return Rows(
            {
                "band": row.name,
                "when": ", ".join(when),
                "energised": "+".join(row.energised),
                "output_v": None if row.ratio is None else float(row.ratio * inlet),
            }
            for row, when in found
        )

    def schematic(self, energised: Iterable[str] = ()) -> Picture:
        """The schematic with these relays driven."""
        from tapplan.pictures.schematic import schematic
        from tapplan.pictures.style import svg

        circuit, driven = self.review.circuit, tuple(energised)
        unknown = [relay for relay in driven if relay not in circuit.relays]
        if isinstance(energised, str) or unknown:
            raise UsageError(f"found {energised!r}; accepted: a list of relays among {', '.join(circuit.relays)}")
        return Picture(svg(schematic(circuit, circuit.state(driven)), f"schematic: {self.design.title}"))

    def curve(self) -> Picture:
        """Output against input."""
        from tapplan.pages.report import gap_spans
        from tapplan.pictures.curve import curve
        from tapplan.pictures.style import svg

        return Picture(svg(curve(self.review.table, gap_spans(self.review)), f"curve: {self.design.title}"))

    def report(self) -> str:
        """The self-contained page, as text."""
        from tapplan.checks.judgement import judged
        from tapplan.pages.report import report

        return report(self.review, judged(self.review))

    def __repr__(self) -> str:
        return f"Stage({self.design.title!r})"

    def _repr_html_(self) -> str:
        return f"<p><b>{escape(self.design.title)}</b></p>{self.table()._repr_html_()}"


def load(path: str | PathLike[str]) -> Stage:
    """The stage in a design file.

    Raises:
        DesignError: the file cannot be read or means nothing; carries every problem found.
    """
    from tapplan.design.file import load as load_design

    return Stage(load_design(str(path)))


def _ratio(ratio: Fraction | None) -> dict[str, Value]:
    return {"ratio": None if ratio is None else str(ratio), "ratio_float": None if ratio is None else float(ratio)}


def _ends(name: str, span: Any) -> dict[str, Value]:
    ends = (None, None) if span is None else (float(span.low), float(span.high))
    return {f"{name}_low_v": ends[0], f"{name}_high_v": ends[1]}
