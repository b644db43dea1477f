"""What the relay states are, on small stages by hand: used or not, alike, and what is left with every coil off."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.kinds import duplicate_states, unsafe_rest, unusable_states
from tapplan.checks.review import review
from tapplan.design.model import Backup, Design, Feed
from tests.checks.test_margins import weak
from tests.checks.test_rules import AUX, band, poles, sound
from tests.examples import PAIR, TAPPED, design

F = Fraction
SHORTING = {**PAIR, "KS": poles(("A", None, "B"))}  # KS closed shorts the 27 turns between A and B


def unusable(made: Design) -> list[tuple[str, Severity, str]]:
    return [(one.code, one.severity, one.where) for one in unusable_states(review(made))]


def test_states_that_only_a_wrong_drive_leads_to_are_one_note_with_their_number() -> None:
    """KS with any of the four drives of the other two."""
    (one,) = unusable_states(review(sound(links=SHORTING)))
    assert (one.code, one.severity, one.where) == ("shorted-state", Severity.NOTE, "relay states")
    shown = one.witness
    assert (shown.count, len(shown.states), shown.energised) == (4, 4, shown.states[0])
    assert all("KS" in state for state in shown.states)
    assert unusable(sound()) == []


def test_a_band_that_uses_one_is_a_fault_and_the_others_are_a_note() -> None:
    made = sound(links=SHORTING, bands=band(2, energised=["KS"]))
    fault, note = unusable_states(review(made))
    assert (fault.code, fault.severity, fault.where) == ("shorted-state", Severity.FAULT, 'band "direct"')
    assert (fault.witness.bands, fault.witness.energised, fault.witness.ratio) == (("direct",), ("KS",), None)
    assert fault.witness.contacts == ("KS.no",)
    assert (note.severity, note.witness.count) == (Severity.NOTE, 3)
    assert ("KS",) not in note.witness.states


def test_once_all_of_them_are_used_there_is_no_note() -> None:
    """A stage of one relay whose other state shorts everything."""
    made = design((("w", "N", "T", 100),), {"K": ("OUT", "T", "N")}, terminals=("T", "N", "OUT"),
                  bands=[("on", [], 200, 250), ("off", ["K"], 249, 260)])  # fmt: skip
    found = unusable(made)
    assert [severity for _, severity, _ in found] == [Severity.FAULT]
    assert [place for *_, place in found] == ['band "off"']
    spared = replace(made, bands=made.bands[:1])
    assert [severity for _, severity, _ in unusable(spared)] == [Severity.NOTE]


def test_more_than_eight_are_counted_and_eight_are_shown() -> None:
    links = {**SHORTING, "KX": ("A", None, "END"), "KY": ("A", None, "STOP")}
    (one,) = unusable_states(review(sound(links=links)))
    assert (one.witness.count, len(one.witness.states)) == (16, 8)


@pytest.mark.parametrize(("driven", "fault"), [(("KS",), True), (("KL",), False), (("KL", "KS"), True)])
def test_a_backup_that_shorts_is_a_fault(driven: tuple[str, ...], fault: bool) -> None:
    backup = Backup(leave_v=(F(160), F(250)), return_v=(F(170), F(240)), energised=driven)
    found = list(unusable_states(review(sound(links=SHORTING, backup=backup))))
    told = [one for one in found if one.where == "backup"]
    assert [(one.code, one.severity) for one in told] == ([("shorted-state", Severity.FAULT)] if fault else [])
    if fault:
        assert (told[0].witness.bands, set(told[0].witness.energised)) == (None, set(driven))
    assert [one.witness.count for one in found if one.where == "relay states"] == [3 if fault else 4]


def feeding(*driven: str, **changes: Any) -> Design:
    feed = Feed(name="inverter", winding="aux", volts_v=(F(8), F(10)), energised=driven)
    return replace(sound(sections=AUX, **changes), feeds=(feed,))


def test_a_feed_that_runs_into_shorted_turns_or_onto_a_load_without_volts() -> None:
    """KF takes the output off; then a feed drives the core, and the load has nothing of it."""
    shorted = [one for one in unusable(feeding("KS", links=SHORTING)) if "feed" in one[2]]
    assert shorted == [("shorted-state", Severity.FAULT, 'feed "inverter"')]
    links = {"KL": ("LINE", "A", "C"), "KO": ("X", "B", "C"), "KF": ("OUT", "X", None)}
    lost = [one for one in unusable_states(review(feeding("KF", links=links))) if "feed" in one.where]
    assert [(one.code, one.severity) for one in lost] == [("floating-state", Severity.FAULT)]
    assert lost[0].witness.energised == ("KF",)
    assert [one for one in unusable(feeding("KL")) if "feed" in one[2]] == []
    unstated = replace(feeding("KL"), feeds=(replace(feeding("KL").feeds[0], energised=None),))
    assert [one for one in unusable(unstated) if "feed" in one[2]] == []


def test_states_of_one_ratio() -> None:
    """A bypass of K1 and K2 gives 1 whether both stand on X or on A; one more relay that does nothing doubles all."""
    assert list(duplicate_states(review(sound()))) == []
    links = {"K1": ("LINE", "X", "A"), "K2": ("OUT", "X", "A")}
    (one,) = duplicate_states(review(design(TAPPED, links)))
    assert (one.code, one.severity, one.where) == ("duplicate-state", Severity.NOTE, "ratio 1")
    assert (one.witness.ratio, one.witness.count, set(one.witness.states)) == (1, 2, {(), ("K1", "K2")})
    spare = {"K": ("OUT", "A", "B"), **{f"X{n}": ("A", None, f"END{n}") for n in range(4)}}
    many = list(duplicate_states(review(design(TAPPED, spare, terminals=("A", "N", "OUT")))))
    assert sorted((each.where, each.witness.count, len(each.witness.states)) for each in many) == [
        ("ratio 1", 16, 8),
        ("ratio 227/200", 16, 8),
    ]


# --- at rest ---


def rest(made: Design) -> Finding | None:
    found = list(unsafe_rest(review(made)))
    assert len(found) <= 1
    assert all(one.where == "all relays at rest" for one in found)
    return found[0] if found else None


def direct(low: object, high: object, **changes: Any) -> Design:
    """One relay, straight through at rest; 207 to 253 V are the window."""
    return design(TAPPED, {"K": ("OUT", "A", "B")}, terminals=("A", "N", "OUT"), mains=(230, low, high),
                  bands=[("boost", ["K"], 187, 216), ("direct", [], 211, 249)], **changes)  # fmt: skip


def test_at_rest_the_whole_range_is_to_stay_in_the_window() -> None:
    assert rest(direct(207, 253)) is None


@pytest.mark.parametrize(
    ("low", "high", "severity", "volts"),
    [(207, 254, Severity.WARNING, 254), (206, 253, Severity.NOTE, 206), (206, 254, Severity.WARNING, 254)],
)
def test_too_much_at_rest_is_a_warning_and_too_little_a_note(
    low: int, high: int, severity: Severity, volts: int
) -> None:
    one = rest(direct(low, high))
    assert one is not None
    assert one.severity is severity
    shown = one.witness
    assert (shown.ratio, shown.input_v, shown.output_v, shown.factor) == (1, volts, volts, F(volts, 230))


def test_under_its_load_the_output_at_rest_is_lower() -> None:
    """Boost 1 makes 1.135 at rest: 210 V of 185 V without a load. Under it, 1.0182 ohm beside 52.9 ohm take some."""
    plain = sound(mains=(230, 185, 222))
    assert rest(plain) is None
    one = rest(weak(plain, load_va=1000))
    assert one is not None
    assert one.severity is Severity.NOTE
    assert one.witness.output_v == F("1.135") * 185 * F("52.9") / (F("52.9") + 1 + F(27, 200) ** 2)


def test_shorted_at_rest_is_a_fault_and_no_output_a_note() -> None:
    closed = rest(sound(links={**PAIR, "KS": poles(("A", "B", None))}))
    assert closed is not None
    assert (closed.severity, type(closed.witness).__name__) == (Severity.FAULT, "ShortedRest")
    made = design(TAPPED, {"K": ("OUT", None, "B")}, terminals=("C", "N", "OUT"), bands=[("on", ["K"], 180, 270)])
    off = rest(made)
    assert off is not None
    assert (off.severity, off.witness.ratio, off.witness.output_v, off.witness.factor) == (Severity.NOTE, None, 0, 0)
    assert off.witness.input_v == 180


def test_an_output_turned_over_counts_by_its_size() -> None:
    """A winding the wrong way round makes -1.2 of the line at rest: 276 V at 230 V, and so too much."""
    made = design((("p", "N", "L", 100), ("s", "N", "S", 120)), {"K": ("OUT", "X", "L")}, terminals=("L", "N", "OUT"),
                  bands=[("on", ["K"], 200, 250)])  # fmt: skip
    turned = replace(made, windings=(made.windings[0], replace(made.windings[1], ends=("X", "N"))))
    one = rest(replace(turned, mains=replace(turned.mains, range_v=(F(100), F(230)))))
    assert one is not None
    assert (one.severity, one.witness.ratio, one.witness.output_v) == (Severity.WARNING, F(-6, 5), -276)
