"""The fuel circuit against the signature tables of the shared physics and domain papers.

Sources of the expected values: physics/FUEL.md section 2 (computed there with a model of the same
form and rounded; tolerances cover the rounding and the parameters it does not print) and
domain/DOMAIN.md section 4 (second generic circuit, another form: linear return valve). Both are
"from memory", tuned to the trade's 75 psi at idle and 95 psi at 1,500 rpm (common practice, no
source).
"""

import re

import numpy as np
import pytest

from witnessmark.physics.fuel.supply_circuit import (
    ATMOSPHERE,
    L_PER_H,
    PSI,
    Circuit,
    _Balance,
    consumption,
    solve,
)
from witnessmark.physics.fuel.supply_types import LAYOUTS, PARAMETERS, nominal, type_circuit

INHG = 3386.389  # Pa, NIST SP 811
GPM = 3.785411784e-3 / 60  # m3/s, NIST SP 811


def circuit(layout: str = "relief_regulates", **changes: float) -> Circuit:
    """Return the generic circuit with faults as the papers write them."""
    c = type_circuit(nominal(layout))
    idle = solve(c, 650.0)
    conductance = idle.return_flow / np.sqrt(idle.gallery)
    made = {}
    for name, value in changes.items():
        if name == "relief":
            made["relief_crack"] = c.relief_crack * (1 + value)
        elif name == "slip":
            made["slip"] = c.slip * value
        elif name == "spring":
            made["return_crack"] = c.return_crack + value * PSI
        elif name == "seat":
            made["return_leak"] = value * conductance
        elif name in {"filter", "suction"}:
            made[f"{name}_laminar"] = getattr(c, f"{name}_laminar") * value
            made[f"{name}_turbulent"] = getattr(c, f"{name}_turbulent") * value
        elif name == "air":
            made["air"] = c.air * 0 + value
        elif name == "leak":
            made["injector_leak"] = value * conductance
            made["leak_to_return"] = c.air * 0 + 0.5
        elif name == "held_open":
            made["relief_leak"] = value * GPM / np.sqrt(75 * PSI) + 0 * c.air
    return c.with_(**made)


# fault: idle, 1,000, 1,400, 1,800, full load 1,500, filter drop, return L/h idle/1,400,
# vacuum inHg 1,400 / full load, throttled. FUEL.md section 2.
SIGNATURES = [
    ({}, 75, 86, 93, 100, 86.5, 1.8, 114, 153, 1.8, 2.5, 96),
    ({"relief": -0.12}, 72, 79, 85, 92, 79, 1.6, 107, 137, 1.7, 2.3, 86),
    ({"relief": -0.25}, 65, 70, 77, 83, 71, 1.4, 85, 118, 1.5, 2.1, 75),
    ({"slip": 3.5}, 65, 83, 90, 96, 83, 1.8, 87, 146, 1.7, 2.4, 91),
    ({"slip": 7}, 58, 72, 85, 92, 75, 1.6, 56, 137, 1.6, 2.2, 86),
    ({"spring": -12}, 64, 84, 91, 98, 84, 2.1, 116, 170, 1.9, 2.7, 96),
    ({"spring": -28}, 49, 80, 89, 96, 81, 2.3, 118, 191, 2.1, 2.9, 96),
    ({"seat": 0.2}, 68, 84, 91, 98, 84, 2.1, 115, 173, 2.0, 2.7, 96),
    ({"seat": 0.5}, 60, 79, 87, 94, 80, 2.5, 116, 202, 2.2, 2.9, 96),
    ({"filter": 10}, 72, 77, 82, 87, 70, 15.6, 105, 130, 1.6, 2.1, 96),
    ({"filter": 25}, 64, 67, 70, 74, 57, 30, 81, 102, 1.4, 1.7, 95),
    ({"suction": 10}, 74, 86, 93, 100, 85, 1.8, 113, 152, 11, 17, 96),
    ({"suction": 22}, 73, 85, 91, 96, 65, 1.8, 110, 149, 22, 26, 96),
    ({"air": 0.08}, 72, 85, 91, 98, 84, 1.8, 105, 149, 1.8, 2.4, 95),
    ({"air": 0.22}, 67, 83, 89, 94, 81, 1.7, 91, 144, 1.7, 2.4, 93),
    ({"leak": 0.15}, 69, 85, 91, 98, 85, 2.0, 107, 159, 1.9, 2.6, 95),
    ({"leak": 0.4}, 62, 81, 88, 95, 82, 2.4, 95, 168, 2.2, 2.9, 93),
]


