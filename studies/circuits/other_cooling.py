"""Trucks on a long pull whose cooling follows other equations than the tool's.

A core cut into rows and columns, each cell with its own two temperatures, air marched through
charge cooler and core in turn; a fan with a curve of pressure against flow that works with the
wind of the road against the stack's resistance; a thermostat whose wax has a lift and a bypass that
closes as it opens; a pump whose flow falls with what stands against it; a coolant whose heat
transfer grows with its flow; heat to the coolant by a share of the fuel that rises with
recirculation. The steady state is sought by stepping. Written before the tool's likelihood for
cooling, and without it. All sizes are from memory, none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "CoolTruck", "draw_cool_truck"]

FAULTS: Mapping[str, float] = {
    "none": 0.06, "outside": 0.26, "inside": 0.1, "fan": 0.2, "flow": 0.22, "heat": 0.1,
    "display": 0.06,
}  # fmt: skip
_TWO = 0.12
_ROWS, _COLUMNS = 6, 8
_AIR, _WATER, _HEAT = 1006.0, 3550.0, 35.9e6  # J/(kg K), J/(kg K) of half glycol, J/L of fuel


@dataclass
class CoolTruck:
    """One truck: what is wrong with its cooling and what probes and the dash showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)
    rpm: dict[str, float] = field(default_factory=dict)


def draw_cool_truck(rng: np.random.Generator) -> CoolTruck:
    """Draw a truck and take all of its readings [degC, r/min, m3/s, m/s]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if "none" not in truth and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:], p=share[1:] / share[1:].sum())))
    truck = CoolTruck(frozenset(truth))
    _measure(truck, rng)
    return truck


def _core(hot: float, flow: float, air: float, cold: float, per_cell: float) -> tuple[float, float]:
    """Return the coolant's and the air's temperature behind a core in cross flow [degC].

    Args:
        hot: coolant in [degC].
        flow: heat capacity flow of the coolant [W/K].
        air: the same of the air [W/K].
        cold: air in [degC].
        per_cell: conductance of one cell [W/K].
    """
    front = np.full(_COLUMNS, cold)
    share_air, share_water = air / _COLUMNS, flow / _ROWS
    left = []
    for _ in range(_ROWS):
        temp = hot
        behind = np.empty(_COLUMNS)
        for column in range(_COLUMNS):
            gap = temp - front[column]
            heat = gap * (1.0 - np.exp(-per_cell / min(share_air, share_water)))
            heat *= min(share_air, share_water) * 0.93
            temp -= heat / share_water
            behind[column] = front[column] + heat / share_air
        left.append(temp)
        front = behind
    return float(np.mean(left)), float(front.mean())


def _measure(truck: CoolTruck, rng: np.random.Generator) -> None:
    truth = truck.truth
    outside_air = rng.uniform(12.0, 40.0)
    rpm = rng.uniform(1300.0, 1750.0)
    road = rng.uniform(9.0, 20.0)  # m/s, up a long grade
    fuel = rng.uniform(55.0, 92.0) / 3.6e6  # m3/s
    to_coolant = rng.uniform(0.21, 0.27)
    if "heat" in truth:
        to_coolant *= rng.uniform(1.25, 1.6)
    heat = fuel * 1e3 * _HEAT * to_coolant
    charge_heat = fuel * 1e3 * _HEAT * rng.uniform(0.085, 0.115)
    pump = rng.uniform(5.6, 7.4) * rpm / 1500.0  # kg/s with the thermostat open
    through = rng.uniform(0.94, 1.0)
    if "flow" in truth:
        through *= rng.uniform(0.12, 0.45)
    fan_ratio = rng.uniform(0.98, 1.28)
    locked = rng.uniform(0.93, 1.0)
    if "fan" in truth:
        locked = rng.uniform(0.0, 0.6)
    fan_rpm = rpm * fan_ratio * max(locked, rng.uniform(0.1, 0.25))
    resistance = rng.uniform(0.8, 1.25)
    fouled = 1.0
    if "outside" in truth:
        covered = rng.uniform(0.3, 0.7)
        resistance /= (1.0 - covered) ** 2
        fouled = 1.0 - 0.85 * covered
    # wind of the road and the fan's pressure against the stack: dp = k m^2
    ram = 0.5 * 1.15 * road**2 * rng.uniform(0.45, 0.7)
    fan_most = 620.0 * (fan_rpm / 1700.0) ** 2
    free = 9.5 * fan_rpm / 1700.0  # kg/s where the fan gives no pressure
    low, high = 0.1, 20.0
    for _ in range(50):
        air = 0.5 * (low + high)
        gives = ram + fan_most * (1.0 - (air / max(free, 0.3)) ** 2 if air < free else
                                  -0.3 * (air / max(free, 0.3) - 1.0))  # fmt: skip
        low, high = (air, high) if gives > 7.2 * resistance * air**2 else (low, air)
    air = 0.5 * (low + high)
    area = rng.uniform(6.2e3, 8.2e3)  # W/K of a clean core at 6.5 kg/s both
    inside = rng.uniform(0.25, 0.6) if "inside" in truth else 1.0
    if "inside" in truth:
        pump *= rng.uniform(0.75, 1.0)
    top = 85.0
    opens = rng.uniform(81.0, 84.0)
    charge_area = rng.uniform(1500.0, 2300.0) * fouled
    charge_flow = fuel * 1e3 * 0.84 * rng.uniform(22.0, 27.0) * _AIR
    for _ in range(400):
        lift = np.clip((top - opens) / 11.0, 0.0, 1.0) ** 1.2
        flow = max(pump * through * lift, 0.05)
        hot_air = outside_air + charge_heat / charge_flow
        gain = min(charge_flow, air * _AIR)
        ntu = charge_area / gain
        eff = 1.0 - np.exp(-ntu)
        charge_out = hot_air - eff * (hot_air - outside_air) * min(1.0, gain / charge_flow)
        front = outside_air + charge_flow * (hot_air - charge_out) / (air * _AIR)
        film = 1.0 / (0.75 / (air / 6.5) ** 0.55 / fouled + 0.25 / (flow / 6.5) ** 0.8 / inside)
        cell = area * film * min(inside + 0.15, 1.0) / (_ROWS * _COLUMNS)
        bottom, behind = _core(top, flow * _WATER, air * _AIR, front, cell)
        taken = flow * _WATER * (top - bottom)
        if top > 107.0:  # the driver lifts, or the engine is cut back
            heat, charge_heat, fuel = (v * 0.995 for v in (heat, charge_heat, fuel))
        top += np.clip((heat - taken) / 40e3, -1.5, 1.5)
        top = float(min(max(top, outside_air), 165.0))
    wrong = rng.choice([-1.0, 1.0], p=[0.2, 0.8]) * rng.uniform(9.0, 28.0)

    def probe(value: float, sd: float = 1.1) -> float:
        return float(np.round(value + rng.normal(0.0, sd), 0))

    r = truck.readings
    r["display"] = probe(top + (wrong if "display" in truth else 0.0) + rng.normal(0, 1.0))
    r["top"], r["bottom"] = probe(top - 0.5), probe(bottom)
    r["outside_air"] = probe(outside_air, 1.0)
    r["behind"] = probe(behind, 2.0)
    r["charge_out"] = probe(charge_out, 1.5)
    r["fan"] = float(np.round(fan_rpm * rng.normal(1.0, 0.02), -1))
    r["fuel"] = float(fuel * rng.normal(1.0, 0.03))
    r["road"] = float(road * rng.normal(1.0, 0.02))
    truck.rpm = dict.fromkeys(r, float(np.round(rpm, -1)))
