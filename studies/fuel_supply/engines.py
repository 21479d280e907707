"""Simulated engines with their readings, for the accuracy study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from other_physics import apply, recentre, solve_other

from witnessmark.inference.fuel_groups import HYPOTHESES
from witnessmark.inference.fuel_observations import (
    CHECK,
    FLOW,
    GALLERY,
    INHG,
    PREFILTER,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
)
from witnessmark.inference.fuel_prior import DIMENSIONS, TypePrior, draws, idle_reference
from witnessmark.inference.fuel_table import faulty
from witnessmark.physics.fuel_supply import L_PER_H, PSI, solve

GAUGE_SD = 1.6 * PSI

#: Name -> (quantity, rpm, load).
READINGS = {
    "idle": (GALLERY, 650, 0), "1000": (GALLERY, 1000, 0), "1400": (GALLERY, 1400, 0),
    "1800": (GALLERY, 1800, 0), "pull": (GALLERY, 1500, 1), "pre": (PREFILTER, 1400, 0),
    "pre_pull": (PREFILTER, 1500, 1), "flow_idle": (FLOW, 650, 0), "flow_1400": (FLOW, 1400, 0),
    "vac": (VACUUM, 1400, 0), "vac_pull": (VACUUM, 1500, 1), "throttled": (THROTTLED, 650, 0),
    "check": (CHECK, 650, 0),
}  # fmt: skip
TWO = ("idle", "1400")
FOUR = ("idle", "1000", "1400", "1800")
THROUGH_FLOW = (*FOUR, "pull", "pre", "pre_pull", "flow_idle", "flow_1400")
KIT_C = (*TWO, "flow_idle", "flow_1400", "pre", "throttled", "check", "bubbles")
SETS = {"two readings": TWO, "through return flow": THROUGH_FLOW, "kit C": KIT_C}


@dataclass(frozen=True)
class Engine:
    """One engine: what is wrong with it, and every reading that could be taken."""

    truth: int
    values: dict[str, float]
    bubbles: bool

    def observations(self, names: tuple[str, ...]) -> tuple[Observation, ...]:
        """Return the named readings as the model takes them."""
        return tuple(
            Observation(q, Key(float(n), float(load), q == THROTTLED), self.values[name],
                        gauge="gauge", gauge_sd=GAUGE_SD if q in _GAUGED else 0.0)
            for name in names if name != "bubbles"
            for q, n, load in (READINGS[name],)
        )  # fmt: skip


_GAUGED = {GALLERY, PREFILTER, THROTTLED, CHECK}


def engines(
    prior: TypePrior, log_prior: np.ndarray, count: int, seed: int, *, other: bool
) -> list[Engine]:
    """Draw engines with a low reading (idle below 70 psi or 1,400 rpm below 88)."""
    rng = np.random.default_rng(seed)
    n = int(1.7 * count) + 50
    known = len(HYPOTHESES) - 1  # "something else" is no truth of this study
    p = np.exp(log_prior[:known])
    truth = rng.choice(known, n, p=p / p.sum())
    z = rng.standard_normal((n, DIMENSIONS))
    types, units = draws(prior, z)
    circuit = faulty(units, truth, z, idle_reference(types))
    friction = 0.0
    if other:
        circuit = apply(circuit, *recentre(units))
        friction = rng.normal(0, 0.8 * PSI, n)
    bias, gain = rng.normal(0, GAUGE_SD, n), rng.normal(0, 0.005, n)
    values: dict[str, np.ndarray] = {}
    states = {}
    left_out: dict[tuple, np.ndarray] = {}
    for name, (quantity, rpm, load) in READINGS.items():
        key = (rpm, load, quantity == THROTTLED)
        if key not in states:
            states[key] = (
                solve_other(circuit, rpm, load, throttled=key[2], friction=friction)
                if other
                else solve(circuit, rpm, load, throttled=key[2])
            )
        s = states[key]
        model = 0.0 if other else 1.0
        noise = rng.standard_normal(n)
        wrong = left_out.setdefault((quantity, *key), rng.standard_normal(n)) * model
        if quantity == FLOW:
            true = s.return_flow
            values[name] = (
                true + noise * np.hypot(2.5 * L_PER_H, 0.04 * true) + wrong * 3.4 * L_PER_H
            )
        elif quantity == VACUUM:
            values[name] = s.vacuum + noise * 0.4 * INHG + wrong * 0.45 * INHG
        elif quantity == CHECK:
            off = circuit.gauge_bias + circuit.gauge_gain * 75 * PSI + bias
            values[name] = off + noise * 0.8 * PSI
        else:
            true = s.prefilter if quantity == PREFILTER else s.gallery
            shown = true * (1 + circuit.gauge_gain + gain) + circuit.gauge_bias + bias
            sd = 1.5 * PSI if quantity == THROTTLED else 1.0 * PSI
            values[name] = shown + noise * sd + wrong * PSI
    chance = 0.06 + 0.92 * (1 - np.exp2(-np.maximum(circuit.air - 0.004, 0) / 0.02))
    seen = rng.random(n) < chance
    low = (values["idle"] < 70 * PSI) | (values["1400"] < 88 * PSI)
    chosen = np.flatnonzero(low)[:count]
    return [
        Engine(int(truth[i]), {k: float(v[i]) for k, v in values.items()}, bool(seen[i]))
        for i in chosen
    ]
