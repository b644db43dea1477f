"""The topic `findings`, made from the list of rules, the remedies, and examples that are run."""

from __future__ import annotations

from collections.abc import Iterator

from tapplan.checks.judgement import FIGURES
from tapplan.checks.remedies import REMEDIES
from tapplan.checks.rules import CODES
from tests.guide.examples import EXAMPLES, WITHOUT_EXAMPLE, Change, Example

STATE = "fault where a band, the backup or a feed uses it, else note"

PLAIN = {
    "fault": """
        uncovered-range dead-zone out-of-window wrong-way blind-reading stranded chatter hunting backup-cycling
        lost-in-counts converter-range backfeed feed-out-of-window load-collapse contact-overload make-overload
        coil-starved fuse-overload
    """,
    "warning": """
        thin-hysteresis few-counts hot cutout-trips fuse-blind unreachable-band race-unexamined step-through
        flight-in-reading inrush-retrip loose-end race-overvoltage race-dip dropout-unsafe move-gap flight-inrush
        stuck-short stuck-overvoltage
    """,
    "note": "ripple-in-reading ambiguous-start holds-beyond-range duplicate-state stale-accept idle-relay",
    STATE: "shorted-state floating-state unfed-state dead-state reversed-state undetermined-state",
}

# How grave each code is; a test holds it against the defects seeded in the tests of the rules.
SEVERITIES = {
    **{code: severity for severity, codes in PLAIN.items() for code in codes.split()},
    "error-budget": "warning; fault when the root of squares is above error_pct too",
    "over-flux": "fault in a band or a feed; warning where only a sudden step leads there",
    "over-current": "fault where the file states the density, else warning",
    "charger-reach": "fault where it never makes float, else warning",
    "over-load": "fault where the file states what limits it, else warning",
    "window-full": "fault where the file states the share, or nothing fits; else warning",
    "unsafe-rest": "note; warning above the window; fault where rest shorts turns",
    "race-short": "warning; fault where every order does",
    "slow-recovery": "warning; fault where the file names the `tolerance_curve`",
}

OPENING = """\
# Findings: every code of `check`

What each code means, why it matters, how to mend it, and an example that shows
it.

A *fault* makes `check` exit with 1. A *warning* is worth a look, a *note* is
good to know; `[[accept]]` sets either apart, with a reason. A *trait* is what
every relay stage has: it is shown as a figure, not as a finding, unless the
file states a limit that it breaks or a better choice is known.
`tapplan check DESIGN --explain CODE` tells the same of one design,
`--only CODE` shows every row, traits as well. The codes stand in their order of
importance.

Each example is a shipped design with the lines changed that stand beside it
(`-` away, `+` added), and the sentence that came out.
"""


def findings_topic() -> str:
    """The whole topic."""
    examples = {one.code: one for one in EXAMPLES}
    return "\n".join([OPENING, *("".join(_section(code, examples.get(code))) for code in CODES)])


def _section(code: str, example: Example | None) -> Iterator[str]:
    remedy, meaning = REMEDIES[code], CODES[code].partition("; a fault when")[0]
    trait = f" Trait, more in `tapplan {FIGURES[code].verb}`." if code in FIGURES else ""
    yield f"## {code}\n\n*{SEVERITIES[code].capitalize()}.*{trait} {meaning[0].upper()}{meaning[1:]}.\n\n"
    yield f"- Why it matters: {remedy.why}\n- To mend it: {remedy.mend}\n\n"
    if example is None:
        yield f"No example: {WITHOUT_EXAMPLE[code]}\n"
        return
    found = example.finding
    lines = [*_changed(example.changes), *(f"+{line}" for line in example.added.strip("\n").splitlines())]
    file = f"`designs/{example.design}.toml`"
    if lines:
        yield f"In {file}:\n\n```diff\n" + "\n".join(lines) + "\n```\n\n"
    else:
        yield f"In {file} as it stands:\n\n"
    yield f"> {found.severity}, {found.where}: {found.told}\n"


def _changed(changes: tuple[Change, ...]) -> Iterator[str]:
    """The lines of each change: what stays with a blank before it, else with a minus or a plus."""
    for old, new in changes:
        before, after = old.strip("\n").splitlines(), new.strip("\n").splitlines()
        yield from (f"{' ' if line in after else '-'}{line}" for line in before)
        yield from (f"+{line}" for line in after if line not in before)
