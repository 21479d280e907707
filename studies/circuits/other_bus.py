"""Trucks whose data bus is a ladder of wires, drops and control units, solved node by node.

Every control unit has a differential and two common-mode resistances of its own, every metre of
wire and every plug its ohms, terminators their tolerance; a meter has lead resistance and shows its
own steps. Written before the tool's likelihood for the bus, and without it. Sizes from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "BusTruck", "draw_bus_truck"]

FAULTS: Mapping[str, float] = {
    "elsewhere": 0.33, "one_open": 0.22, "both_open": 0.04, "third": 0.08, "short_pair": 0.08,
    "high_ground": 0.05, "low_ground": 0.05, "high_plus": 0.03, "low_plus": 0.03, "corroded": 0.09,
}  # fmt: skip


@dataclass
class BusTruck:
    """One truck: what is wrong with its bus and what a meter showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)


def draw_bus_truck(rng: np.random.Generator) -> BusTruck:
    """Draw a truck and take all of its readings [ohm, V]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truck = BusTruck(frozenset({str(rng.choice(names, p=share))}))
    truth, count = truck.truth, int(rng.integers(5, 16))
    at = int(rng.integers(0, count))
    # nodes: high k, low count + k, ground 2 count, supply 2 count + 1
    size = 2 * count + 2
    ground, supply = 2 * count, 2 * count + 1
    g = np.zeros((size, size))

    def join(a: int, b: int, ohm: float) -> None:
        g[a, a] += 1.0 / ohm
        g[b, b] += 1.0 / ohm
        g[a, b] -= 1.0 / ohm
        g[b, a] -= 1.0 / ohm

    cut = int(rng.integers(0, count - 1)) if "one_open" in truth and rng.random() < 0.5 else None
    rotten = int(rng.integers(0, count - 1)) if "corroded" in truth else None
    side = int(rng.integers(2))
    for k in range(count - 1):
        for wire in (0, 1):
            ohm = rng.uniform(0.05, 0.5)
            if wire == side and k == cut:
                ohm = 1e8
            if wire == side and k == rotten:
                ohm = float(np.exp(rng.normal(np.log(70.0), 0.9)))
            join(wire * count + k, wire * count + k + 1, ohm)
    ends = [0, count - 1]
    if "one_open" in truth and cut is None:
        ends.pop(int(rng.integers(2)))
    if "both_open" in truth:
        ends = []
    if "third" in truth:
        ends.append(int(rng.integers(0, count)))
    for k in ends:
        join(k, count + k, 120.0 * rng.uniform(0.985, 1.015) + rng.uniform(0.0, 0.8))
    for k in range(count):
        join(k, count + k, rng.uniform(20e3, 90e3))
        join(k, ground, rng.uniform(60e3, 500e3))
        join(count + k, ground, rng.uniform(60e3, 500e3))
    touch = float(np.exp(rng.normal(np.log(2.0), 1.0)))
    for name, a, b in (("short_pair", at, count + at), ("high_ground", at, ground),
                       ("low_ground", count + at, ground), ("high_plus", at, supply),
                       ("low_plus", count + at, supply)):  # fmt: skip
        if name in truth:
            join(a, b, touch)
    join(supply, ground, 1e3)

    def ohms(a: int, b: int) -> float:
        keep = [n for n in range(size) if n != b]
        current = np.zeros(size)
        current[a] = 1.0
        volts = np.linalg.solve(g[np.ix_(keep, keep)], current[keep])
        true = float(volts[keep.index(a)]) + rng.uniform(0.1, 0.6)
        return float(f"{true * rng.normal(1.0, 0.004):.3g}")

    plug = int(rng.integers(0, count))
    r = truck.readings
    r["pair"] = ohms(plug, count + plug)
    r["high_ground"] = ohms(plug, ground)
    r["low_ground"] = ohms(count + plug, ground)
    # awake: each unit biases both wires to 2.5 V; traffic lifts high and lowers low a share
    busy = rng.uniform(0.1, 0.35)
    powered = g.copy()
    current = np.zeros(size)
    for n in range(2 * count):
        bias = 1.0 / rng.uniform(20e3, 60e3)
        powered[n, n] += bias
        current[n] += bias * rng.uniform(2.4, 2.6)
    # the sending unit: 1.5 V behind 30 ohm to 3.5 V, part of the time
    send = int(rng.integers(0, count))

    def awake(driving: bool) -> np.ndarray:
        m, c = powered.copy(), current.copy()
        if driving:
            for n, volts in ((send, 3.9), (count + send, 1.1)):
                m[n, n] += 1.0 / 25.0
                c[n] += volts / 25.0
        fixed = {ground: 0.0, supply: 12.4}
        keep = [n for n in range(size) if n not in fixed]
        rest = c[keep] - sum(m[np.ix_(keep, [n])][:, 0] * v for n, v in fixed.items())
        found = np.zeros(size)
        found[keep] = np.linalg.solve(m[np.ix_(keep, keep)], rest)
        return found

    mean = (1.0 - busy) * awake(driving=False) + busy * awake(driving=True)
    r["high_volts"] = float(np.round(mean[plug] + rng.normal(0, 0.02), 2))
    r["low_volts"] = float(np.round(mean[count + plug] + rng.normal(0, 0.02), 2))
    return truck