@pytest.mark.parametrize("row", SIGNATURES, ids=lambda r: str(r[0]) or "healthy")
def test_signatures_of_the_first_circuit(row):
    fault, idle, low, work, high, pull, drop, flow_1, flow_2, vac_1, vac_2, shut = row
    c = circuit(**fault)
    for rpm, load, expected in (
        (650, 0, idle), (1000, 0, low), (1400, 0, work), (1800, 0, high), (1500, 1, pull),
    ):  # fmt: skip
        assert solve(c, rpm, load).gallery[0] / PSI == pytest.approx(expected, abs=1.1)
    at = solve(c, 1400.0)
    assert (at.prefilter - at.gallery)[0] / PSI == pytest.approx(drop, abs=0.7)
    assert solve(c, 650.0).return_flow[0] / L_PER_H == pytest.approx(flow_1, abs=2.0)
    assert at.return_flow[0] / L_PER_H == pytest.approx(flow_2, abs=2.5)
    assert at.vacuum[0] / INHG == pytest.approx(vac_1, abs=0.6)
    assert solve(c, 1500.0, 1.0).vacuum[0] / INHG == pytest.approx(vac_2, abs=0.6)
    assert solve(c, 650.0, throttled=True).gallery[0] / PSI == pytest.approx(shut, abs=0.9)


# fault: 700, 1,000, 1,500, 1,800, 1,500 full load; vacuum 700/1,500; return gpm 700/1,500;
# blocked at idle. DOMAIN.md section 4 (its own constants are not printed: wider tolerance; its
# suction "x4" is x3 on our drop, which is half turbulent; the two papers differ in how much air
# leaves solution under vacuum, so its pressures are only held to 8 psi).
SECOND = [
    ({}, 76, 83, 95, 103, 92, 2, 5, 1.3, 2.9, 127),
    ({"slip": 4}, 70, 76, 88, 95, 84, 1, 4, 0.8, 2.3, 118),
    ({"slip": 10}, 60, 66, 76, 81, 73, 1, 2, 0.0, 1.3, 62),
    ({"relief": 78 / 115 - 1}, 76, 79, 83, 86, 82, 2, 3, 1.3, 1.9, 88),
    ({"spring": -18}, 58, 66, 78, 85, 74, 2, 5, 1.3, 3.0, 127),
    ({"air": 0.15}, 73, 79, 90, 96, 86, 2, 4, 1.1, 2.4, 125),
    ({"air": 0.40}, 69, 73, 80, 85, 77, 1, 3, 0.7, 1.7, 121),
    ({"suction": 3}, 76, 83, 90, 93, 86, 5, 13, 1.3, 2.4, 127),
]


@pytest.mark.parametrize("row", SECOND, ids=lambda r: str(r[0]) or "healthy")
def test_second_circuit_with_the_relief_shut(row):
    fault, p700, p1000, p1500, p1800, pull, vac_1, vac_2, gpm_1, gpm_2, shut = row
    c = circuit("large_pump", **fault)
    for rpm, load, expected in (
        (700, 0, p700), (1000, 0, p1000), (1500, 0, p1500), (1800, 0, p1800), (1500, 1, pull),
    ):  # fmt: skip
        assert solve(c, rpm, load).gallery[0] / PSI == pytest.approx(
            expected, abs=8 if fault.get("suction") else 4.5
        )
    assert solve(c, 700.0).vacuum[0] / INHG == pytest.approx(vac_1, abs=1.6)
    assert solve(c, 1500.0).vacuum[0] / INHG == pytest.approx(vac_2, abs=2.0)
    assert solve(c, 700.0).return_flow[0] / GPM == pytest.approx(gpm_1, abs=0.3)
    assert solve(c, 1500.0).return_flow[0] / GPM == pytest.approx(
        gpm_2, abs=0.6 if fault.get("suction") else 0.35
    )
    if fault.get("slip") != 10:  # its blocked figure rests on constants that are not printed
        assert solve(c, 700.0, throttled=True).gallery[0] / PSI == pytest.approx(shut, abs=5.0)


