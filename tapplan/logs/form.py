"""How a log is to be read, as far as somebody says so; the rest is found out from the log itself, or asked for."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal
from zoneinfo import ZoneInfo

from tapplan.errors import LogError, escaped

Epoch = Literal["s", "ms", "us", "ns"]
DateOrder = Literal["day-first", "month-first"]
VoltUnit = Literal["mV", "V", "kV"]

VOLTS_OF = {"mV": Fraction(1, 1000), "V": Fraction(1), "kV": Fraction(1000)}
EPOCHS = ("s", "ms", "us", "ns")
DATE_ORDERS = ("day-first", "month-first")
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "blanks": " ", "blank": " "}


@dataclass(frozen=True, slots=True, kw_only=True)
class LogForm:
    """What is known of a log before it is opened; None where the log is to show it.

    `time` and `column` name the columns of times and of volts, or count them from 1; a time that stands in several
    columns is written with "+", as "Date+Time". `unit` is that of the numbers, V where nothing is said; `scale` is
    what they are multiplied by besides, as for a divider before the logger. `epoch` is the unit of times that are
    plain numbers, `dates` the order in 05/06/2024, `zone` the zone of times that do not say theirs. `step_us` is for
    a log without times: its samples are that many microseconds apart, the first at 0. `delimiter` is one character or
    a word of `DELIMITERS`.

    Raises:
        LogError: a value that none of these can have.
    """

    time: str | None = None
    column: str | None = None
    unit: VoltUnit | None = None
    scale: Fraction = Fraction(1)
    epoch: Epoch | None = None
    dates: DateOrder | None = None
    zone: str | None = None
    step_us: int | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None

    def __post_init__(self) -> None:
        _one_of("unit", self.unit, tuple(VOLTS_OF))
        _one_of("epoch", self.epoch, EPOCHS)
        _one_of("dates", self.dates, DATE_ORDERS)
        _one_of("decimal", self.decimal, (".", ","))
        _held(self.scale > 0, "scale", str(self.scale), "a number above 0")
        self._check_step()
        self._check_delimiter()
        self.place()

    @property
    def volts(self) -> Fraction:
        """Volts of a number 1 in the log."""
        return VOLTS_OF[self.unit or "V"] * self.scale

    @property
    def parted_by(self) -> str | None:
        """The character that parts the cells of a line; a blank stands for any run of blanks and tabs."""
        return None if self.delimiter is None else DELIMITERS.get(self.delimiter.casefold(), self.delimiter)

    def place(self) -> ZoneInfo | None:
        """The zone of times without one, or None.

        Raises:
            LogError: no zone has this name.
        """
        if self.zone is None:
            return None
        try:
            return ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError):  # an unknown name, an odd one, a folder of zones
            accepted = 'the IANA name of a zone, as "Europe/Paris"'
            raise LogError(f'zone: found "{escaped(self.zone)}"; accepted: {accepted}') from None

    def _check_step(self) -> None:
        if self.step_us is not None:
            _held(self.step_us > 0, "step", f"{self.step_us} us", "at least 1 us")
            _held(self.time is None, "step", "a column of times too", "one of them")

    def _check_delimiter(self) -> None:
        parted_by = self.parted_by
        fit = parted_by is None or (
            len(parted_by) == 1 and not parted_by.isalnum() and parted_by not in '"\r\n\0.+-:'
        )
        _held(
            fit,
            "delimiter",
            f'"{escaped(self.delimiter or "")}"',
            f"one character, or one of {', '.join(DELIMITERS)}",
        )


def _held(holds: bool, name: str, found: str, accepted: str) -> None:
    if not holds:
        raise LogError(f"{name}: found {found}; accepted: {accepted}")


def _one_of(name: str, value: str | None, known: tuple[str, ...]) -> None:
    _held(value is None or value in known, name, f'"{escaped(value or "")}"', ", ".join(known))
