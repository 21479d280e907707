"""Trucks whose charging follows other equations than the tool's.

An alternator as a source behind its own reactance, so that its current bends with speed, warms and
is driven by a belt that slips once it is asked for more torque than it can carry; a regulator that
droops with the current; loads that are lamps (resistance) and converters (power); batteries that
take what their charge lets them, by an exponential of the volts over rest. The volts at the posts
are sought by bisection. Written before the tool's likelihood for charging, and without it. All
sizes are from memory, none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "ChargeTruck", "draw_charge_truck"]

FAULTS: Mapping[str, float] = {
    "none": 0.05, "alternator": 0.23, "diode": 0.08, "over": 0.04, "belt": 0.11, "positive": 0.13,
    "ground": 0.07, "sense": 0.06, "excite": 0.07, "battery": 0.1, "load": 0.06, "gauge": 0.03,
}  # fmt: skip
_TWO = 0.12


@dataclass
class ChargeTruck:
    """One truck: what is wrong with its charging and what a meter and a clamp showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)
    rpm: dict[str, float] = field(default_factory=dict)


def draw_charge_truck(rng: np.random.Generator) -> ChargeTruck:
    """Draw a truck and take all of its readings [V, A, %]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if "none" not in truth and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:], p=share[1:] / share[1:].sum())))
    truck = ChargeTruck(frozenset(truth))
    _measure(truck, rng)
    return truck


def _measure(truck: ChargeTruck, rng: np.random.Generator) -> None:
    truth = truck.truth
    rated = float(rng.choice([130.0, 145.0, 160.0, 185.0, 200.0])) * rng.uniform(0.88, 1.0)
    ratio = rng.uniform(2.5, 3.2)
    most_torque = rng.uniform(14.0, 20.0)
    if "belt" in truth:
        most_torque = rng.uniform(1.5, 6.5)
    whole = 1.0
    if "alternator" in truth:
        whole = 0.0 if rng.random() < 0.2 else rng.uniform(0.15, 0.75)
    if "diode" in truth:
        whole *= rng.uniform(0.5, 0.8)
    dead = "excite" in truth
    asked = rng.normal(14.15, 0.13)
    if "over" in truth:
        asked = rng.uniform(15.1, 16.8)
    lost_sense = 0.0
    if "sense" in truth:
        lost_sense = rng.choice([-1.0, 1.0], p=[0.45, 0.55]) * rng.uniform(0.3, 1.6)
    at_posts = rng.random() < 0.5 or "sense" in truth
    droop = rng.uniform(0.0005, 0.0022)
    plus = rng.uniform(0.4e-3, 1.3e-3)
    minus = rng.uniform(0.2e-3, 0.8e-3)
    if "positive" in truth:
        plus += float(np.exp(rng.normal(np.log(7e-3), 0.6)))
    if "ground" in truth:
        minus += float(np.exp(rng.normal(np.log(5.5e-3), 0.6)))
    lamps, converters = rng.uniform(35.0, 75.0), rng.uniform(5.0, 30.0)
    if "load" in truth:
        converters += rng.uniform(60.0, 150.0)
    rest, take = rng.uniform(12.45, 12.8), rng.uniform(1.5, 7.0)
    if "battery" in truth:
        rest -= rng.uniform(0.7, 2.0)
        take *= rng.uniform(2.0, 6.0)

    inner = rng.uniform(3.5e-3, 9e-3)

    def into_battery(volts: float) -> float:
        over = volts - rest
        if over >= 0.0:
            return float(take * np.expm1(min(over / 0.95, 6.0)))
        return float(over / inner)

    def loads(volts: float) -> float:
        return float(lamps * volts / 13.0 + converters * 13.0 / max(volts, 9.0))

    def gives(rpm: float, volts: float) -> tuple[float, float]:
        """Return the current it can give at these volts at its posts, and the belt's slip."""
        if dead or whole <= 0.0:
            return 0.0, 0.0
        most = 0.0
        for slip in np.linspace(0.0, 0.85, 35):  # the first slip at which the belt carries it
            shaft = rpm * ratio * (1.0 - slip)
            emf = 14.2 * shaft / 1500.0
            room = max(emf**2 - volts**2, 0.0)
            reach = 14.2 / 1500.0 / rated  # ohm a r/min: rated current at infinite speed
            most = whole * np.sqrt(room) / max(reach * shaft, 1e-9)
            if volts * most / 0.6 / max(shaft * np.pi / 30.0, 1.0) <= most_torque:
                return float(most), float(slip)
        return float(most), 0.85

    def settled(rpm: float) -> tuple[float, float, float]:
        """Return volts at the posts, the alternator's current and the slip."""
        low, high = 8.0, 18.0
        for _ in range(50):
            posts = 0.5 * (low + high)
            current = loads(posts) + into_battery(posts)
            own = posts + current * (plus + minus)
            most, slip = gives(rpm, own)
            seen = (posts if at_posts else own) + lost_sense + droop * current
            if current > most or seen > asked:
                high = posts
            else:
                low = posts
        posts = 0.5 * (low + high)
        return posts, max(loads(posts) + into_battery(posts), 0.0), slip

    fast, idle = float(rng.uniform(1350, 1650)), float(rng.uniform(600, 750))
    posts, output, slip = settled(fast)
    most, _ = gives(fast, posts + output * (plus + minus))
    output = min(output, most)
    posts_idle, output_idle, _ = settled(idle)
    most_idle, _ = gives(idle, posts_idle + output_idle * (plus + minus))
    output_idle = min(output_idle, most_idle)

    def volt(value: float, step: float = 2) -> float:
        return float(np.round(value * rng.normal(1.0, 0.003) + rng.normal(0, 0.01), int(step)))

    def amp(value: float) -> float:
        return float(np.round(max(value * rng.normal(1.0, 0.025) + rng.normal(0, 1.2), 0.0)))

    r = truck.readings
    r["posts"], r["posts_idle"] = volt(posts), volt(posts_idle)
    r["output"], r["output_idle"] = amp(output), amp(output_idle)
    r["drop_positive"], r["drop_ground"] = volt(output * plus), volt(output * minus)
    net = output - loads(posts)
    r["battery_amps"] = float(np.round(net * rng.normal(1.0, 0.025) + rng.normal(0, 1.5)))
    r["sense"] = volt(lost_sense * rng.uniform(0.8, 1.1) - abs(rng.normal(0, 0.02)))
    r["excite"] = volt(rng.uniform(0.0, 1.5) if dead else posts - rng.uniform(0.1, 0.9))
    ripple = rng.uniform(0.03, 0.2) * (0.4 + output / rated)
    if "diode" in truth:
        ripple += rng.uniform(0.35, 1.3)
    if "battery" in truth:
        ripple *= rng.uniform(1.2, 2.5)
    r["ripple"] = volt(ripple)
    back = rng.uniform(0.0, 0.006)
    if "diode" in truth and rng.random() < 0.85:
        back += float(np.exp(rng.uniform(np.log(0.04), np.log(2.0))))
    r["back"] = float(np.round(back + rng.normal(0, 0.008), 2))
    r["slip"] = float(np.round(100.0 * np.clip(slip + rng.normal(0.0, 0.012), 0.0, 1.0)))
    wrong = rng.choice([-1.0, 1.0]) * rng.uniform(0.4, 2.2) if "gauge" in truth else 0.0
    r["gauge"] = float(np.round(wrong + rng.normal(-0.08, 0.1), 1))
    truck.rpm = {"posts": fast, "output": fast, "posts_idle": idle, "output_idle": idle}
