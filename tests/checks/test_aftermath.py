"""What is read just after a move: the open flight, the inrush, a second step; each witness by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from math import ceil
from random import Random

import pytest

from tapplan.checks import aftermath
from tapplan.checks.advice import advised
from tapplan.checks.aftermath import Crossing, after_moves, crossings, flight_in_reading, named
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.checks.witnesses.moving import FlightRead
from tapplan.control.standing import AWAY, REST, InRow
from tapplan.design.file import parse
from tapplan.design.model import Backup, Design, Sensing, Sequence
from tests.checks.test_hunting import pump
from tests.checks.test_margins import stage
from tests.outside.designs import random_design

F = Fraction


def found(made: Design, code: str) -> dict[str, Finding]:
    return {one.where: one for one in findings(made) if one.code == code}


def test_a_reading_at_the_output_that_holds_the_flight() -> None:
    """Two relays operating together leave the output open for up to 30 ms: a window of 20 ms can hold nothing else.

    KL may open at once, be across after 10 + 5 ms, and KO open at 15 to be still at 30. Readings count from there on,
    and are clear of the flight 20 ms later: a blank of 50 ms after the command, or a confirmation of 20.
    """
    bands = [("up", [], 200, 249), ("down", ["KL", "KO"], 211, 253)]
    sensing = Sensing(at="output")
    (one,) = found(stage(bands=bands, sensing=sensing, mains=(230, 185, 240)), "flight-in-reading").values()
    assert one.witness.reading_v == 0
    assert (one.witness.lasts_ms, one.witness.limit_ms) == (30, 50)
    made = stage(bands=bands, sensing=sensing, mains=(230, 185, 240))
    for blank, confirm, calm in ((50, 0, True), (45, 0, False), (0, 20, True), (0, 15, False), (40, 10, True)):
        waiting = replace(made, sensing=replace(sensing, confirm_ms=F(confirm)), sequence=Sequence(blank_ms=F(blank)))
        assert (not found(waiting, "flight-in-reading")) == calm


def test_the_blanking_advised_stops_it_after_every_move() -> None:
    """In whole ms; ten less leave so much of the flight in the window that a reading leaves its band again."""
    bands = [("up", [], 200, 249), ("down", ["KL", "KO"], 211, 253)]
    for transfer in (F(2), F("10.3")):
        base = stage(bands=bands, sensing=Sensing(at="output"), mains=(230, 185, 240))
        relays = (
            replace(base.relays[0], operate_ms=(F(0), F("20.25"))),
            replace(base.relays[1], transfer_ms=(F(0), transfer)),
        )
        made = replace(base, relays=relays)
        (one,) = found(made, "flight-in-reading").values()
        assert one.advice is not None
        words = re.fullmatch(r"a blank_ms of (\d+) stops it, after every move", one.advice)
        assert words is not None
        blank = F(words[1])
        assert not found(replace(made, sequence=Sequence(blank_ms=blank)), "flight-in-reading")
        assert found(replace(made, sequence=Sequence(blank_ms=blank - 10)), "flight-in-reading")


def test_the_blanking_advised_serves_the_move_that_needs_most() -> None:
    """On designs drawn at random, in some of which the move read worst needs less than another."""
    chance, advised_ones, needing_more = Random(4), 0, 0
    for _ in range(90):
        made = parse(random_design(chance, 0).text, "drawn.toml")
        told = [one for one in after_moves(review(made)) if one.code == "flight-in-reading"]
        blank = next((re.search(r"\d+", advised(review(made), one).advice or "") for one in told), None)
        if blank is not None:
            changed = replace(made, sequence=replace(made.sequence, blank_ms=F(blank[0])))
            assert "flight-in-reading" not in {one.code for one in after_moves(review(changed))}
            advised_ones += 1
            needing_more += F(blank[0]) > ceil(told[0].witness.limit_ms or 0)
    assert advised_ones > 20
    assert needing_more > 5


def test_part_of_a_flight_in_the_reading_counts_by_its_square() -> None:
    """With 7 ms of the 20 blanked, 13 ms of 0 V are left: sqrt(7/20) of 249/(227/200) = 219.4 V is 129.8 V."""
    bands = [("up", [], 200, 249), ("down", ["KL", "KO"], 211, 253)]
    made = stage(bands=bands, sensing=Sensing(at="output"), mains=(230, 185, 240))
    (one,) = found(replace(made, sequence=Sequence(blank_ms=F(37))), "flight-in-reading").values()
    assert one.witness.reading_v is not None
    assert abs(float(one.witness.reading_v) - 249 / 1.135 * (7 / 20) ** 0.5) < 0.001


def test_a_winding_that_stays_fed_reads_on_through_the_flight() -> None:
    """Only the output moves, the winding stays on the line: its reading does not change in flight."""
    base = pump(180, ohm="0")
    sensed = replace(base, sensing=Sensing(at=("IN", "N")), backup=None)
    assert not found(sensed, "flight-in-reading")


def test_the_unloaded_inlet_is_read_high_on_a_weak_line() -> None:
    """Bypass is left at 204 V; in flight the inlet stands at the open 204 (1 + z), in boost at that over (1 + z')."""
    made = pump(190)
    one = found(made, "flight-in-reading")['"bypass" to "boost"']
    z, z_boost = (F("1.2") * ratio**2 * 1500 / 230**2 for ratio in (F(1), F(6, 5)))
    emf = 204 * (1 + z)
    assert one.witness.emf_v == emf
    square = F(3, 4) * emf**2 + F(1, 4) * (emf / (1 + z_boost)) ** 2
    assert one.witness.reading_v is not None
    assert abs(float(one.witness.reading_v) - float(square) ** 0.5) < 0.001
    assert one.witness.limit_v == 208


def test_inrush_pulls_the_inlet_below_the_band() -> None:
    """A start of 5 times 6.52 A: in boost the inlet falls by 1.2 x 1.2 x 32.6 V from the open source."""
    made = pump(190)
    starting = replace(made, output=replace(made.output, inrush_a=F("32.6")))
    one = found(starting, "inrush-retrip")['"bypass" to "boost"']
    z = F("1.2") * 1500 / 230**2
    assert one.witness.input_v == 204 * (1 + z) - F("1.2") * F(6, 5) * F("32.6")
    assert one.witness.limit_v == 170
    assert one.witness.limit_ms == 30  # touched at once at the earliest; readings count once 15 + 10 + 5 ms are over
    held = one.witness.least_v
    assert held is not None
    lower = tuple(replace(band, hold_v=(held - 1, band.hold_v[1])) if band.hold_v and band.name == "boost" else band
                  for band in starting.bands)  # fmt: skip
    wide = replace(starting, bands=lower, backup=None)
    assert '"bypass" to "boost"' not in found(wide, "inrush-retrip")


def test_no_inrush_finding_on_a_stiff_source() -> None:
    made = pump(190, ohm="0")
    assert not found(replace(made, output=replace(made.output, inrush_a=F(100))), "inrush-retrip")


def test_a_double_step_names_all_three_bands() -> None:
    bands = [("boost 2", ["KO"], 166, 212), ("boost 1", [], 206, 216), ("direct", ["KL", "KO"], 212, 244)]
    base = stage(bands=bands, sensing=Sensing())
    made = replace(base, mains=replace(base.mains, source_ohm=F("7.9")), output=replace(base.output, load_va=F(1000)))
    one = found(made, "step-through")['band "direct"']
    assert one.witness.bands == ("direct", "boost 1", "boost 2")
    emf = 212 * (1 + F("7.9") * 1000 / 230**2)
    assert one.witness.emf_v == emf
    assert one.witness.input_v == emf / (1 + F("7.9") * F(227, 200) ** 2 * 1000 / 230**2)


def test_the_return_from_the_backup_meets_the_inrush_too() -> None:
    """Back at 190 V into boost: 190 - 1.2 x 1.2 x 20 A = 161.2 V, below the 170 V where the load leaves again."""
    made = pump(190)
    starting = replace(made, output=replace(made.output, inrush_a=F(20)))
    one = found(starting, "inrush-retrip")['"backup" to "boost"']
    assert one.witness.input_v == 190 - F("1.2") * F(6, 5) * 20


def test_an_inrush_beyond_all_measure_does_not_read_below_nought() -> None:
    made = pump(190)
    one = found(replace(made, output=replace(made.output, inrush_a=F(600))), "inrush-retrip")['"bypass" to "boost"']
    assert one.witness.input_v == 0


def read(place: str, reading: int, limit: int) -> FlightRead:
    return FlightRead(
        bands=(place, "next"),
        emf_v=F(reading),
        input_v=F(limit),
        reading_v=F(reading),
        limit_v=F(limit),
        lasts_ms=F(20),
        limit_ms=F(30),
    )


@pytest.mark.parametrize(
    ("levels", "worst"),
    [
        ([(190, 200), (260, 255)], 0),  # 10 V below, 5 V above
        ([(195, 200), (262, 255)], 1),
        ([(0, 180), (260, 255)], 0),
        ([(230, 216), (0, 10), (250, 240)], 0),
    ],
)
def test_of_readings_that_hold_a_flight_the_one_farthest_beyond_its_limit_is_told(
    monkeypatch: pytest.MonkeyPatch, levels: list[tuple[int, int]], worst: int
) -> None:
    """Of moves whose readings are put in; each by the distance from its own limit, above or below."""
    made = review(stage())
    shown = [read(str(number), *level) for number, level in enumerate(levels)]
    crossings = [Crossing(AWAY, InRow(number), F(200), 1) for number in range(len(shown))]
    monkeypatch.setattr(aftermath, "_flight_read", lambda _, crossing: iter([shown[crossing.new.number]]))
    (one,) = flight_in_reading(made, crossings)
    assert one.witness is shown[worst]
    assert (one.severity, one.where) == (Severity.WARNING, f'"{worst}" to "next"')
    assert list(flight_in_reading(made, [])) == []


@pytest.mark.parametrize(("up", "down", "calm"), [(0, 0, False), (20, 0, False), (0, 15, False), (0, 20, True)])
def test_a_flight_read_as_nothing_waits_for_the_confirmation_downward(up: int, down: int, calm: bool) -> None:
    """The output is open in flight; a window of 20 ms is clear of it when 20 ms of confirmation are over."""
    bands = [("up", [], 200, 249), ("down", ["KL", "KO"], 211, 253)]
    sensing = Sensing(at="output", confirm_up_ms=F(up), confirm_down_ms=F(down))
    assert (found(stage(bands=bands, sensing=sensing, mains=(230, 185, 240)), "flight-in-reading") == {}) == calm


@pytest.mark.parametrize(("up", "down", "calm"), [(0, 0, False), (0, 20, False), (20, 0, True)])
def test_an_unloaded_inlet_waits_for_the_confirmation_upward(up: int, down: int, calm: bool) -> None:
    """Behind a weak line the inlet rises in flight, so that only what is read high can move the stage."""
    made = pump(190)
    waiting = replace(made, sensing=replace(made.sensing, confirm_up_ms=F(up), confirm_down_ms=F(down)))
    assert (found(waiting, "flight-in-reading") == {}) == calm


def test_a_slow_course_crosses_from_row_to_row_at_the_ends_of_their_holds() -> None:
    """Held 165 to 191, 187 to 216 and 212 to 244 V, promised 168 to 240 V: neither outermost end is crossed."""
    made = stage()
    assert list(crossings(review(made))) == [
        Crossing(InRow(0), InRow(1), F(191), 1),
        Crossing(InRow(1), InRow(0), F(187), -1),
        Crossing(InRow(1), InRow(2), F(216), 1),
        Crossing(InRow(2), InRow(1), F(212), -1),
    ]
    assert found(made, "step-through") == {}  # each of them stays in the next row


def test_a_standing_is_named_by_its_band_or_by_what_feeds_the_load() -> None:
    plain = review(stage())
    backed = review(stage(backup=Backup(leave_v=(F(161), F(248)), return_v=(F(165), F(244)))))
    assert [named(backed, one) for one in (InRow(1), AWAY, REST)] == ["boost 1", "backup", "all at rest"]
    assert [named(plain, one) for one in (InRow(1), AWAY, REST)] == ["boost 1", "all at rest", "all at rest"]


@pytest.mark.parametrize(("more", "told"), [("0", False), ("0.001", True)])
def test_an_inrush_that_sags_to_the_very_end_of_the_band_is_still_held(more: str, told: bool) -> None:
    """Bypass is left at 204 V; boost is held from 170 V, and the load leaves it at 1.2 x 1.2 V an ampere."""
    made = pump(190)
    just = (204 * (1 + F("1.2") * 1500 / 230**2) - 170) / F("1.44")
    starting = replace(made, output=replace(made.output, inrush_a=just + F(more)))
    one = found(starting, "inrush-retrip").get('"bypass" to "boost"')
    assert (one is not None) == told
    if one is not None:
        assert one.witness.hysteresis_pct == 100 * (1 - (170 - F("1.44") * F(more)) / 204)
