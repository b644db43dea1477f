"""The arithmetic of a diagnosis the long way: Bayes' rule, Shannon's information, ohms through a network."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from math import log2
from random import Random

import networkx as nx
import numpy as np
import pytest

from tapplan.bench.copper import KnownCopper
from tapplan.bench.defects import PRIORS, Hypothesis, faulty_circuit
from tapplan.bench.dictionary import PAIR_RARITY, Dictionary, Setup, hypothesis_name, weights
from tapplan.bench.isolation import Isolation
from tapplan.bench.measures import Condition
from tapplan.bench.meter import BEYOND, KNOWN, MISJUDGED, MISREAD, SHARP, Meter
from tapplan.bench.offered import forced_states
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.bench.resistances import between_ohm
from tapplan.bench.safety import TOUCH_V, highest
from tapplan.bench.smallsource import SmallSource
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Winding
from tapplan.exact import Span
from tapplan.network.circuit import Across, circuit_of
from tests.bench.stages import table
from tests.examples import ROOT, design

F = Fraction
RIDGE = ROOT / "designs" / "ridge-dispensary.toml"


def isolation() -> Isolation:
    return Isolation(table(RIDGE))


def prior(hypotheses: tuple[Hypothesis, ...], one: Hypothesis) -> float:
    """Of a single defect: how often it is met, shared among those of its part and fault."""
    if not one:
        return float(PRIORS["none"])
    (defect,) = one
    part = "reading" if defect.part.startswith("reading") else defect.part
    alike = [
        other
        for other in hypotheses
        if len(other) == 1
        and other[0].fault == defect.fault
        and ("reading" if other[0].part.startswith("reading") else other[0].part) == part
    ]
    return float(PRIORS[defect.fault]) / len(alike)


def test_weights_are_prior_times_likelihood_over_their_sum() -> None:
    """Bayes' rule in a plain loop, on crisp answers: a click, seen or not, is misread once in a hundred times.

    Of what is foretold each is as likely as another; the misreading comes on top.
    """
    stage, texts = isolation(), ("off coils KL: click KL = no", "off coils KO: click KO = yes")
    for text in texts:
        stage.add(reading_of(text, Names.of(stage.bench.table)))
    posterior = []
    for one in stage.hypotheses:
        likely = prior(stage.hypotheses, one)
        for reading in stage.readings:
            foretold = [span.low for span in stage.bench.predicted(one, reading.measure)]
            likely *= F(foretold.count(reading.value), len(foretold)) + F(MISREAD) / 2  # type: ignore[arg-type]
        posterior.append(float(likely))
    assert stage.weight == pytest.approx(np.array(posterior) / sum(posterior), rel=1e-9)
    first = stage.hypotheses[int(np.argmax(stage.weight))]
    assert [one.part for one in first] == ["KL"]


def test_a_pair_is_as_likely_as_both_together_and_rarer_still() -> None:
    """The product of the two, over a hundred; all shares add up to one."""
    stage = Isolation(table(RIDGE), Setup(two=True))
    shares = weights(stage.hypotheses, {})
    assert float(shares.sum()) == pytest.approx(1)
    single = {one[0]: float(share) for one, share in zip(stage.hypotheses, shares, strict=True) if len(one) == 1}
    healthy = float(shares[0]) / float(PRIORS["none"])
    checked = 0
    for one, share in zip(stage.hypotheses, shares, strict=True):
        if len(one) == 2 and checked < 200:
            checked += 1
            assert float(share) == pytest.approx(single[one[0]] * single[one[1]] / healthy / PAIR_RARITY, rel=1e-9)
    assert checked == 200


def literal_bits(dictionary: Dictionary, number: int, weight: np.ndarray) -> float:
    """The information of outcome and name, summed outcome by outcome: p log2(p / (p of one x p of other))."""
    entry = dictionary.entries[number]
    joint: dict[tuple[int, int], float] = defaultdict(float)
    for place, share in enumerate(weight / weight.sum()):
        for outcome, seen in enumerate(entry.seen()[entry.classes[place]]):
            joint[int(dictionary.alike[place]), outcome] += float(share) * float(seen)
    groups, outcomes = defaultdict[int, float](float), defaultdict[int, float](float)
    for (group, outcome), p in joint.items():
        groups[group] += p
        outcomes[outcome] += p
    return sum(p * log2(p / groups[g] / outcomes[o]) for (g, o), p in joint.items() if p > 0)


def test_the_worth_of_a_measurement_is_shannon_s_mutual_information() -> None:
    """C. E. Shannon, Bell System Technical Journal 27, 1948; summed term by term, for one measurement in seven."""
    stage = isolation()
    gains = stage.whole.gains(stage.weight)
    for number in range(0, len(gains), 7):
        assert gains[number] == pytest.approx(literal_bits(stage.whole, number, stage.weight), abs=1e-6)
    assert float(gains.max()) > 0.5
    assert {hypothesis_name(one) for one in stage.hypotheses} >= {"", "KL coil-open"}


def test_a_reading_s_likelihood_by_hand() -> None:
    """230 V on the line within 2 % and 1 V: a sharp span has a cell of four; 0 to 600 V 64.1 of them.

    Just outside the meter's error a tenth of that; what was open once and read since, a fifth, however wide. A lamp
    is misjudged once in five times.
    """
    meter, names = Meter(), Names.of(table(RIDGE))
    volts = reading_of("line 230 V rising: output = 230 V", names).measure
    wide = (Span(F(0), F(600)),)
    assert meter.likely(volts, (Span(F(229), F(231)),), F(230)).first == pytest.approx(1 / SHARP)
    assert meter.likely(volts, (Span(F(229), F(231)),), F(235)).first == pytest.approx(BEYOND / SHARP)
    assert meter.likely(volts, wide, F(230)).first == pytest.approx(1 / 64.1, rel=1e-3)
    assert meter.likely(volts, wide, F(230)).later == KNOWN == 0.2
    assert meter.misread(volts) == pytest.approx(0.01 / 64.1, rel=1e-3)
    assert (MISREAD, MISJUDGED) == (0.01, 0.2)


@pytest.mark.parametrize("seed", range(12))
def test_ohms_between_two_points_are_the_resistance_distance_of_a_graph(seed: int) -> None:
    """Against networkx, which has it from the pseudoinverse of the Laplacian (Klein and Randic, 1993).

    Windings as a random net over seven points, every one of them both ways at once: contacts stay open.
    """
    random = Random(seed)
    points = ["N", "A", "B", "C", "D", "E", "OUT"]
    pairs = [(points[random.randrange(number)], points[number]) for number in range(1, 7)]
    pairs += [tuple(random.sample(points, 2)) for _ in range(4)]  # type: ignore[misc]
    windings = [(f"w{number}", one, other, 100 + number) for number, (one, other) in enumerate(pairs)]
    circuit = circuit_of(design(windings, {"K": ("LINE", "A", None)}))
    ohms = {name: random.uniform(0.05, 20) for name, *_ in windings}
    graph = nx.MultiGraph()
    for name, one, other, _ in windings:
        graph.add_edge(one, other, ohm=ohms[name])
    spans = {name: Span(F(ohm), F(ohm) * 2) for name, ohm in ohms.items()}
    for other in points[1:]:
        across = Across(circuit.points.index("N"), circuit.points.index(other))
        path = between_ohm(circuit, frozenset(), across, spans)
        assert path is not None
        true = nx.resistance_distance(graph, "N", other, weight="ohm", invert_weight=True)
        assert path.windings
        assert [float(path.ohm.low), float(path.ohm.high)] == pytest.approx([true, 2 * true], abs=2e-6)


def test_no_winding_however_many_turns_comes_above_the_touch_voltage() -> None:
    """300,000 turns beside a stage of 469: with two leads swapped 0.1 V across 61 turns put 492 V on them."""
    made = load(RIDGE)
    many = Winding(name="high", ends=("H1", "H2"), turns=F(300_000))
    stage = Isolation(control_table(replace(made, windings=(*made.windings, many))))
    bench = stage.bench
    line, neutral, _ = (bench.circuit.points[end] for end in bench.circuit.terminals)
    most = max(
        highest(bench, one, Condition("low", coils, (line, neutral), stage.low_volts))
        for one in stage.hypotheses
        for coils in forced_states(bench.table)
    )
    assert F("0.1") * 300_000 / 61 > 490
    assert 0 < most <= TOUCH_V


def test_copper_leakage_and_iron_of_an_unstated_board_by_hand() -> None:
    """500 VA at 230 V are 105.8 ohm. The ridge's line stands on 469 to 599 turns; `main` has 469 of them.

    Copper loses 0.1 to 12 % at full load, by turns or by their square; leakage up to 5 %, by the square; iron takes
    up to 15 % of 500 VA at 230 V across 599 turns.
    """
    bench = isolation().bench
    copper = KnownCopper(bench.table)
    (main,) = (one for one in bench.circuit.sections if one.name == "main")
    unit = float(bench.circuit.turn_unit)
    assert [float(copper.whole.low) * unit, float(copper.whole.high) * unit] == [469, 599]
    assert float(copper.rated_ohm.low) == pytest.approx(230**2 / 500) == 105.8
    ohms = [float(copper.ohm(main).low), float(copper.ohm(main).high)]
    assert ohms == pytest.approx([0.001 * 105.8 * (469 / 599) ** 2, 0.12 * 105.8])
    assert float(copper.leakage(main).high) == pytest.approx(0.05 * 105.8)
    assert float(copper.siemens) / unit**2 == pytest.approx(0.15 * 500 * (599 / 230) ** 2)


def test_shorted_turns_are_a_loop_that_takes_so_many_volt_amperes_at_nominal_volts() -> None:
    """From 230/599 to 230/469 V a turn: the least impedance has the fewest volts and the most VA."""
    stage = isolation()
    source = SmallSource(KnownCopper(stage.bench.table))
    unit = float(stage.bench.circuit.turn_unit)
    shorted = [
        one for one in stage.hypotheses if len(one) == 1 and one[0].shorted is not None and one[0].part == "main"
    ]
    assert len(shorted) > 3
    for one in shorted:
        span = one[0].shorted
        assert span is not None
        circuit = faulty_circuit(stage.bench.circuit, one)
        (loop,) = (each for each in circuit.sections if each.name == "shorted turns of main")
        ends = [source._loop(one, loop, side).real for side in (0, 1)]
        hand = [(230 / 599 * unit) ** 2 / float(span.high), (230 / 469 * unit) ** 2 / float(span.low)]
        assert ends == pytest.approx(hand)
