"""Sentences about what the file itself says."""

from __future__ import annotations

from tapplan.checks.witnesses.file import NothingMet, PastLimit


def past_limit(one: PastLimit) -> str:
    """A trait beyond its limit."""
    value, limit = (f"{float(end):.4g} {one.unit}" for end in (one.value, one.limit))
    return f"{value}, {one.side} the limit of {limit} that [limits] states"


def nothing_met(_: NothingMet) -> str:
    """An acceptance that is stale."""
    return "no warning or note of this design is like that"
