"""pandapower, a power-system library, against the loaded network: regulation of a two-winding transformer with taps.

It works in per unit on balanced three-phase networks; per unit, a single-phase transformer is the same. It knows no
autotransformer with sections, so the stage is a primary and a tapped secondary on one core.
"""

from __future__ import annotations

import os
from math import sqrt

import numpy as np
import pytest

from tapplan.network.circuit import circuit_of
from tapplan.network.flow import Impedances, flows
from tapplan.network.load import Load, load_current
from tests.examples import design

RATED_VA, HIGH_V, LOW_V = 1000.0, 2300.0, 230.0
SHORT, RESISTIVE = 6.0, 2.5  # percent: short-circuit impedance, and its resistive part


@pytest.fixture(scope="module")
def pandapower():  # type: ignore[no-untyped-def]
    try:
        import pandapower
    except ImportError:
        if os.environ.get("CI") == "true":
            pytest.fail("pandapower is not installed, and CI must not go without it")
        pytest.skip("pandapower is not installed: pip install -e '.[engines]'")
    return pandapower


def by_library(pp, load: Load, tap: int) -> float:  # type: ignore[no-untyped-def]
    """Output volts with the secondary's tap at this many steps of 2.5 %."""
    net = pp.create_empty_network(sn_mva=RATED_VA / 1e6)
    high, low = pp.create_bus(net, vn_kv=HIGH_V / 1e3), pp.create_bus(net, vn_kv=LOW_V / 1e3)
    pp.create_ext_grid(net, high, vm_pu=1.0)
    pp.create_transformer_from_parameters(
        net, high, low, sn_mva=RATED_VA / 1e6, vn_hv_kv=HIGH_V / 1e3, vn_lv_kv=LOW_V / 1e3, vk_percent=SHORT,
        vkr_percent=RESISTIVE, pfe_kw=0.0, i0_percent=0.0, tap_side="lv", tap_neutral=0, tap_min=-4, tap_max=4,
        tap_step_percent=2.5, tap_pos=tap, tap_changer_type="Ratio",
    )  # fmt: skip
    share = 1.0 if load.model == "power" else 0.0
    active = load.va * load.power_factor / 1e6
    reactive = load.va * sqrt(1 - load.power_factor**2) / 1e6
    pp.create_load(net, low, p_mw=active, q_mvar=reactive, const_z_p_percent=100 * (1 - share),
                   const_z_q_percent=100 * (1 - share))  # fmt: skip
    pp.runpp(net, trafo_model="t", tolerance_mva=1e-10, max_iteration=100, numba=False)
    return float(net.res_bus.vm_pu[low]) * LOW_V


def ours(load: Load, tap: int) -> float:
    """The same with turns: 400 on the secondary at the middle tap, 10 a step; the impedance on the secondary's side.

    The library scales the rated low side with the tap, and with it the impedance, by the square of the turns.
    """
    turns = 400 + 10 * tap
    circuit = circuit_of(design([("primary", "N", "LINE", 4000), ("secondary", "N", "OUT", turns)], {}))
    base = LOW_V**2 / RATED_VA
    ohm = complex(RESISTIVE, sqrt(SHORT**2 - RESISTIVE**2)) / 100 * base * (turns / 400) ** 2
    flow = flows(circuit, [frozenset()], Impedances((1e-9 + 0j, ohm), (), (0j,)))
    opened, behind = flow.output(circuit)[:, 0] * HIGH_V, -flow.output(circuit)[:, 1]
    return float(np.abs(opened - behind * load_current(load, opened, np.asarray(behind)))[0])


@pytest.mark.parametrize("tap", [-4, -1, 0, 2, 4])
@pytest.mark.parametrize("model", ["impedance", "power"])
@pytest.mark.parametrize(("va", "factor"), [(250.0, 1.0), (1000.0, 0.8), (1500.0, 0.6)])
def test_regulation_under_load(pandapower, tap: int, model: str, va: float, factor: float) -> None:  # type: ignore[no-untyped-def]
    load = Load(va, LOW_V, factor, model)  # type: ignore[arg-type]
    assert ours(load, tap) == pytest.approx(by_library(pandapower, load, tap), rel=1e-6)
