"""What is drawn lies in the ranges that the table of parameters states, and reaches their ends."""

import re

import numpy as np
import pytest

from witnessmark.inference.fuel.draws.fuel_prior import (
    UNIT_DIMENSIONS,
    UnknownType,
    apply_fault,
    healthy_units,
    idle_reference,
)
from witnessmark.inference.fuel.fuel_groups import (
    AIR,
    FILTER,
    GAUGE,
    LEAK,
    PUMP,
    RELIEF,
    RETURN,
    SUCTION,
)
from witnessmark.physics.fuel.supply_circuit import PSI
from witnessmark.physics.fuel.supply_types import PARAMETERS, nominal, type_circuit

N = 20000


def ranges(text: str) -> list[tuple[float, float]]:
    """Every "a to b" of a stated range, signs left out."""
    pairs = re.findall(r"-?([\d.]+) to -?([\d.]+)", text)
    return [(float(a), float(b)) for a, b in pairs]


@pytest.mark.parametrize(
    ("name", "field"),
    [("slip", "slip_share"), ("relief_slope", "relief_slope"), ("filter_drop", "filter_drop"),
     ("suction_drop", "suction_drop")],
)  # fmt: skip
def test_types_are_drawn_in_the_stated_range(name, field):
    values = UnknownType().values(np.random.default_rng(5).standard_normal((N, 8)))
    small, *large = ranges(PARAMETERS[name].type_range)
    for rows, (low, high) in (
        (values.layout < 2, small),
        (values.layout == 2, (large or [small])[0]),
    ):
        drawn = getattr(values, field)[rows]
        assert drawn.min() == pytest.approx(low, abs=0.01 * (high - low))
        assert drawn.max() == pytest.approx(high, abs=0.01 * (high - low))


def faulty(group: int):
    types = type_circuit(nominal()).take(np.zeros(N, dtype=np.intp))
    z = np.random.default_rng(6).standard_normal((N, 3))
    reference = idle_reference(types)
    return types, apply_fault(types, group, z, reference), reference


@pytest.mark.parametrize(
    ("name", "group", "size"),
    [
        ("slip", PUMP, lambda c, f, _: np.where(f.slip > c.slip, f.slip / c.slip, 0.0)),
        ("displacement", PUMP, lambda c, f, _: 100 * (1 - f.displacement / c.displacement)),
        ("filter_drop", FILTER, lambda c, f, _: f.filter_laminar / c.filter_laminar),
        ("suction_drop", SUCTION, lambda c, f, _: f.suction_laminar / c.suction_laminar),
        ("air", AIR, lambda _c, f, _: f.air),
        ("return_crack", RETURN, lambda c, f, _: (c.return_crack - f.return_crack) / PSI),
        ("relief_crack", RELIEF, lambda c, f, _: 100 * (1 - f.relief_crack / c.relief_crack)),
        ("injector_leak", LEAK, lambda _c, f, ref: f.injector_leak / ref[0]),
        ("gauge_bias", GAUGE, lambda _c, f, _: np.abs(f.gauge_bias) / PSI),
        ("gauge_gain", GAUGE, lambda _c, f, _: 100 * np.abs(f.gauge_gain)),
    ],
)
def test_faults_are_drawn_in_the_stated_range(name, group, size):
    made = size(*faulty(group))
    made = made[np.abs(made) > 1e-9]  # a valve is either its spring or its seat
    low, high = ranges(PARAMETERS[name].fault_range)[0]
    assert made.min() == pytest.approx(low, abs=0.01 * (high - low))
    assert made.max() == pytest.approx(high, abs=0.01 * (high - low))


@pytest.mark.parametrize(
    ("name", "group", "leak", "scale"),
    [("relief_leak", RELIEF, "relief_leak", 1), ("return_leak", RETURN, "return_leak", 0)],
)
def test_a_leaking_seat_is_now_and_then_beyond_its_range(name, group, leak, scale):
    _, made, (conductance, delivery) = faulty(group)
    unit = delivery / np.sqrt(75.0 * PSI) if scale else conductance
    share = (getattr(made, leak) / unit)[getattr(made, leak) > 0]
    low, high = ranges(PARAMETERS[name].fault_range)[0]
    most = float(re.search(r"up to ([\d.]+)", PARAMETERS[name].fault_range).group(1))
    assert share.min() == pytest.approx(low, abs=0.01)
    assert share.max() == pytest.approx(most, rel=0.02)
    assert np.mean(share > high) == pytest.approx(0.1, abs=0.01)


def test_one_truck_scatters_as_stated():
    types = type_circuit(nominal()).take(np.zeros(N, dtype=np.intp))
    units = healthy_units(types, np.random.default_rng(7).standard_normal((N, UNIT_DIMENSIONS)))
    for name, p in PARAMETERS.items():
        field = {"filter_drop": "filter_laminar", "suction_drop": "suction_laminar",
                 "relief_slope": "relief_gain"}.get(name, name)  # fmt: skip
        if name.startswith("gauge"):  # the small error of a gauge is integrated out, not drawn
            continue
        drawn = getattr(units, field)
        spread = 0.0 if np.all(drawn == drawn[0]) else float(np.log(drawn).std())
        assert spread == pytest.approx(p.unit_spread, abs=0.02 * max(p.unit_spread, 0.01)), name
