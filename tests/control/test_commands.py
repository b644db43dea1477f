"""When each coil of a move changes, as the design's sequence says; worked by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.control.commands import Commands, commands
from tapplan.control.moves import MOST_MOVERS, Mixtures, move_between
from tapplan.control.standing import AWAY, REST, InRow, Standing
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Design, Sequence, SequenceMove
from tapplan.exact import Span
from tests.examples import PAIR, TAPPED, chain, design

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]
B2, B1, D, K = (InRow(number) for number in range(4))
SAFEST = Sequence(order="safest")


def stage(sequence: Sequence, **changes: object) -> Design:
    """Ratios 129/100, 227/200, 1 and 227/258; relays by default: operate 15, release 10, transfer 10, bounce 5."""
    return replace(design(TAPPED, PAIR, bands=BANDS, **changes), sequence=sequence)  # type: ignore[arg-type]


def given_by(made: Design, start: Standing, end: Standing) -> Commands:
    table = control_table(made)
    return commands(table, Mixtures(table.circuit), move_between(table, start, end))


def begins(found: Commands) -> dict[str, Fraction]:
    return {relay: one.commanded for relay, one in zip(found.move.movers, found.flights, strict=True)}


def test_by_default_all_coils_change_at_once() -> None:
    """b1 to d drives both: each opens within 15 ms and is still after 30. k to b2 lets KL go, which is quicker."""
    found = given_by(stage(Sequence()), B1, D)
    assert (found.groups, found.order, found.ordered) == ((("KL", "KO"),), ("KL", "KO"), False)
    assert begins(found) == {"KL": 0, "KO": 0}
    assert (found.opens_ms, found.settled_ms, found.decides_ms) == (15, 30, 30)
    crossed = given_by(stage(Sequence()), K, B2)
    assert [one.delay for one in crossed.flights] == [Span(F(0), F(10)), Span(F(0), F(15))]
    assert (crossed.opens_ms, crossed.settled_ms) == (10, 30)


def test_the_times_of_the_file_are_those_flown() -> None:
    """KL pulls in within 3 to 8 ms and lets go within 1 to 2; what the file leaves out is as by default."""
    made = stage(Sequence())
    timed = replace(
        made.relays[0],
        operate_ms=(F(3), F(8)),
        release_ms=(F(1), F(2)),
        transfer_ms=(F(4), F(6)),
        bounce_ms=(F(0), F(1)),
    )
    made = replace(made, relays=(timed, *made.relays[1:]))
    driven, let_go = given_by(made, B1, D).flights[0], given_by(made, D, B1).flights[0]
    assert (driven.delay, driven.transfer, driven.bounce) == (Span(F(3), F(8)), Span(F(4), F(6)), Span(F(0), F(1)))
    assert let_go.delay == Span(F(1), F(2))
    assert given_by(made, B1, D).flights[1].delay == Span(F(0), F(15))
    assert given_by(made, B1, D).opens_ms == 8


def test_the_safest_order_waits_until_the_relay_before_has_settled() -> None:
    """b1 to d: KL first dips to 227/258, KO first would pass 129/100. Back, KL first would, so KO lets go first.

    KL drives in 15 + 10 + 5 ms, KO lets go in 10 + 10 + 5.
    """
    up = given_by(stage(SAFEST), B1, D)
    assert (up.groups, up.order, up.ordered) == ((("KL",), ("KO",)), ("KL", "KO"), True)
    assert begins(up) == {"KL": 0, "KO": 30}
    assert (up.opens_ms, up.settled_ms, up.decides_ms) == (15, 60, 60)
    down = given_by(stage(SAFEST), D, B1)
    assert down.order == ("KO", "KL")
    assert begins(down) == {"KL": 25, "KO": 0}
    assert (down.opens_ms, down.settled_ms) == (10, 50)


def test_a_stated_pause_takes_the_place_of_settling() -> None:
    short = given_by(stage(Sequence(order="safest", pause_ms=F(12))), B1, D)
    assert begins(short) == {"KL": 0, "KO": 12}
    assert (short.opens_ms, short.settled_ms) == (15, 42)
    assert begins(given_by(stage(Sequence(order="safest", pause_ms=F(0))), B1, D)) == {"KL": 0, "KO": 0}
    assert begins(given_by(stage(Sequence(pause_ms=F(12))), B1, D)) == {"KL": 0, "KO": 0}  # nothing to pause between


@pytest.mark.parametrize(("blank", "together", "ordered"), [(0, 30, 60), (20, 30, 60), (40, 40, 70)])
def test_readings_count_again_once_all_have_settled_and_blanking_is_over(
    blank: int, together: int, ordered: int
) -> None:
    """Blanking runs from the last coil change, at 0 or at 30 ms."""
    for order, decides in (("together", together), ("safest", ordered)):
        sequence = Sequence(order=order, blank_ms=F(blank))  # type: ignore[arg-type]
        found = given_by(stage(sequence), B1, D)
        assert (found.blank_ms, found.decides_ms) == (blank, decides)


def test_a_single_move_has_the_order_that_the_file_gives_it() -> None:
    """Surge or not: KO, then KL. It is for that move alone; others are as the rest says."""
    one = SequenceMove(old="b1", new="d", order=("KO", "KL"))
    for rest, other in (("together", ("KL", "KO")), ("safest", ("KO", "KL"))):
        made = stage(Sequence(order=rest, moves=(one,)))  # type: ignore[arg-type]
        found = given_by(made, B1, D)
        assert (found.order, found.ordered, begins(found)) == (("KO", "KL"), True, {"KL": 30, "KO": 0})
        assert given_by(made, D, B1).order == other
        assert given_by(made, D, B1).ordered == (rest == "safest")


def test_away_has_a_name_among_the_moves() -> None:
    backup = Backup(leave_v=(F(155), F(285)), return_v=(F(165), F(280)), energised=("KL", "KO"))
    moves = (
        SequenceMove(old="b1", new="away", order=("KO", "KL")),
        SequenceMove(old="away", new="b1", order=("KL", "KO")),
    )
    made = stage(Sequence(moves=moves), backup=backup)
    assert given_by(made, B1, AWAY).groups == (("KO",), ("KL",))
    assert given_by(made, AWAY, B1).groups == (("KL",), ("KO",))
    assert given_by(made, B2, AWAY).groups == (("KL",),)


def test_coils_without_volts_drop_out_together_whatever_is_stated() -> None:
    moves = (
        SequenceMove(old="d", new="away", order=("KO", "KL")),
        SequenceMove(old="d", new="at rest", order=("KO", "KL")),
    )
    for order in ("together", "safest"):
        found = given_by(stage(Sequence(order=order, pause_ms=F(50), moves=moves)), D, REST)  # type: ignore[arg-type]
        assert not found.move.chosen
        assert (found.groups, found.ordered, begins(found)) == ((("KL", "KO"),), False, {"KL": 0, "KO": 0})
        assert [one.delay for one in found.flights] == [Span(F(0), F(10))] * 2


def test_a_tie_between_orders_goes_to_the_file_and_pauses_add_up() -> None:
    """A chain T0 to T3: whatever moves first, no ratio between lies above or below both ends'.

    K2 is quicker than the others: 2 + 10 + 5 ms instead of 15 + 10 + 5.
    """
    made = chain(3)
    bands = [("up", ["K1", "K2", "K3"], 180, 220), ("down", [], 215, 260)]
    frame = design((), {}, bands=bands)
    quick = replace(made.relays[1], operate_ms=(F(0), F(2)))
    made = replace(made, bands=frame.bands, relays=(made.relays[0], quick, made.relays[2]), sequence=SAFEST)
    found = given_by(made, InRow(1), InRow(0))
    assert found.order == ("K1", "K2", "K3")
    assert begins(found) == {"K1": 0, "K2": 30, "K3": 47}
    assert (found.opens_ms, found.settled_ms) == (15, 77)
    backward = replace(made, relays=made.relays[::-1])
    assert given_by(backward, InRow(1), InRow(0)).order == ("K3", "K2", "K1")
    assert begins(given_by(replace(made, sequence=replace(SAFEST, pause_ms=F(9))), InRow(1), InRow(0))) == {
        "K1": 0,
        "K2": 9,
        "K3": 18,
    }


def test_too_many_relays_for_an_order_move_together() -> None:
    """The safest of 8 relays' 40,320 orders is not looked for; one that is stated is kept."""
    count = MOST_MOVERS + 1
    names = [f"K{number}" for number in range(1, count + 1)]
    frame = design((), {}, bands=[("up", names, 180, 220), ("down", [], 215, 260)])
    made = replace(chain(count), bands=frame.bands, sequence=SAFEST)
    assert given_by(made, InRow(1), InRow(0)).groups == (tuple(names),)
    stated = SequenceMove(old="down", new="up", order=tuple(names[::-1]))
    ordered = replace(made, sequence=Sequence(moves=(stated,)))
    assert given_by(ordered, InRow(1), InRow(0)).order == tuple(names[::-1])
    most = replace(chain(MOST_MOVERS), sequence=SAFEST)
    most = replace(most, bands=design((), {}, bands=[("up", names[:-1], 180, 220), ("down", [], 215, 260)]).bands)
    assert given_by(most, InRow(1), InRow(0)).ordered


def test_one_relay_or_none() -> None:
    found = given_by(stage(SAFEST), B1, B2)
    assert (found.groups, found.ordered, found.settled_ms) == ((("KO",),), False, 30)
    none = given_by(stage(Sequence(blank_ms=F(40))), B1, REST)
    assert (none.groups, none.order, none.flights) == ((), (), ())
    assert (none.opens_ms, none.settled_ms, none.decides_ms) == (0, 0, 0)  # no coil changed: nothing to be blanked
