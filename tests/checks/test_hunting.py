"""Going to and fro at one steady source: published return distances, formula against search, mended and calm."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.growths import growths
from tapplan.checks.hunting import LeastReturn
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.control.automaton import automaton
from tapplan.control.decisions import decisions
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Design, Sensing
from tests.checks.test_margins import stage
from tests.examples import design

F = Fraction
PUMP_WINDING = (("long", "N", "IN", 300), ("short", "IN", "TOP", 60))
PUMP_BANDS = [("boost", ["RB"], 170, 208), ("bypass", [], 204, 250)]


def pump(returns: object, *, model: str = "impedance", ohm: str = "1.2", noise: object = 0) -> Design:
    """Plan S5: one relay, 230 V, 1.5 kVA behind a weak line; it leaves at 170 V and comes back at `returns`."""
    backup = Backup(leave_v=(F(170), F(250)), return_v=(F(str(returns)), F(240)))
    made = design(PUMP_WINDING, {"RB": ("OUT", "IN", "TOP")}, terminals=("IN", "N", "OUT"), mains=(230, 171, 247),
                  window=(230, 195, 253), bands=PUMP_BANDS, backup=backup, load_va=1500,
                  sensing=Sensing(noise_v=F(str(noise))))  # fmt: skip
    return replace(
        made,
        mains=replace(made.mains, source_ohm=F(ohm)),
        output=replace(made.output, load_model=model),  # type: ignore[arg-type]
    )


def cycling(made: Design) -> Finding | None:
    found = [one for one in findings(made) if one.code == "backup-cycling"]
    assert len(found) <= 1
    return found[0] if found else None


def test_returns_at_177_cycle_for_ever_and_at_178_settle() -> None:
    """Leave at 170 V, z = 4.5 % (1.1021 ohm), simulated elsewhere: 177 V cycles, 178 V settles; formula 177.65 V."""
    found = cycling(pump(177, ohm="1.1020833"))
    assert found is not None
    assert found.severity is Severity.FAULT
    assert found.witness.least_v is not None
    assert float(found.witness.least_v) == pytest.approx(177.65, abs=0.005)
    assert cycling(pump(178, ohm="1.1020833")) is None


@pytest.mark.parametrize(("model", "least"), [("impedance", 178.3), ("power", 180.6)])
def test_the_pump_s_own_return(model: str, least: float) -> None:
    """Cut off at 170 V the unloaded inlet stands at 178.3 V (impedance) or 180.6 V (constant power)."""
    found = cycling(pump(175, model=model))
    assert found is not None
    assert found.witness.least_v is not None
    assert round(float(found.witness.least_v), 1) == least


def searched(made: Design) -> Fraction:
    """The least return at which the automaton, at every error, has no round through the backup, by halving."""
    assert made.backup is not None
    low, high = made.backup.return_v[0], made.backup.return_v[1]

    def calm(end: Fraction) -> bool:
        backup = replace(made.backup, return_v=(end, made.backup.return_v[1]))  # type: ignore[type-var, union-attr]
        compiled = decisions(control_table(replace(made, backup=backup)))
        errors = {F(0), made.sensing.error, -made.sensing.error}
        rounds = (one for error in errors for one in automaton(compiled, noisy=True, error=error).cycles())
        return not any(one.away for one in rounds)

    while high - low > F(1, 1000):
        middle = (low + high) / 2
        low, high = (low, middle) if calm(middle) else (middle, high)
    return high


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
@pytest.mark.parametrize("noise", [0, 1, 2])
def test_formula_and_search_agree_and_the_mended_return_is_calm(model: str, noise: int) -> None:
    found = cycling(pump(172, model=model, noise=noise))
    assert found is not None
    formula = found.witness.least_v
    assert formula is not None
    assert abs(formula - searched(pump(172, model=model, noise=noise))) <= F(2, 1000)
    assert cycling(pump(formula + F(1, 100), model=model, noise=noise)) is None
    assert cycling(pump(formula - F(1, 100), model=model, noise=noise)) is not None


def test_noise_alone_cycles_when_the_return_is_nearer_than_it() -> None:
    """On a stiff source: leave at 170 V, return at 171.5 V, noise of 2 V: the least return is 172 V."""
    found = cycling(pump("171.5", ohm="0", noise=2))
    assert found is not None
    assert found.witness.least_v == 172
    assert cycling(pump("172.1", ohm="0", noise=2)) is None


def test_the_high_side_is_judged_too() -> None:
    backup = Backup(leave_v=(F(170), F(250)), return_v=(F(180), F(249)))
    found = cycling(replace(pump(180, noise=3, ohm="0"), backup=backup))
    assert found is not None
    assert "on the high side" in found.message
    assert found.witness.least_v == 247


def test_hunting_of_a_reading_behind_the_relays() -> None:
    """Upper end 225 V at ratio 227/200, lower end 220 V straight: stable only from 220 x 227/200 = 249.7 V."""
    bands = [("up", [], 200, 225), ("down", ["KL", "KO"], 220, 253)]
    made = stage(bands=bands, sensing=Sensing(at="output"))
    (found,) = [one for one in findings(made) if one.code == "hunting"]
    assert found.witness.least_v == 220 * F(227, 200)
    mended = stage(bands=[("up", [], 200, 220 * F(227, 200)), bands[1]], sensing=Sensing(at="output"))
    assert not [one for one in findings(mended) if one.code == "hunting"]


def test_chatter_between_bands_that_are_no_neighbours() -> None:
    """A short band inside the lower one is passed over: the lower and the third then overlap by 1 V, noise 2 V."""
    bands = [("a", ["KO"], 166, 200), ("inner", [], 185, 198), ("c", ["KL", "KO"], 199, 244)]
    found = [
        one for one in findings(stage(bands=bands, sensing=Sensing(noise_v=F(2))))
        if one.code == "chatter" and one.witness.bands == ("a", "c")
    ]  # fmt: skip
    assert len(found) == 1
    assert (found[0].witness.from_v, found[0].witness.to_v) == (199, 200)


def test_a_reading_that_errs_leaves_and_returns_at_other_volts() -> None:
    """Constant current, 22 V of drop at 2 ohm: 5 % high, the load leaves at 180/1.05 V and reads 1.05 x 22 V more."""
    made = design((("main", "N", "IN", 200), ("up", "IN", "TOP", 20)), {"K": ("OUT", "IN", "TOP")},
                  terminals=("IN", "N", "OUT"), mains=(230, 185, 250), load_va=2300,
                  bands=[("boost", ["K"], 180, 225), ("direct", [], 215, 270)],
                  backup=Backup(leave_v=(F(180), F(270)), return_v=(F("202.01"), F(250))))  # fmt: skip
    weak = replace(made, mains=replace(made.mains, source_ohm=F(2)),
                   output=replace(made.output, load_model="current"))  # fmt: skip
    assert cycling(weak) is None
    erring = replace(weak, sensing=replace(weak.sensing, error_pct=F(5)))
    found = cycling(erring)
    assert found is not None
    assert found.witness.least_v == 180 + F(105, 100) * 22
    assert found.witness.least_v is not None
    assert abs(searched(erring) - found.witness.least_v) <= F(2, 1000)


def test_how_far_noise_and_load_may_grow_before_mains_and_backup_cycle() -> None:
    made = pump(185)
    limits = {one.quantity: one for one in growths(review(made))}
    for quantity, table, key in (("sensing.noise_v", "sensing", "noise_v"), ("output.load_va", "output", "load_va")):
        limit = limits[quantity]
        if limit.code != "backup-cycling" or limit.most is None:
            continue
        for value, expected in ((limit.most - F(1, 100), False), (limit.most + F(1, 100), True)):
            changed = replace(made, **{table: replace(getattr(made, table), **{key: value})})
            assert (cycling(changed) is not None) == expected
    assert "backup-cycling" in {one.code for one in limits.values()}


def test_the_hold_advised_stops_the_hunting_without_touching_its_neighbour() -> None:
    """At 249.7 V the two just touch, which is no margin at all; a volt of input more is 250.84 V."""
    bands = [("up", [], 200, 225), ("down", ["KL", "KO"], 220, 253)]
    made = stage(bands=bands, sensing=Sensing(at="output"), mains=(230, 183, 240))
    (found,) = [one for one in findings(made) if one.code == "hunting"]
    assert found.advice == 'hold "up" up to 250.84 V to stop it'
    mended = stage(
        bands=[("up", [], 200, F("250.84")), bands[1]], sensing=Sensing(at="output"), mains=(230, 183, 240)
    )
    assert not [one for one in findings(mended) if one.severity is Severity.FAULT]


def test_a_dead_zone_is_not_called_a_round_through_the_backup() -> None:
    """Between 208 and 212 V no band holds: the load leaves there, and no other return_v would change that."""
    bands = [("boost", ["RB"], 170, 208), ("bypass", [], 212, 250)]
    made = replace(pump(178, ohm="0", noise=1), bands=design(PUMP_WINDING, {}, bands=bands).bands)
    codes = {one.code for one in findings(made) if one.severity is Severity.FAULT}
    assert "dead-zone" in codes
    assert "backup-cycling" not in codes


@pytest.mark.parametrize(
    ("low_side", "bare", "loaded", "end", "cycles"),
    [
        (True, 178, 170, 178, True),
        (True, 178, 170, "178.001", False),
        (True, 178, 181, "180.999", True),
        (True, 178, 181, 181, False),
        (False, 300, 310, 300, True),
        (False, 300, 310, "299.999", False),
    ],
)
def test_a_return_lies_beyond_what_is_read_bare_and_no_nearer_than_what_is_read_loaded(
    low_side: bool, bare: int, loaded: int, end: object, cycles: bool
) -> None:
    """No margin is no margin against the bare reading; the loaded one is the very end of what is read."""
    least = LeastReturn(low_side, Fraction(bare), Fraction(loaded))
    assert least.cycles(Fraction(str(end))) is cycles
    assert least.bound == (max(bare, loaded) if low_side else bare)


def test_a_round_lasts_the_travel_and_the_confirmation_of_each_of_its_moves() -> None:
    """Both relays pull in within 15 + 10 + 5 ms and drop within 10 + 10 + 5; of two confirmations the shorter."""
    bands = [("up", [], 200, 225), ("down", ["KL", "KO"], 220, 253)]
    for confirm, lasts in (({}, 55), ({"confirm_up_ms": F(30), "confirm_down_ms": F(50)}, 115)):
        made = stage(bands=bands, sensing=Sensing(at="output", **confirm))  # type: ignore[arg-type]
        (found,) = [one for one in findings(made, ["hunting"]) if one.code == "hunting"]
        assert found.witness.lasts_ms == lasts
