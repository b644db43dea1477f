"""Wiring that is legal but odd, on a stage of one winding: what one contact alone touches, what nobody drives."""

from __future__ import annotations

from typing import Any

from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.wiring import idle_relays, loose_ends
from tests.checks.test_rules import BANDS, sound
from tests.examples import PAIR, TAPPED


def loose(**links: Any) -> list[tuple[str, tuple[str, ...]]]:
    found = list(loose_ends(review(sound(links={**PAIR, **links}))))
    assert {one.severity for one in found} <= {Severity.WARNING}
    assert {one.code for one in found} <= {"loose-end"}
    return [(one.where, one.witness.points) for one in found]


def idle(bands: list[Any] = BANDS, **links: Any) -> list[tuple[str, tuple[str, ...] | None]]:
    found = list(idle_relays(review(sound(links={**PAIR, **links}, bands=bands))))
    assert {one.severity for one in found} <= {Severity.NOTE}
    assert all(one.witness.energised == (one.where.split('"')[1],) for one in found)
    return [(one.where, getattr(one.witness, "points", None)) for one in found]


def test_a_throw_on_a_point_of_its_own_is_loose() -> None:
    assert loose() == []
    assert loose(KX=("A", "LOOSE", "B")) == [("KX.nc", ("LOOSE",))]
    assert loose(KX=("A", "ONE", "OTHER")) == [("KX.nc", ("ONE",)), ("KX.no", ("OTHER",))]


def test_a_common_is_one_touch_however_many_throws_it_has() -> None:
    assert loose(KX=("FREE", "A", "B")) == [("KX, its common", ("FREE",))]
    assert loose(KX=("FREE", "A", None)) == [("KX, its common", ("FREE",))]


def test_commons_come_after_throws_and_every_pole_has_its_own() -> None:
    assert loose(KX=[("FREE", "A", "B"), ("LOST", "B", "END")], KY=("GONE", "A", "B")) == [
        ("KX.2.no", ("END",)),
        ("KX, its common", ("FREE",)),
        ("KX, its common", ("LOST",)),
        ("KY, its common", ("GONE",)),
    ]


def test_two_contacts_on_one_point_lead_somewhere() -> None:
    assert loose(KX=("FREE", "A", "B"), KY=("FREE", "B", "C")) == []
    assert loose(KX=("A", "MET", None), KY=("B", "MET", None)) == []
    assert loose(KX=[("FREE", "A", "B"), ("FREE", "B", "C")]) == []


def test_terminals_and_ends_of_windings_are_no_loose_ends() -> None:
    """The common on the line, throws on the free end of a winding of its own, and that winding's other end."""
    sections = (*TAPPED, ("aux", "S1", "S2", 10))
    links = {**PAIR, "KX": ("LINE", None, "S1")}
    assert list(loose_ends(review(sound(sections=sections, links=links)))) == []


def test_a_relay_that_no_band_drives_is_idle_where_there_are_several() -> None:
    """In a table of one band every relay stays as it is."""
    assert idle() == []
    assert idle(KX=("A", "B", None)) == [('relay "KX"', None)]
    assert idle(BANDS[1:2]) == []
    assert idle(BANDS[1:2], KX=("A", "B", None)) == []
    assert idle(BANDS[:2]) == [('relay "KL"', None)]  # KO is driven in boost 2
    assert idle(BANDS[1:]) == []


def test_a_changeover_between_one_point_and_itself_is_idle_though_it_is_driven() -> None:
    driven = [(name, [*energised, "KX"], low, high) for name, energised, low, high in BANDS]
    assert idle(driven, KX=("LINE", "S", "S")) == [('relay "KX"', ("S",))]
    assert idle(driven, KX=("LINE", "S", None)) == []
    assert idle(driven, KX=[("LINE", "S", "T"), ("OUT", "T", "T"), ("X", "S", "S")]) == [
        ('relay "KX"', ("T",)),
        ('relay "KX"', ("S",)),
    ]
    assert idle(KX=("LINE", "S", "S")) == [('relay "KX"', None), ('relay "KX"', ("S",))]
