"""A mains voltage made up for demonstrations and tests: what `trace` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, number, volts, word
from tapplan.logs.recipe import Recipe, moment, told
from tapplan.logs.written import TraceTally


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeFile:
    """A file that holds a made trace; spoilt rows count among `bad`, not among the samples."""

    file: Annotated[str, word("file", whole=True)]
    seed: Annotated[int, number("seed")]
    samples: Annotated[int, number("samples")]
    bad: Annotated[int, number("spoilt rows")]
    bytes: Annotated[int, number("bytes")]
    least_v: Annotated[Fraction, volts("least")]
    mean_v: Annotated[Fraction, volts("mean", digits=2)]
    most_v: Annotated[Fraction, volts("most")]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeTrace(Answer):
    """One trace or several, all of them together; without a file, the trace itself as `text`."""

    heading = "Made up, not measured"

    title: str = ""
    kind: Annotated[str, word()]
    seed: Annotated[int, number()]
    made: Annotated[str, word()]
    samples: Annotated[int, number()]
    bad: Annotated[int, number()]
    begins: Annotated[str, word(key="from")]
    ends: Annotated[str, word(key="to")]
    least_v: Annotated[Fraction, volts()]
    mean_v: Annotated[Fraction, volts()]
    most_v: Annotated[Fraction, volts()]
    files: Annotated[tuple[MadeFile, ...], more()] = ()
    text: Annotated[str | None, word(optional=True)] = None

    @property
    def headline(self) -> str:
        """That it is made, and of what."""
        return f"{self.heading}: {self.made}"


def made_file(file: str, size: int, recipe: Recipe, tally: TraceTally) -> MadeFile:
    """A file of so many bytes, and what was written into it."""
    return MadeFile(
        file=file,
        seed=recipe.seed,
        samples=tally.samples,
        bad=tally.bad,
        bytes=size,
        least_v=tally.least_v,
        mean_v=tally.mean_v,
        most_v=tally.most_v,
    )


def made_trace(
    recipe: Recipe, tally: TraceTally, files: Sequence[MadeFile] = (), text: str | None = None
) -> MadeTrace:
    """A trace, or with several files as many of them, each of the next seed; the tally is that of all."""
    last = files[-1].seed if len(files) > 1 else None
    return MadeTrace(
        kind=recipe.kind,
        seed=recipe.seed,
        made=told(recipe, last),
        samples=tally.samples,
        bad=tally.bad,
        begins=moment(tally.first_us),
        ends=moment(tally.last_us),
        least_v=tally.least_v,
        mean_v=tally.mean_v,
        most_v=tally.most_v,
        files=tuple(files),
        text=text,
    )
