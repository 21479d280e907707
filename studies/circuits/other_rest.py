"""Trucks that stand overnight, by other equations than the tool's.

Loads that take a power and loads that are a resistance, a controller that wakes and sleeps in
turns, batteries that give less the faster they are emptied (Peukert) and discharge themselves by
temperature, a rest voltage that bends with the charge, fuses whose metal warms, a clamp whose zero
drifts. The night is stepped through. Written before the tool's likelihood for a drain, and without
it. All sizes are from memory, none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "RestTruck", "draw_rest_truck"]

FAULTS: Mapping[str, float] = {
    "none": 0.05, "added_big": 0.16, "added_small": 0.13, "cab": 0.19, "module": 0.13,
    "alternator": 0.07, "battery": 0.13, "charge": 0.08, "film": 0.03, "switch": 0.03,
}  # fmt: skip
_TWO = 0.12


@dataclass
class RestTruck:
    """One truck: what draws on it, and what a clamp and a meter showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)


def draw_rest_truck(rng: np.random.Generator) -> RestTruck:
    """Draw a truck and take all of its readings [A, V]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if "none" not in truth and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:], p=share[1:] / share[1:].sum())))
    truck = RestTruck(frozenset(truth))
    _measure(truck, rng)
    return truck


def _rest_volts(charge: float, celsius: float) -> float:
    """Return the rested volts of a battery: straight in the middle, bent at both ends [V]."""
    bend = 0.12 * (charge - 0.5) ** 3 * 8.0
    return float(11.82 + 0.9 * charge + 0.04 * bend - 0.15 * np.exp(-charge / 0.06)
                 + 0.0004 * (celsius - 20.0))  # fmt: skip


def _load(rng: np.random.Generator, low: float, high: float) -> tuple[float, bool]:
    """Return watts at 12.5 V, spread evenly in their logarithm, and whether it is a converter."""
    return float(12.5 * np.exp(rng.uniform(np.log(low), np.log(high)))), bool(rng.random() < 0.5)


def _amps(load: tuple[float, bool], volts: float) -> float:
    watts, converter = load
    return watts / volts if converter else watts / 12.5**2 * volts


def _measure(truck: RestTruck, rng: np.random.Generator) -> None:
    truth = truck.truth
    celsius = rng.uniform(-12.0, 30.0)
    quiet = (float(12.5 * rng.uniform(0.015, 0.075)), True)
    where = {
        "added_big": _load(rng, 0.5, 9.0),
        "added_small": _load(rng, 0.09, 0.7),
        "cab": _load(rng, 0.25, 6.0),
        "module": _load(rng, 0.2, 5.0),
        "alternator": _load(rng, 0.06, 2.5),
        "film": _load(rng, 0.006, 0.09),
    }
    on = {n: v for n, v in where.items() if n in truth}
    has_switch = rng.random() < 0.6 or "switch" in truth
    if "switch" in truth and not on:
        quiet = (float(12.5 * rng.uniform(0.05, 0.35)), True)
    batteries = int(rng.choice([2, 3, 4], p=[0.25, 0.35, 0.4]))
    rated = batteries * rng.uniform(80.0, 112.0) * rng.uniform(0.7, 1.0)
    own = 0.002 * 2.0 ** ((celsius - 20.0) / 10.0)  # share a day
    if "battery" in truth:
        rated *= rng.uniform(0.35, 0.8)
        own = rng.uniform(0.04, 0.22)
    charge = rng.uniform(0.86, 1.0)
    if "charge" in truth:
        charge = rng.uniform(0.35, 0.72)
    hours, peukert = rng.uniform(9.0, 15.0), rng.uniform(1.08, 1.22)
    left = charge
    for _ in range(40):
        volts = _rest_volts(left, celsius)
        amps = _amps(quiet, volts) + sum(_amps(v, volts) for v in on.values())
        rate = rated / 20.0
        faster = max(amps / rate, 0.2) ** (peukert - 1.0)
        left = max(left - (amps * faster / rated + own / 24.0) * hours / 40.0, 0.0)
    volts = _rest_volts(charge, celsius)
    amps = {n: _amps(v, volts) for n, v in on.items()}
    if "module" in amps:  # it wakes and sleeps: the meter is read while it does one or the other
        amps["module"] *= rng.uniform(0.7, 1.25)
    total = _amps(quiet, volts) + sum(amps.values())
    drift = rng.normal(0.0, 0.012)

    def clamp(value: float) -> float:
        shown = value * rng.normal(1.0, 0.015) + drift + rng.normal(0.0, 0.006)
        return float(np.round(shown, 2))

    def fuse(current: float, low: float, high: float) -> float:
        rating = rng.choice([r for r in (5, 7.5, 10, 15, 20, 25, 30, 40) if low <= r <= high])
        cold = 0.0948 * rating**-1.14 * rng.uniform(0.85, 1.2)
        return float(np.round((current * cold * (1.0 + 0.35 * (current / rating) ** 2)
                               + abs(rng.normal(0.0, 4e-5))) * 1e4) / 1e4)  # fmt: skip

    r = truck.readings
    r["total"] = clamp(total)
    big, small = amps.get("added_big", 0.0), amps.get("added_small", 0.0)
    r["added_off"] = clamp(total - big - small)
    tapped = small * (rng.random() < 0.6) + big * (rng.random() < 0.25)
    r["cab_fuse"] = fuse(amps.get("cab", 0.0) + tapped + rng.uniform(0.0, 0.01), 5, 25)
    r["module_fuse"] = fuse(amps.get("module", 0.0) + rng.uniform(0.002, 0.03), 7.5, 30)
    r["alternator"] = clamp(amps.get("alternator", 0.0) + rng.uniform(0.0, 0.004))
    r["case"] = float(np.round(rng.uniform(0.6, 5.0) if "film" in truth
                               else abs(rng.normal(0.0, 0.13)), 2))  # fmt: skip
    if has_switch:
        live = volts - rng.uniform(0.0, 0.25) if "switch" in truth else abs(rng.normal(0.0, 0.05))
        r["behind_switch"] = float(np.round(live, 2))
    lost = 1.0 - (1.0 - own) ** 3
    if "film" in truth:
        lost += 72.0 * amps["film"] / rated
    kept = _rest_volts(0.97, celsius) - _rest_volts(max(0.97 - lost, 0.0), celsius)
    r["self_loss"] = float(np.round(kept + rng.normal(0.0, 0.015), 2))
    running = rng.normal(13.95, 0.22)
    if "charge" in truth:
        running = rng.uniform(12.4, 13.35)
    if "battery" in truth:
        running -= rng.uniform(0.0, 0.45)
    if "alternator" in truth:
        running -= rng.uniform(0.0, 0.6)
    r["running_volts"] = float(np.round(running, 2))
    r["after_night"] = float(np.round(_rest_volts(left, celsius) + rng.normal(0.0, 0.03), 2))
