"""Faults of the reading: which rows they lead to, by hand."""

from __future__ import annotations

from fractions import Fraction

from tapplan.checks.faulted import FaultRow, fault_table
from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.control.misreading import MISREADINGS
from tapplan.design.model import Backup, Design
from tests.checks.test_margins import stage

F = Fraction


def rows(made: Design, fault: str) -> dict[str, FaultRow]:
    return {one.row.name: one for one in fault_table(review(made)) if one.fault.fault == fault}


def test_a_reading_ten_percent_low_keeps_boosts_too_long() -> None:
    """Direct should hold 212 to 240 V; read as 190.8 to 216 V: boost 2 may hold to 191/0.9 = 212.2 V, 273.8 V out."""
    direct = rows(stage(), "scaled-low")["direct"]
    assert direct.output is not None
    assert direct.output.high == F(129, 100) * 191 / F(9, 10)
    assert direct.energised == ("KO",)
    assert direct.severity is Severity.WARNING


def test_a_reading_ten_percent_high_lets_the_output_sag() -> None:
    """Boost 2 should hold 168 to 191 V; read as 184.8 to 210.1 V, boost 1 holds all but the lowest inputs."""
    boost = rows(stage(), "scaled-high")["boost 2"]
    assert boost.output is not None
    assert boost.output.low == F(227, 200) * (187 / F(11, 10))


def test_a_lost_reading_without_a_backup_ends_in_the_strongest_boost() -> None:
    for name, low, high in (("boost 2", 168, 191), ("boost 1", 187, 216), ("direct", 212, 240)):
        one = rows(stage(), "lost")[name]
        assert one.output is not None
        assert (one.output.low, one.output.high) == (F(129, 100) * low, F(129, 100) * high)
        assert one.energised == ("KO",)


def test_a_lost_reading_with_a_backup_leaves_the_mains() -> None:
    backup = Backup(leave_v=(F(164), F(244)), return_v=(F(172), F(240)), energised=("KL",))
    for one in rows(stage(backup=backup), "lost").values():
        assert one.output is None
        assert one.energised == ("KL",)
        assert one.away
        assert one.severity is Severity.NOTE


def test_a_frozen_reading_keeps_its_band_over_the_whole_range() -> None:
    one = rows(stage(), "frozen")["boost 2"]
    assert one.output is not None
    assert (one.output.low, one.output.high) == (F(129, 100) * 168, F(129, 100) * 240)


def test_overvoltages_of_the_reading_are_findings() -> None:
    found = {one.where: one for one in findings(stage()) if one.code == "stuck-overvoltage"}
    assert {f"reading {one.fault}" for one in MISREADINGS} - found.keys() == {"reading scaled-high"}
    witness = found["reading lost"].witness
    assert (witness.energised, witness.output_v) == (("KO",), F(129, 100) * 240)
    assert witness.input_v == 240
