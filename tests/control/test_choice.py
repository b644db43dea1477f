"""Which bands are chosen: held against brute force over all subsets, and against the formulas of the trade."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.control.choice import ladder
from tapplan.control.rungs import rungs
from tapplan.control.serving import Served, served
from tapplan.control.table import control_table, derived_table
from tapplan.control.thresholds import Demand
from tapplan.design.model import Design, Sensing
from tapplan.network.circuit import circuit_of
from tapplan.network.states import each_state
from tests.examples import PAIR, TAPPED, design


def ladder_by_brute_force(states: list[Served], made: Design) -> tuple[int, Fraction, int] | None:
    """Fewest bands, then the largest smallest room, then fewest relays moved, over every subset of states."""
    low, high = made.mains.range_v
    sensing = made.sensing
    for size in range(1, len(states) + 1):
        best: list[tuple[Fraction, int]] = []
        for subset in combinations(sorted(states, key=lambda one: -one.ratio), size):
            if any(a.ratio == b.ratio for a, b in pairwise(subset)):
                continue
            if made.output.window_v[0] / subset[0].full > low or made.output.window_v[1] / subset[-1].ratio < high:
                continue
            rooms = []
            for a, b in pairwise(subset):
                up = (1 - sensing.error) * made.output.window_v[1] / a.ratio
                down = (1 + sensing.error) * made.output.window_v[0] / b.full
                rooms.append(up - down)
            noise = sensing.noise_v
            if all(room >= sensing.hysteresis_v + noise and room > 2 * noise for room in rooms):
                moved = sum(len(set(a.state.energised) ^ set(b.state.energised)) for a, b in pairwise(subset))
                best.append((min(rooms, default=Fraction(10**9)), -moved))
        if best:
            room, moved = max(best)
            return size, room, -moved
    return None


@st.composite
def requests(draw: st.DrawFn) -> Design:
    taps = draw(st.lists(st.integers(5, 45), min_size=2, max_size=3))
    sections = [("base", "N", "T0", 200)] + [(f"s{i}", f"T{i}", f"T{i + 1}", n) for i, n in enumerate(taps)]
    points = [f"T{i}" for i in range(len(taps) + 1)]
    pick = st.lists(st.sampled_from(points), min_size=2, max_size=2, unique=True)
    links = {"A": ("LINE", *draw(pick)), "B": ("OUT", *draw(pick))}
    if draw(st.booleans()):
        links["B"] = ("OUT", links["B"][1], "X")
        links["C"] = ("X", *draw(pick))
    low = draw(st.integers(165, 215))
    sensing = Sensing(
        error_pct=Fraction(draw(st.integers(0, 4)), 2),
        noise_v=Fraction(draw(st.integers(0, 6)), 2),
        hysteresis_v=Fraction(draw(st.integers(0, 8))),
    )
    return design(sections, links, mains=(230, low, low + draw(st.integers(10, 90))), sensing=sensing)


@settings(max_examples=300)
@given(requests())
def test_the_ladder_is_the_best_of_all_subsets(made: Design) -> None:
    circuit = circuit_of(made)
    states = [one for state in each_state(circuit) if (one := served(made, circuit, state)) is not None]
    found = ladder(rungs(states), made.mains.span, Demand(made.sensing.hysteresis_v))
    expected = ladder_by_brute_force(states, made)
    assert (found is None) == (expected is None)
    if found is None or expected is None:
        return
    size, room, moved = expected
    assert len(found) == size
    rooms = [a.highest_keep - b.lowest_keep + made.sensing.noise_v for a, b in pairwise(found)]
    assert min(rooms, default=Fraction(10**9)) == room
    if size > 1:
        assert moved == sum(len(set(a.state.energised) ^ set(b.state.energised)) for a, b in pairwise(found))


@settings(max_examples=300)
@given(requests())
def test_placed_thresholds_keep_the_promise(made: Design) -> None:
    """Where every demand is met: u_i <= (1-e) hi/g_i - n/2, d_i >= (1+e) lo/g_i + n/2, overlap >= h and above n."""
    table = derived_table(made)
    if not table.demanded:
        return
    error, half = made.sensing.error, made.sensing.noise_v / 2
    low, high = made.output.window_v
    for place, row in enumerate(table.rows):
        assert row.ratio is not None
        if place + 1 < len(table.rows):
            assert row.hold.high <= (1 - error) * high / row.ratio - half
            overlap = row.hold.high - table.rows[place + 1].hold.low
            assert overlap >= made.sensing.hysteresis_v
            assert overlap > made.sensing.noise_v
        if place:
            assert row.hold.low >= (1 + error) * low / row.ratio + half
    assert table.rows[0].hold.low <= (1 - error) * made.mains.range_v[0] - half
    assert table.rows[-1].hold.high >= (1 + error) * made.mains.range_v[1] + half


def test_room_is_the_formula_of_the_trade() -> None:
    """H = (1-e) hi/g_i - (1+e) lo/g_(i+1): worked by hand for taps 200/227/258, window 207-253, e = 1 %."""
    made = design(TAPPED, PAIR, sensing=Sensing(error_pct=Fraction(1)), mains=(230, 165, 280))
    rooms = derived_table(made).rooms
    ratios = [Fraction(129, 100), Fraction(227, 200), Fraction(1), Fraction(227, 258)]
    expected = [Fraction(99, 100) * 253 / a - Fraction(101, 100) * 207 / b for a, b in pairwise(ratios)]
    assert list(rooms) == expected


def test_margins_are_shared_evenly_on_both_sides_at_whole_volts() -> None:
    made = design(
        (("common", "N", "T1", 516), ("lower", "T1", "T2", 62), ("upper", "T2", "T3", 62)),
        {"K1": ("OUT", "T3", "T1"), "K2": ("LINE", "T3", "T2")},
        mains=(220, 180, 300),
        window=(220, 198, 242),
        sensing=Sensing(error_pct=Fraction(1), noise_v=Fraction(3, 2), hysteresis_v=Fraction(4)),
    )
    holds = [(int(row.hold.low), int(row.hold.high)) for row in derived_table(made).rows]
    assert holds == [(177, 210), (206, 234), (230, 260), (256, 304)]


def test_too_much_hysteresis_is_given_up_and_said() -> None:
    made = design(TAPPED, PAIR, mains=(230, 175, 270), sensing=Sensing(hysteresis_v=Fraction(40)))
    table = derived_table(made)
    assert not table.demanded
    assert len(table.rows) >= 3


def test_states_that_cannot_cover_leave_gaps_not_a_refusal() -> None:
    made = design(TAPPED, PAIR, mains=(230, 120, 330))
    table = derived_table(made)
    assert [row.name for row in table.rows] == ["boost 2", "boost 1", "direct", "buck"]
    assert not table.demanded


def test_missing_holds_are_placed_between_those_given() -> None:
    bands = [("boost", ["KO"], 160, 190), ("mild", []), ("direct", ["KL", "KO"], 215, 246), ("buck", ["KL"])]
    made = design(TAPPED, PAIR, mains=(230, 165, 270), bands=bands, sensing=Sensing(hysteresis_v=Fraction(3)))
    table = control_table(made)
    assert table.placed
    assert not table.derived
    assert [row.name for row in table.rows] == ["boost", "mild", "direct", "buck"]
    assert (table.rows[0].hold.low, table.rows[0].hold.high) == (160, 190)
    assert table.rows[3].hold.high >= 270
    assert table.rows[0].hold.high - table.rows[1].hold.low >= 3
    assert table.rows[2].hold.high - table.rows[3].hold.low >= 3


def test_a_forty_relay_chain_is_planned_from_its_circuits() -> None:
    from tests.examples import chain

    table = derived_table(chain(40))
    assert table.rows
    assert {row.state.kind.value for row in table.rows} <= {"boost", "direct"}


def test_a_thousand_ratios_are_planned_with_the_fewest_bands() -> None:
    """Ten add-in sections, 1024 ratios: fewest bands by the formula U' = k (U - h), k = (hi/lo)(1-e)/(1+e)."""
    from tests.examples import add_in

    made = add_in(10)
    made = replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(150), Fraction(240))),
        sensing=Sensing(error_pct=Fraction(1), hysteresis_v=Fraction(3)),
    )
    error, h, window = Fraction(1, 100), 3, Fraction(253, 207)
    reach, bands = (1 - error) * window * 150, 1
    while reach / (1 - error) < 240:
        reach, bands = window * (1 - error) / (1 + error) * (reach - h), bands + 1
    table = derived_table(made)
    assert table.demanded
    assert len(table.rows) == bands


def padded(count: int) -> Design:
    """Line straight to output over one contact of 5 ohm, or over two of none; the other relays lead nowhere."""
    from tapplan.design.model import Relay

    made = design(
        (("w", "N", "L", 100),),
        {},
        terminals=("L", "N", "O"),
        mains=(220, 190, 240),
        window=(220, 189, 242),
        load_va=1000,
    )
    links = [
        Relay(name="K1", com="O", no="L", contact_ohm=Fraction(5)),
        Relay(name="K2", com="O", no="M"),
        Relay(name="K3", com="M", no="L"),
        *(Relay(name=f"D{n}", com=f"P{n}", no=f"Q{n}") for n in range(count)),
    ]
    return replace(made, relays=tuple(links))


def test_idle_relays_do_not_change_the_choice_where_states_of_one_ratio_drop_differently() -> None:
    """5 ohm before 48.4 ohm of load loses 9 %: only the way over K2 and K3 serves 190 V."""
    for count in (0, 5, 6, 12, 18):
        table = derived_table(padded(count))
        assert table.demanded
        assert [row.energised for row in table.rows] == [("K2", "K3")]
