"""Relays against their ratings, one contact or coil after the other put in: at the rating is not beyond it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.contacts import coil_starved, contact_overload, make_overload
from tapplan.checks.finding import Finding, Severity
from tapplan.design.model import CoilSupply, Relay
from tapplan.rating.contacts import ContactRating
from tapplan.rating.feeds import CoilsOn
from tapplan.rating.gaps import Gap
from tapplan.rating.service import At
from tests.checks.handmade import plain

F = Fraction
NOWHERE = Gap(None, None, known=True)
RELAY = Relay(name="K", com="X", nc="A", no="B")


def contact(label: str = "K.no", rated: dict[str, Any] | None = None, **measured: Any) -> ContactRating:
    """A contact that carries 12 A in boost at 200 V, holds off 300 V with all at rest, and makes onto 40 A."""
    shown: dict[str, Any] = {
        "amperes": 12.0,
        "at": At("boost", 200.0),
        "gap": Gap(300.0, "all relays at rest", known=True),
        "make_a": 40.0,
        "peak_a": None,
    }
    return ContactRating(label=label, relay=replace(RELAY, **(rated or {})), **(shown | measured))


def overloads(*contacts: ContactRating) -> list[Finding]:
    return list(contact_overload(replace(plain(), contacts=contacts)))


@pytest.mark.parametrize(("amperes", "told"), [(12.0, False), (11.9, True), (12.1, False)])
def test_what_a_contact_carries_against_its_rating(amperes: float, told: bool) -> None:
    found = overloads(contact("KL.nc", {"contact_a": F(str(amperes))}, gap=NOWHERE))
    assert [(one.severity, one.where) for one in found] == ([(Severity.FAULT, "KL.nc")] if told else [])
    if told:
        shown = found[0].witness
        assert (shown.bands, shown.input_v, shown.current_a, shown.limit_a) == (("boost",), 200, 12, F("11.9"))


@pytest.mark.parametrize("unknown", [{"at": None}, {"amperes": None}, {"at": None, "amperes": None}], ids=str)
def test_of_a_current_that_is_not_known_nothing_is_told(unknown: dict[str, Any]) -> None:
    assert overloads(contact(rated={"contact_a": F(1)}, gap=NOWHERE, **unknown)) == []


@pytest.mark.parametrize(("volts", "told"), [(300, False), (299, True), (301, False)])
def test_what_a_contact_holds_off_against_its_rating(volts: int, told: bool) -> None:
    found = overloads(contact(rated={"contact_v": F(volts)}))
    assert [(one.severity, one.where) for one in found] == ([(Severity.FAULT, "K.no")] if told else [])
    if told:
        shown = found[0].witness
        assert (shown.standing, shown.output_v, shown.limit_v) == ("all relays at rest", 300, 299)


@pytest.mark.parametrize("gap", [Gap(None, "backup", known=True), Gap(300.0, None, known=False), NOWHERE], ids=str)
def test_of_a_gap_that_is_not_known_nothing_is_told(gap: Gap) -> None:
    assert overloads(contact(rated={"contact_v": F(1)}, gap=gap)) == []


def test_both_faults_of_a_contact_are_told_contact_by_contact_and_none_without_a_rating() -> None:
    rated = {"contact_a": F(10), "contact_v": F(250)}
    found = overloads(contact("K.nc", rated), contact("L.nc"), contact("K.no", rated))
    assert [(one.where, type(one.witness).__name__) for one in found] == [
        ("K.nc", "ContactCurrent"),
        ("K.nc", "ContactGap"),
        ("K.no", "ContactCurrent"),
        ("K.no", "ContactGap"),
    ]


@pytest.mark.parametrize(
    ("rated", "make", "told"),
    [(40, 40.0, False), (39, 40.0, True), (41, 40.0, False), (39, None, False), (None, 40.0, False)],
)
def test_the_inrush_that_a_contact_makes(rated: int | None, make: float | None, told: bool) -> None:
    rating = {"contact_make_a": None if rated is None else F(rated)}
    found = list(make_overload(replace(plain(), contacts=(contact(), contact("L.no", rating, make_a=make)))))
    assert [(one.severity, one.where) for one in found] == ([(Severity.FAULT, "L.no")] if told else [])
    if told:
        assert (found[0].witness.current_a, found[0].witness.limit_a) == (40, 39)


def test_a_coil_is_starved_of_volts_or_of_power_and_what_is_not_known_is_left_open() -> None:
    """18 V needed and 17.5 there; 2 W there and 3 W wanted; in the second band all is well."""
    boost, direct, buck = (one.row for one in plain().bands)
    supply = CoilSupply(winding="aux", power_w=F(2))
    coils = (
        CoilsOn(boost, 17.5, 18.0, None, supply),
        CoilsOn(direct, 18.0, 18.0, 2.0, supply),
        CoilsOn(buck, 20.0, None, 3.0, supply),
    )
    low, weak = coil_starved(replace(plain(), coils=coils))
    assert [(one.severity, one.where) for one in (low, weak)] == [
        (Severity.FAULT, 'band "boost"'),
        (Severity.FAULT, 'band "buck"'),
    ]
    shown = low.witness
    assert (shown.bands, shown.energised, shown.output_v) == (("boost",), ("K",), F("17.5"))
    assert (shown.limit_v, shown.power_w) == (18, None)
    assert (weak.witness.limit_v, weak.witness.power_w, weak.witness.energised) == (None, 3, ("KO",))
