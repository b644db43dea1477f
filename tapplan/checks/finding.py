"""A finding: what the author of a design should know, with a witness that a person can compute again.

The sentences, and with them every kind of witness, are loaded when there is something found to be told.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapplan.checks.mends import Mend
    from tapplan.checks.witnesses.every import Witness


class Severity(StrEnum):
    """How bad a finding is; a fault makes `check` exit with 1."""

    FAULT = "fault"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: a code from the list of rules, a severity, a place, its witness, and what would mend it.

    All of it is data; the words are made of it in `sentences`, and nowhere else. `mend` was tried on the design; None
    where nothing is known. A witness of a type that its code does not have is a `TypeError`.
    """

    code: str
    severity: Severity
    where: str
    witness: Witness
    mend: Mend | None = None

    def __post_init__(self) -> None:
        from tapplan.checks.sentences import telling

        telling(self.code, self.witness)  # refused here and not when somebody reads it

    @property
    def message(self) -> str:
        """The witness in a sentence."""
        from tapplan.checks.sentences import sentence

        return sentence(self.code, self.witness)

    @property
    def advice(self) -> str:
        """The mend in words; empty where there is none."""
        if self.mend is None:
            return ""
        from tapplan.checks.sentences.mends import advice

        return advice(self.mend)

    @property
    def told(self) -> str:
        """The sentence, with the advice where there is any."""
        return f"{self.message}; {self.advice}" if self.mend is not None else self.message