def test_healthy_types_show_the_trade_pressures():
    for layout, idle in zip(LAYOUTS, (650.0, 650.0, 700.0), strict=True):
        c = type_circuit(nominal(layout))
        assert solve(c, idle).gallery[0] / PSI == pytest.approx(75, abs=1.2)
        assert solve(c, 1500.0).gallery[0] / PSI == pytest.approx(95, abs=0.5)


def test_relief_is_shut_in_health_where_it_is_a_safety_only():
    for layout in ("relief_shut", "large_pump"):
        c = type_circuit(nominal(layout))
        s = solve(c, 1800.0)
        assert s.relief_flow[0] < 0.02 * c.displacement[0] * 1800.0
    assert solve(type_circuit(nominal()), 1500.0).relief_flow[0] / L_PER_H > 50


def many(n: int, seed: int) -> Circuit:
    """Return circuits far outside what is healthy: every part may be wrecked."""
    rng = np.random.default_rng(seed)
    base = type_circuit(nominal())
    c = base.take(np.zeros(n, dtype=np.intp))
    scale = {
        "displacement": (0.2, 3), "slip": (0.2, 40), "relief_crack": (0.1, 2),
        "relief_gain": (0.1, 10), "filter_laminar": (0.1, 200), "filter_turbulent": (0.1, 200),
        "suction_laminar": (0.1, 100), "suction_turbulent": (0.1, 100), "return_crack": (0.01, 1.6),
        "return_orifice": (0.05, 20), "viscosity": (0.5, 8),
    }  # fmt: skip
    made = {
        k: getattr(c, k) * np.exp(rng.uniform(np.log(a), np.log(b), n))
        for k, (a, b) in scale.items()
    }
    made["air"] = rng.uniform(0, 0.8, n)
    made["relief_leak"] = rng.uniform(0, 3, n) * c.displacement * 650 / np.sqrt(75 * PSI)
    made["return_leak"] = rng.uniform(0, 3, n) * c.displacement * 650 / np.sqrt(75 * PSI)
    return c.with_(**made)


def spare_flow(c: Circuit, p: np.ndarray, rpm: float, load: float, shut: bool) -> np.ndarray:
    """Return what the pump gives less what leaves it [m3/s]: the balance of FUEL.md section 1."""
    x = np.maximum(p - c.return_crack, 0)
    leaks = c.injector_leak * np.sqrt(p + 1)
    back = c.return_orifice * x / np.sqrt(x + 0.1 * PSI) + c.return_leak * np.sqrt(p + 1)
    back = back + c.return_linear * x
    out = consumption(rpm, load) + (leaks * (1 - c.leak_to_return) if shut else leaks + back)
    po = p + c.filter_laminar * c.viscosity * out + c.filter_turbulent * out**2
    w = 1.5 * PSI
    relief = c.relief_gain * w * np.logaddexp(0, (po - c.relief_crack) / w)
    relief = relief + c.relief_leak * np.sqrt(po + 1)
    inlet = (
        ATMOSPHERE - c.lift - (c.suction_laminar * c.viscosity + c.suction_turbulent * out) * out
    )
    safe = np.maximum(inlet, 0.2 * PSI)
    fill = safe / (safe + c.air * ATMOSPHERE + c.release * (ATMOSPHERE - safe))
    fill = fill / (1 + np.exp(-np.clip((inlet - 1.6 * PSI) / (0.25 * PSI), -60, 60)))
    return c.displacement * rpm * fill - c.slip * po / c.viscosity - relief - out


POINTS = [(650, 0, False), (650, 0, True), (1500, 1, False), (350, 0.3, False), (2600, 0, False)]


@pytest.mark.parametrize(("rpm", "load", "shut"), POINTS)
def test_solution_satisfies_the_balance_even_for_wrecks(rpm, load, shut):
    c = many(4000, 1)
    s = solve(c, rpm, load, throttled=shut)
    for field in (s.gallery, s.prefilter, s.vacuum, s.return_flow):
        assert np.all(np.isfinite(field))
    by = 0.01 * PSI  # just below the answer there is flow to spare, just above too little
    at = s.gallery
    inside = (at > 2 * by) & (at < 299 * PSI)
    assert inside.mean() > 0.25
    assert np.all(spare_flow(c, np.maximum(at - by, 0), rpm, load, shut)[inside] >= 0)
    assert np.all(spare_flow(c, at + by, rpm, load, shut)[inside] <= 0)
    starved = at == 0
    assert np.all(spare_flow(c, at + by, rpm, load, shut)[starved] <= 0)


