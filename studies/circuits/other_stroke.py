"""Brakes of one axle whose push rods move by other equations than the tool's.

A chamber whose area falls towards the end of its travel, a cam with a spiral profile turned by an
arm at its true angle, shoes with a clearance and a stiffness that grows as they bed in, bushings
that give until they are taken up, friction that holds a rod back, an adjuster that takes up part
of what is too much at every pedal or lets go again. The angle of the cam is sought by bisection.
Written before the tool's likelihood for the stroke, and without it. All sizes are from memory,
none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

__all__ = ["FAULTS", "StrokeTruck", "draw_stroke_truck"]

FAULTS: Mapping[str, float] = {
    "none": 0.08, "misadjusted": 0.22, "adjuster": 0.22, "foundation": 0.16, "seized": 0.12,
    "pressure": 0.1, "arm": 0.05, "chamber": 0.05,
}  # fmt: skip
_TWO = 0.1
INCH, PSI = 0.0254, 6894.757


@dataclass
class StrokeTruck:
    """One axle: what is wrong at the worse wheel, and what rule and gauge showed."""

    truth: frozenset[str]
    readings: dict[str, float] = field(default_factory=dict)


def draw_stroke_truck(rng: np.random.Generator) -> StrokeTruck:
    """Draw an axle and take all of its readings [m, Pa]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if "none" not in truth and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:], p=share[1:] / share[1:].sum())))
    truck = StrokeTruck(frozenset(truth))
    _measure(truck, rng)
    return truck


def _measure(truck: StrokeTruck, rng: np.random.Generator) -> None:
    truth = truck.truth
    arm = float(rng.choice([5.5, 6.0, 6.5])) * INCH
    ring = 8.09 * INCH
    spiral = rng.uniform(11.5e-3, 14e-3)  # rise of the cam for a radian [m]
    stiff = rng.uniform(1.2e8, 2.2e8)  # both shoes against the drum, once bedded [N/m]
    bedding = rng.uniform(0.15e-3, 0.4e-3)
    give = rng.uniform(0.1e-3, 0.35e-3)

    def wheel(*, bad: bool) -> dict[str, float]:
        own_arm, own_ring, own_give, own_stiff = arm, ring, give, stiff
        clearance = rng.uniform(0.9e-3, 1.35e-3)
        grip = rng.uniform(60.0, 160.0)
        lost = 1.0
        kept = clearance
        if bad and "misadjusted" in truth:
            clearance = kept * rng.uniform(1.5, 2.6)
        if bad and "adjuster" in truth:
            clearance = kept * rng.uniform(1.5, 2.7)
            kept = clearance * rng.uniform(0.75, 1.02)
        if bad and "foundation" in truth:
            own_give = rng.uniform(0.9e-3, 2.2e-3)
            own_stiff *= rng.uniform(0.55, 0.9)
        if bad and "seized" in truth:
            clearance *= rng.uniform(0.0, 0.35)
            kept = clearance
            grip = rng.uniform(900.0, 2600.0)
        if bad and "pressure" in truth:
            lost = rng.uniform(0.25, 0.75)
        if bad and "arm" in truth:
            own_arm += rng.choice([-1.0, 1.0]) * rng.choice([0.5, 1.0]) * INCH
        if bad and "chamber" in truth:
            own_ring = rng.choice([6.375, 7.25, 9.0]) * INCH

        area = np.pi / 4 * (own_ring - 1.1 * INCH) ** 2 * 0.87

        def rod(pressure: float, gap: float) -> float:
            """Return the push rod's way at a pressure [m]."""
            low, high = 0.0, 1.2
            for _ in range(50):
                turn = 0.5 * (low + high)
                way = own_arm * np.sin(min(turn, 1.5))
                fall = 1.0 - 0.35 * max(way / (2.5 * INCH) - 0.75, 0.0)
                push = (
                    max(pressure * area * fall - 240.0 - grip, 0.0)
                    * own_arm
                    * np.cos(0.35 * (turn - 0.4))
                )
                rise = spiral * turn - gap
                soft = max(rise - own_give, 0.0)
                back = own_stiff * soft**2 / (soft + bedding) + 6e4 * min(max(rise, 0.0), own_give)
                low, high = (turn, high) if push > back * spiral * 0.55 else (low, turn)
            return float(own_arm * np.sin(min(0.5 * (low + high), 1.5)))

        contact = own_arm * np.sin(min(clearance / spiral, 1.5))
        return {
            "applied": rod(90.0 * PSI * lost, clearance), "free": contact,
            "light": rod(30.0 * PSI * lost, clearance), "set": rod(90.0 * PSI * lost, kept),
            "arrives": 90.0 * PSI * lost, "arm": own_arm, "ring": own_ring,
        }  # fmt: skip

    one, mate = wheel(bad=True), wheel(bad=False)

    def rule(value: float, sd: float = 0.035) -> float:
        shown = value / INCH + rng.normal(0.0, sd)
        return float(max(np.round(shown * 16.0) / 16.0, 0.0) * INCH)

    r = truck.readings
    r["applied"], r["mate"] = rule(one["applied"]), rule(mate["applied"])
    r["free"], r["light"], r["set"] = rule(one["free"]), rule(one["light"]), rule(one["set"])
    r["arrives"] = float(np.round(one["arrives"] / PSI + rng.normal(0.0, 1.5)) * PSI)
    r["arm"] = float(np.round((one["arm"] - mate["arm"]) / INCH * 16 + rng.normal(0, 0.7)) / 16
                     * INCH)  # fmt: skip
    r["ring"] = float(np.round((one["ring"] - mate["ring"]) / INCH * 16 + rng.normal(0, 0.7)) / 16
                      * INCH)  # fmt: skip
