"""Simulated engines with their readings, for the accuracy study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from other_physics import apply, recentre, solve_other

from witnessmark.inference.fuel.draws.fuel_prior import DIMENSIONS, TypePrior, draws, idle_reference
from witnessmark.inference.fuel.draws.fuel_table import faulty
from witnessmark.inference.fuel.fuel_groups import FAMILY, GROUPS, HYPOTHESES
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    COLD,
    FLOW,
    GALLERY,
    INHG,
    PREFILTER,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
    cold_extra,
)
from witnessmark.inference.onset import mean_factor
from witnessmark.knowledge import load_knowledge
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, solve

GAUGE_SD = 1.6 * PSI

#: Name -> (quantity, rpm, load).
READINGS = {
    "idle": (GALLERY, 650, 0), "1000": (GALLERY, 1000, 0), "1400": (GALLERY, 1400, 0),
    "1800": (GALLERY, 1800, 0), "pull": (GALLERY, 1500, 1), "pre": (PREFILTER, 1400, 0),
    "pre_pull": (PREFILTER, 1500, 1), "flow_idle": (FLOW, 650, 0), "flow_1400": (FLOW, 1400, 0),
    "vac": (VACUUM, 1400, 0), "vac_pull": (VACUUM, 1500, 1), "throttled": (THROTTLED, 650, 0),
    "check": (CHECK, 650, 0), "cold": (GALLERY, 650, 0),
}  # fmt: skip
TWO = ("idle", "1400")
FOUR = ("idle", "1000", "1400", "1800")
THROUGH_FLOW = (*FOUR, "pull", "pre", "pre_pull", "flow_idle", "flow_1400")
KIT_C = (*TWO, "flow_idle", "flow_1400", "pre", "throttled", "check", "bubbles")
SETS = {"two readings": TWO, "through return flow": THROUGH_FLOW, "kit C": KIT_C}
#: Taken beside these where the study asks for it: idle once more before the engine is warm.
WITH_COLD = {"two readings + cold idle": (*TWO, "cold"), "kit C + cold idle": (*KIT_C, "cold")}
#: Shares of the faults the truths are drawn with: as judged, while the inference, which is not to
#: trust them so far, draws them towards equal (``HUMILITY``).
JUDGED = [g.judged for g in GROUPS]
#: Fuel of a cold engine: viscosity against warm, middle and spread on a log scale.
COLD_SPREAD = 0.25


@dataclass(frozen=True)
class Engine:
    """One engine: what is wrong with it, and every reading that could be taken."""

    truth: int
    values: dict[str, float]
    bubbles: bool
    sudden: bool
    loss: float

    def observations(self, names: tuple[str, ...]) -> tuple[Observation, ...]:
        """Return the named readings as the model takes them."""
        return tuple(
            Observation(q, Key(float(n), float(load), q == THROTTLED,
                               COLD if name == "cold" else 1.0),
                        self.values[name], gauge="gauge",
                        gauge_sd=GAUGE_SD if q in _GAUGED else 0.0,
                        extra_sd=cold_extra(q) if name == "cold" else 0.0)
            for name in names if name != "bubbles"
            for q, n, load in (READINGS[name],)
        )  # fmt: skip


_GAUGED = {GALLERY, PREFILTER, THROTTLED, CHECK}


def engines(
    prior: TypePrior, log_prior: np.ndarray, count: int, seed: int, *, other: bool
) -> list[Engine]:
    """Draw engines with a low reading (idle below 70 psi or 1,400 rpm below 88)."""
    rng = np.random.default_rng(seed)
    n = int(2.2 * count) + 60
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
    thick = COLD * np.exp(COLD_SPREAD * rng.standard_normal(n))
    cold_circuit = circuit.with_(viscosity=circuit.viscosity * thick)
    for name, (quantity, rpm, load) in READINGS.items():
        key = (rpm, load, quantity == THROTTLED, name == "cold")
        if key not in states:
            c = cold_circuit if name == "cold" else circuit
            states[key] = (
                solve_other(c, rpm, load, throttled=key[2], friction=friction)
                if other
                else solve(c, rpm, load, throttled=key[2])
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
    onset = load_knowledge().families[FAMILY].onset
    assert onset is not None
    factors = np.array([mean_factor(onset, g.causes, True, {}) for g in GROUPS])
    began = np.array([onset.base * np.prod(factors[list(HYPOTHESES[t])]) for t in truth])
    sudden = rng.random(n) < np.clip(began, 0.02, 0.95)
    healthy_idle, healthy_1400 = solve(units, 650.0).gallery, solve(units, 1400.0).gallery
    lost = np.maximum(
        healthy_idle - states[650, 0, False, False].gallery,
        healthy_1400 - states[1400, 0, False, False].gallery,
    )
    low = (values["idle"] < 70 * PSI) | (values["1400"] < 88 * PSI)
    chosen = np.flatnonzero(low)[:count]
    return [
        Engine(int(truth[i]), {k: float(v[i]) for k, v in values.items()}, bool(seen[i]),
               bool(sudden[i]), float(lost[i] / PSI))
        for i in chosen
    ]  # fmt: skip