def test_many_at_once_equal_one_at_a_time():
    c = many(9000, 2)
    whole = solve(c, 1400.0)
    for i in (0, 17, 4095, 4096, 8999):
        one = solve(c.take(np.array([i])), 1400.0)
        assert one.gallery[0] == pytest.approx(whole.gallery[i], abs=0.01 * PSI)
        assert one.return_flow[0] == pytest.approx(whole.return_flow[i], abs=0.05 * L_PER_H)


def test_a_starting_guess_changes_nothing():
    c = many(3000, 3)
    far = np.random.default_rng(4).uniform(0, 200 * PSI, 3000)
    plain, guessed = solve(c, 1500.0).gallery, solve(c, 1500.0, guess=far).gallery
    assert np.max(np.abs(plain - guessed)) < 0.01 * PSI


def test_a_circuit_that_is_solved_stays_solved(monkeypatch):
    # One that is there already was thrown back to the far end of its bracket by the next step.
    c = type_circuit(nominal())
    many = c.with_(displacement=np.linspace(0.8, 1.2, 300) * c.displacement)
    answer = solve(many, 1400.0).gallery
    rows = []
    kept = _Balance.value_and_slope

    def counted(law, p):
        rows.append(len(p))
        return kept(law, p)

    monkeypatch.setattr(_Balance, "value_and_slope", counted)
    guess = answer.copy()
    guess[::50] = 20.0 * PSI
    again = solve(many, 1400.0, guess=guess).gallery
    assert again == pytest.approx(answer, abs=0.01 * PSI)
    assert sum(rows) < 4 * 300, "only the few with a poor start go on"


def test_directions_a_technician_expects():
    c = circuit()
    assert solve(c, 1500.0).gallery > solve(c, 650.0).gallery
    assert solve(c, 1500.0, 1.0).gallery < solve(c, 1500.0, 0.5).gallery < solve(c, 1500.0).gallery
    # low with a strong return: return side; low with a weak return: supply side
    healthy = solve(c, 650.0).return_flow
    assert solve(circuit(seat=0.5), 650.0).return_flow > 0.98 * healthy
    assert solve(circuit(slip=7), 650.0).return_flow < 0.6 * healthy
    # slip follows the viscosity, a leaking seat does not
    cold, hot = 2.0, 0.8
    worn, seat = circuit(slip=7), circuit(held_open=0.35)
    gain_worn = (
        solve(worn, 650.0, viscosity=cold).gallery - solve(worn, 650.0, viscosity=hot).gallery
    )
    gain_seat = (
        solve(seat, 650.0, viscosity=cold).gallery - solve(seat, 650.0, viscosity=hot).gallery
    )
    assert gain_worn > 2.5 * gain_seat


def test_every_parameter_says_unit_range_and_source():
    for p in PARAMETERS.values():
        assert p.unit
        assert p.source
        assert re.search(r"\d", f"{p.type_range} {p.fault_range}"), p.name


def test_consumption_of_the_generic_engine():
    # FUEL.md section 1: 2.5 L/h at 650 rpm no load, 92 L/h at 1,500 rpm full load (from memory)
    assert consumption(650, 0) / L_PER_H == pytest.approx(2.5)
    assert consumption(1500, 1) / L_PER_H == pytest.approx(92)
    assert consumption(1500, 0) / L_PER_H < 10


def test_the_nominal_type_stands_at_its_two_tuned_pressures() -> None:
    """Two balances are solved for what a type is told by; the solver must find them again.

    The relief valve's soft opening, left out of them, may cost a tenth of a psi.
    """
    values = nominal()
    for rpm, psi in ((650.0, values.idle_psi), (1500.0, values.rated_psi)):
        found = solve(type_circuit(values), rpm).gallery / PSI
        assert found == pytest.approx(psi, abs=0.12)
