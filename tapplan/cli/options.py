"""Options that mean nothing without another, or beside another: each verb says which, and such a call is refused."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass

from tapplan.errors import UsageError


@dataclass(frozen=True, slots=True)
class Needs:
    """An option that means something only beside another."""

    option: str
    other: str


@dataclass(frozen=True, slots=True)
class Excludes:
    """Two options that ask for different things."""

    option: str
    other: str


Law = Needs | Excludes


def keep(args: argparse.Namespace, laws: Iterable[Law]) -> None:
    """Refuses a call whose options do not go together, so that none is left out without a word.

    Raises:
        UsageError: two options exclude each other, or one lacks the other.
    """
    for law in laws:
        if not _given(args, law.option):
            continue
        there = _given(args, law.other)
        if isinstance(law, Needs) and not there:
            raise UsageError(f"found {law.option} alone; accepted: together with {law.other}")
        if isinstance(law, Excludes) and there:
            raise UsageError(f"found {law.option} with {law.other}; accepted: one of them")


def _given(args: argparse.Namespace, option: str) -> bool:
    """Whether the call has the option: with a value of its own, as "--format sarif", only that value counts."""
    name, _, wanted = option.partition(" ")
    value = getattr(args, name.removeprefix("--").replace("-", "_"))
    return value == wanted if wanted else value is not None and value is not False
