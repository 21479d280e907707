"""Trucks whose starting circuit follows other equations than the tool's.

A battery whose volts fall with the inverse hyperbolic sine of the current besides its resistance,
copper that has the temperature of the day, bad joints that soften and pass more the hotter they
get, a series-wound starter whose iron saturates and whose brushes take volts of their own, an
engine whose drag bends with speed and oil. Written before the tool's likelihood for starting, and
without it. All sizes are from memory, none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "CrankTruck", "draw_crank_truck"]

FAULTS: Mapping[str, float] = {
    "none": 0.05, "worn_battery": 0.20, "flat_battery": 0.14, "positive": 0.13,
    "ground_engine": 0.09, "ground_battery": 0.06, "starter_open": 0.08, "hard": 0.11,
    "solenoid": 0.08, "no_command": 0.06,
}  # fmt: skip
_TWO = 0.12


@dataclass
class CrankTruck:
    """One truck: what is wrong with it and what a meter and a clamp showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)


def draw_crank_truck(rng: np.random.Generator) -> CrankTruck:
    """Draw a truck and take all of its readings [V, A, rpm]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if not truth & {"none", "no_command"} and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:-1], p=share[1:-1] / share[1:-1].sum())))
    truck = CrankTruck(frozenset(truth))
    _measure(truck, rng)
    return truck


def _joint(current: float, ohm: float, soft: float) -> float:
    """Return the volts over a joint that softens: ohmic while small, slower from *soft* on [V]."""
    drop = ohm * current
    return float(soft * np.arcsinh(drop / soft)) if drop > 0.0 else 0.0


def _measure(truck: CrankTruck, rng: np.random.Generator) -> None:
    truth = truck.truth
    celsius = rng.uniform(-15.0, 32.0)
    copper = 1.0 + 0.00393 * (celsius - 20.0)
    charge = rng.uniform(0.78, 1.0)
    if "flat_battery" in truth:
        charge = rng.uniform(0.05, 0.42)
    sets = rng.choice([2, 3, 4], p=[0.35, 0.35, 0.3])
    rest = 11.75 + 1.0 * charge + rng.normal(0.0, 0.04)
    inner = rng.uniform(0.0042, 0.006) / sets * (1.0 + 0.011 * max(20.0 - celsius, 0.0))
    inner *= 1.0 + 0.9 * (1.0 - charge) ** 2
    tafel = rng.uniform(0.10, 0.17) * (1.0 + 2.2 * (1.0 - charge) ** 3)
    if "worn_battery" in truth:
        inner *= rng.uniform(2.6, 7.0)
        rest -= rng.uniform(0.0, 0.25)
    plus = rng.uniform(0.18e-3, 0.42e-3) * copper
    engine = rng.uniform(0.06e-3, 0.18e-3) * copper
    minus = rng.uniform(0.10e-3, 0.24e-3) * copper
    contact = rng.uniform(0.06e-3, 0.2e-3)
    soft = rng.uniform(1.2, 4.0)
    bad = {n: float(np.exp(rng.normal(np.log(3.2e-3), 0.8))) for n in
           ("positive", "ground_engine", "ground_battery", "solenoid")}  # fmt: skip
    extra = {n: (bad[n] if n in truth else 0.0) for n in bad}
    motor = rng.uniform(2.3e-3, 3.6e-3) * copper
    brush = rng.uniform(0.5, 1.1)
    strength, knee = rng.uniform(0.075, 0.11), rng.uniform(380.0, 620.0)
    drag = rng.uniform(11.0, 19.0) * (1.0 + 0.018 * max(20.0 - celsius, 0.0))
    slope = rng.uniform(0.035, 0.06) * (1.0 + 0.02 * max(20.0 - celsius, 0.0))
    open_brush = 0.0
    if "starter_open" in truth:
        open_brush = float(np.exp(rng.normal(np.log(9e-3), 0.7)))
    if "hard" in truth:
        drag *= rng.uniform(2.2, 7.0)
        slope *= rng.uniform(1.0, 2.0)
    gear = 12.0

    def volts(current: float) -> dict[str, float]:
        post = rest - 0.02 - inner * current - tafel * np.arcsinh(current / 45.0)
        return {
            "post": post,
            "positive": plus * current + _joint(current, extra["positive"], soft),
            "engine": engine * current + _joint(current, extra["ground_engine"], soft),
            "battery": minus * current + _joint(current, extra["ground_battery"], soft),
            "solenoid": contact * current + _joint(current, extra["solenoid"], soft),
        }

    def flux(current: float) -> float:
        return strength * current / (current + knee)

    def speed(current: float) -> float:
        """Return the starter's speed that the engine's drag leaves it at this current [rad/s]."""
        torque = flux(current) * current * 0.82 - 0.9
        surplus = torque - drag
        return float(max(surplus / slope, 0.0) ** (1 / 0.85)) if surplus > 0.0 else 0.0

    def missing(current: float) -> float:
        v = volts(current)
        left = v["post"] - v["positive"] - v["engine"] - v["battery"] - v["solenoid"]
        left -= brush + (motor + open_brush) * current
        return left - flux(current) * 1.45 * speed(current)

    low, high = 0.0, 6000.0
    for _ in range(70):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if missing(middle) > 0.0 else (low, middle)
    current = low
    if "no_command" in truth:
        current = rng.uniform(0.0, 6.0)
    v = volts(current)
    rpm = 0.0 if "no_command" in truth else speed(current) / gear * 60.0 / (2.0 * np.pi)
    meter = rng.normal(1.0, 0.003)

    def read(value: float, step: float = 0.01) -> float:
        ripple = rng.normal(0.0, 0.02 + 0.015 * abs(value) * (current > 30.0) * 0.4)
        return float(np.round((value * meter + ripple) / step) * step)

    r = truck.readings
    r["rested"] = float(np.round((rest + rng.normal(0, 0.02)) * meter, 2))
    r["cranking"] = read(v["post"])
    r["drop_positive"] = read(v["positive"])
    r["drop_ground"] = read(v["engine"] + v["battery"])
    r["drop_ground_engine"] = read(v["engine"])
    r["drop_solenoid"] = read(
        v["post"] - v["positive"] - v["engine"] - v["battery"]
        if "no_command" in truth else v["solenoid"]
    )  # fmt: skip
    r["current"] = float(np.round(max(current * rng.normal(1.0, 0.03) + rng.normal(0, 4), 0.0), -1))
    r["speed"] = float(np.round(max(rpm + rng.normal(0, 4), 0.0), -1)) if rpm > 25.0 else 0.0
    r["command"] = read(0.2 if "no_command" in truth else max(v["post"] - 0.6, 1.0), 0.1)
