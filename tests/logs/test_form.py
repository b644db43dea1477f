"""How a log is to be read: what can be said, and what cannot."""

from __future__ import annotations

from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tapplan.errors import LogError
from tapplan.logs.form import LogForm


def test_nothing_said() -> None:
    form = LogForm()
    assert (form.volts, form.place(), form.parted_by) == (1, None, None)


@pytest.mark.parametrize(("unit", "volts"), [("mV", "23/1000"), ("V", "23"), ("kV", "23000")])
def test_volts_of_a_number_are_exact(unit: Any, volts: str) -> None:
    assert LogForm(unit=unit, scale=Fraction(23)).volts == Fraction(volts)
    assert LogForm(unit=unit, scale=Fraction("0.1")).volts == Fraction(volts) / 230


def test_marks_by_name() -> None:
    marks = [
        LogForm(delimiter=one).parted_by for one in ("tab", "Comma", "semicolon", "pipe", "blanks", "|", "\t", "~")
    ]
    assert marks == ["\t", ",", ";", "|", " ", "|", "\t", "~"]


def test_a_zone_by_name() -> None:
    assert LogForm(zone="Europe/Paris").place() == ZoneInfo("Europe/Paris")


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"unit": "MV"}, 'unit: found "MV"; accepted: mV, V, kV'),
        ({"scale": Fraction(0)}, "scale: found 0; accepted: a number above 0"),
        ({"scale": Fraction(-1, 2)}, "scale: found -1/2; accepted: a number above 0"),
        ({"epoch": "m"}, 'epoch: found "m"; accepted: s, ms, us, ns'),
        ({"dates": "year"}, 'dates: found "year"; accepted: day-first, month-first'),
        ({"decimal": ";"}, 'decimal: found ";"; accepted: ., ,'),
        (
            {"zone": "Mars/Olympus"},
            'zone: found "Mars/Olympus"; accepted: the IANA name of a zone, as "Europe/Paris"',
        ),
        ({"zone": "../etc"}, 'zone: found "../etc"; accepted: the IANA name of a zone, as "Europe/Paris"'),
        ({"zone": "Europe"}, 'zone: found "Europe"; accepted: the IANA name of a zone, as "Europe/Paris"'),
        ({"zone": ""}, 'zone: found ""; accepted: the IANA name of a zone, as "Europe/Paris"'),
        ({"step_us": 0}, "step: found 0 us; accepted: at least 1 us"),
        ({"step_us": 5, "time": "t"}, "step: found a column of times too; accepted: one of them"),
    ],
)
def test_what_cannot_be_meant(said: dict[str, Any], message: str) -> None:
    with pytest.raises(LogError) as refused:
        LogForm(**said)
    assert str(refused.value) == message


@pytest.mark.parametrize("mark", ["", "ab", '"', "5", "x", ".", ":", "-", "\n", "\0"])
def test_what_is_no_mark_between_cells(mark: str) -> None:
    with pytest.raises(LogError, match=r"delimiter: found .*; accepted: one character, or one of comma, semicolon"):
        LogForm(delimiter=mark)
