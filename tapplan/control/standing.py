"""Where the controller stands, in a row of the table or in none; and a change from one such place to another."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Out(Enum):
    """No row in force: `AWAY`, the relays as the backup has them or at rest, or `REST`, every coil without volts."""

    AWAY = "away"
    REST = "at rest"


@dataclass(frozen=True, slots=True, order=True)
class InRow:
    """A row in force, by its number in the table, counted from 0 in order of rising input."""

    number: int


Standing = InRow | Out
AWAY, REST = Out.AWAY, Out.REST


@dataclass(frozen=True, slots=True)
class Change:
    """From one standing to another."""

    start: Standing
    end: Standing
