"""Statements on engines of a third and a fourth physics: how often right, how often heard.

    python studies/fuel_supply/third.py [ENGINES] [SEED]

Writes ``THIRD.md``. Equal shares of the eleven fault kinds of every size, 7 % with nothing wrong,
13 % with two faults; an engine counts when it lost 3 psi at idle, at 1,500 r/min or on a pull, or
its gauge is wrong, or nothing is. Each is read with a gauge of the usual error at the speeds a shop
uses. The inference knows none of the equations in ``third_physics.py`` and
``rounds/fourth_physics.py``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np
import third_physics
from studies.wilson import wilson
from third_physics import FAULTS, Engines

from witnessmark.inference.fuel.draws.fuel_posterior import FuelPosterior, infer
from witnessmark.inference.fuel.draws.fuel_prior import UnknownType
from witnessmark.inference.fuel.draws.fuel_table import build_table
from witnessmark.inference.fuel.fuel_groups import GROUPS
from witnessmark.inference.fuel.fuel_observations import (
    FLOW,
    GALLERY,
    INHG,
    PREFILTER,
    VACUUM,
    Key,
    Observation,
)
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI

sys.path.append(str(Path(__file__).parent / "rounds"))

import fourth_physics

PHYSICS: dict[str, ModuleType] = {"third": third_physics, "fourth": fourth_physics}
TWO = ("idle", "work", "flow idle", "vacuum")
THREE = (*TWO, "flow work", "before the filter")
STAGES = {"two pressures, one flow, vacuum": TWO, "stage three": THREE}
_ZONES = ("supply", "return", "filter", "suction", "gauge", "other")


@dataclass(frozen=True)
class Truth:
    """One engine: the groups at fault, and what was read."""

    groups: frozenset[int]
    kinds: tuple[str, ...]
    read: dict[str, Observation]


def truths(count: int, seed: int, physics: ModuleType = third_physics) -> list[Truth]:
    """Draw *count* engines with their readings."""
    rng = np.random.default_rng(seed)
    sick, first, second = _population(rng, 3 * count + 200, physics)
    chosen = np.arange(min(count, len(sick)))
    read = _readings(sick.take(chosen), rng, physics)
    names = tuple(FAULTS)
    out = []
    for i in chosen:
        kinds = tuple(names[k] for k in (first[i], second[i]) if k >= 0)
        groups = frozenset(FAULTS[k] for k in kinds)
        out.append(Truth(groups, kinds, {k: make(int(i)) for k, make in read.items()}))
    return out


def _population(
    rng: np.random.Generator, n: int, physics: ModuleType
) -> tuple[Engines, np.ndarray, np.ndarray]:
    """Return of n engines those that come into a shop, and the numbers of their faults."""
    solve, with_fault = physics.solve, physics.with_fault
    sound = physics.draw(rng, n)
    first = rng.integers(0, len(FAULTS), n)
    second = rng.integers(0, len(FAULTS), n)
    u = rng.random(n)
    first = np.where(u < 0.07, -1, first)
    second = np.where((u > 0.87) & (second != first), second, -1)
    sick = with_fault(with_fault(sound, first, rng), second, rng)
    lost = np.zeros(n)
    for rpm, load in ((650.0, 0.0), (1500.0, 0.0), (1500.0, 1.0)):
        lost = np.maximum(lost, solve(sound, rpm, load).gallery - solve(sick, rpm, load).gallery)
    gauge = len(FAULTS) - 1
    counts = (lost >= 3.0) | (first == -1) | (first == gauge) | (second == gauge)
    come = np.flatnonzero(counts)
    return sick.take(come), first[come], second[come]


def _readings(
    e: Engines, rng: np.random.Generator, physics: ModuleType
) -> dict[str, Callable[[int], Observation]]:
    n, solve = len(e), physics.solve
    idle = rng.choice([600.0, 650.0, 700.0], n)
    work = rng.choice([1400.0, 1500.0], n)
    at_idle = solve(e, idle + rng.normal(0.0, 10.0, n))
    at_work = solve(e, work + rng.normal(0.0, 15.0, n))
    off = rng.normal(0.0, 1.6, n) + e.gauge_off
    share = 1.0 + rng.normal(0.0, 0.005, n) + e.gauge_share
    # air makes the needle unsteady
    flutter = np.hypot(1.0, 12.0 * e.air)

    def shown(true: np.ndarray) -> np.ndarray:
        return np.maximum(true * share + off + flutter * rng.standard_normal(n), 0.0) * PSI

    def timed(true: np.ndarray) -> np.ndarray:
        sd = np.hypot(2.5, 0.04 * true)
        return np.maximum(true + sd * rng.standard_normal(n), 0.0) * L_PER_H

    suction = np.maximum(at_work.vacuum + 0.5 * rng.standard_normal(n), 0.0) * INHG
    values = {
        "idle": (GALLERY, idle, shown(at_idle.gallery)),
        "work": (GALLERY, work, shown(at_work.gallery)),
        "flow idle": (FLOW, idle, timed(at_idle.back)),
        "flow work": (FLOW, work, timed(at_work.back)),
        "vacuum": (VACUUM, work, suction),
        "before the filter": (PREFILTER, work, shown(at_work.prefilter)),
    }

    def maker(name: str) -> Callable[[int], Observation]:
        quantity, rpm, value = values[name]
        pressure = quantity in {GALLERY, PREFILTER}
        return lambda i: Observation(
            quantity, Key(float(rpm[i])), float(value[i]),
            gauge="gauge" if pressure else "", gauge_sd=1.6 * PSI if pressure else 0.0, entry=name,
        )  # fmt: skip

    return {name: maker(name) for name in values}


class Ceiling:
    """What the readings hold for one who knows every law and share: weighted draws of the truth."""

    def __init__(self, n: int, seed: int, physics: ModuleType) -> None:
        rng = np.random.default_rng(seed)
        e, first, second = _population(rng, n, physics)
        of = np.array(list(FAULTS.values()))
        self._at_fault = np.zeros((len(e), 9), dtype=bool)
        for kind in (first, second):
            has = np.flatnonzero(kind >= 0)
            self._at_fault[has, of[kind[has]]] = True
        self._e = e
        speeds = (600.0, 650.0, 700.0, 1400.0, 1500.0)
        self._states = {rpm: physics.solve(e, rpm) for rpm in speeds}

    def chances(self, read: dict[str, Observation], names: tuple[str, ...]) -> np.ndarray:
        """Return P(group at fault) of the nine groups."""
        e, obs = self._e, [read[n] for n in names]
        pressures = [o for o in obs if o.quantity in {GALLERY, PREFILTER}]
        log = np.zeros(len(e))
        for o in obs:
            state = self._states[o.key.rpm]
            if o.quantity == FLOW:
                sd = np.hypot(2.5, 0.05 * state.back)  # the speed is not quite held
                log += -0.5 * ((o.value / L_PER_H - state.back) / sd) ** 2 - np.log(sd)
            elif o.quantity == VACUUM:
                log += -0.5 * ((o.value / INHG - state.vacuum) / 0.55) ** 2
        # one gauge: its error is common to all pressures, and integrated out
        loose = np.hypot(np.hypot(1.0, 12.0 * e.air), 0.8)
        left = np.array([
            o.value / PSI - e.gauge_off - (1.0 + e.gauge_share)
            * (self._states[o.key.rpm].gallery if o.quantity == GALLERY
               else self._states[o.key.rpm].prefilter)
            for o in pressures
        ])  # fmt: skip
        m = len(pressures)
        common = 1.7**2 / (loose**2 * (loose**2 + m * 1.7**2))
        square = (left**2).sum(axis=0) / loose**2 - common * left.sum(axis=0) ** 2
        log += -0.5 * square - (m - 1) * np.log(loose) - 0.5 * np.log(loose**2 + m * 1.7**2)
        weight = np.exp(log - log.max())
        return np.asarray(weight @ self._at_fault / weight.sum())


@dataclass
class Score:
    """What the statements came to over the engines of a stage."""

    chances: list[np.ndarray]
    healthy: list[float]
    truths: list[Truth]
    fits: list[bool]
    seconds: float = 0.0


def score(engines: list[Truth], names: tuple[str, ...]) -> Score:
    """Assess every engine by the named readings."""
    table = build_table(UnknownType())
    out = Score([], [], [], [])
    start = time.process_time()
    for truth in engines:
        found: FuelPosterior = infer(table, [truth.read[n] for n in names])
        out.chances.append(found.group_probabilities()[:9])
        out.healthy.append(found.healthy())
        out.truths.append(truth)
        out.fits.append(found.fits)
    out.seconds = time.process_time() - start
    return out


def lines(name: str, s: Score) -> list[str]:
    """Return the rows of a stage."""
    chances, healthy = np.array(s.chances), np.array(s.healthy)
    at_fault = np.array([[g in t.groups for g in range(9)] for t in s.truths])
    sick = at_fault.any(axis=1)
    best = chances.argmax(axis=1)
    top = chances.max(axis=1)
    right = at_fault[np.arange(len(best)), best]
    zones = np.array([[chances[i, [g for g, x in enumerate(GROUPS) if x.zone == z]].sum()
                       for z in _ZONES] for i in range(len(best))])  # fmt: skip
    zone = zones.argmax(axis=1)
    zone_right = np.array(
        [
            any(GROUPS[g].zone == _ZONES[z] for g in t.groups)
            for z, t in zip(zone, s.truths, strict=True)
        ]
    )
    n = len(best)
    out = [f"| {name} | {n} | {_share(right & sick, sick)} | {_share(zone_right & sick, sick)} "]
    fits = np.array(s.fits)
    for least in (0.8, 0.9):
        said = (top >= least) & fits
        out.append(f"| {_share(said, np.ones(n, bool))} | {_share(right & said, said)} ")
    sound = ~sick
    blamed = sound & (top >= 0.8)
    out.append(
        f"| {_share(sound & (healthy > top), sound)} | {int(blamed.sum())} of {int(sound.sum())} "
    )
    out.append(f"| {_ece(chances[:, :8], at_fault[:, :8]):.3f} | {s.seconds / n:.2f} s |")
    return ["".join(out)]


def _share(part: np.ndarray, of: np.ndarray) -> str:
    k, n = int((part & of).sum()), int(of.sum())
    if not n:
        return "none"
    low, high = wilson(k, n)
    return f"{k} of {n}: {k / n:.2f} ({low:.2f} to {high:.2f})"


def _ece(chance: np.ndarray, true: np.ndarray) -> float:
    p, t = chance.ravel(), true.ravel()
    bins = np.minimum((p * 10).astype(int), 9)
    return float(sum(abs(p[bins == b].mean() - t[bins == b].mean()) * (bins == b).mean()
                     for b in range(10) if (bins == b).any()))  # fmt: skip


HEAD = (
    "| readings | engines | top-1 by group | zone | .80 and more said | right | .90 and more said "
    "| right | nothing wrong: told first | blamed at .80 | calibration error | processor |\n"
    "|-|-|-|-|-|-|-|-|-|-|-|-|"
)


def ceiling(engines: list[Truth], names: tuple[str, ...], known: Ceiling) -> Score:
    """Assess every engine by the truth's own laws."""
    out = Score([known.chances(t.read, names) for t in engines], [], engines, [True] * len(engines))
    out.healthy = [float(np.prod(1.0 - c)) for c in out.chances]
    return out


def main(count: int, seed: int) -> None:
    """Run both stages on both physics and write the tables."""
    parts = [f"# Engines of a third and a fourth physics\n\n{__doc__}\nSeed {seed}."]
    for number, (physics, module) in enumerate(PHYSICS.items()):
        engines = truths(count, seed + number, module)
        known = Ceiling(200_000, 10_000 + seed + number, module)
        rows = [HEAD]
        for name, taken in STAGES.items():
            rows += lines(name, score(engines, taken))
            top = ceiling(engines, taken, known)
            rows += lines(f"{name}, by the truth's own laws and shares", top)
            print("\n".join(rows[-2:]), flush=True)
        parts.append(f"## The {physics} physics\n\n" + "\n".join(rows))
    (Path(__file__).parent / "THIRD.md").write_text("\n\n".join(parts) + "\n")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 300, int(sys.argv[2]) if len(sys.argv) > 2 else 1
    )
