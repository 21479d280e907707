"""How many effective draws carry a case with work and many readings.

    nice -n 15 python studies/fuel_supply/draws_after_work.py [CASES] [SEED]

Writes ``DRAWS.md``. Engines of the third physics; a part is renewed, rightly or not, sometimes two;
15 to 40 readings of all quantities before and after.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from studies.wilson import share
from third_physics import FAULTS, Engines, draw, solve, with_fault

from witnessmark.inference.fuel.draws.fuel_posterior import ENOUGH_AFTER_WORK, infer
from witnessmark.inference.fuel.draws.fuel_samples import Repair
from witnessmark.inference.fuel.draws.fuel_types import table_for
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

NAMES = tuple(FAULTS)


def readings(
    e: Engines, rng: np.random.Generator, count: int, stage: int, off: float
) -> list[Observation]:
    """Read an engine at random points."""
    found = []
    for _ in range(count):
        rpm, load = (
            float(rng.choice([650, 700, 1000, 1400, 1500, 1800])),
            float(rng.random() < 0.15),
        )
        at = solve(e, rpm + rng.normal(0.0, 12.0), load)
        what = rng.choice([GALLERY, GALLERY, FLOW, VACUUM, PREFILTER])
        if what == FLOW:
            value = (
                max(float(at.back[0]) * (1 + rng.normal(0, 0.04)) + rng.normal(0, 2.5), 0.0)
                * L_PER_H
            )
        elif what == VACUUM:
            value = max(float(at.vacuum[0]) + rng.normal(0, 0.5), 0.0) * INHG
        else:
            true = float((at.gallery if what == GALLERY else at.prefilter)[0])
            value = max(true + off + rng.normal(0, 1.0), 0.0) * PSI
        pressure = what in {GALLERY, PREFILTER}
        found.append(
            Observation(str(what), Key(rpm, load), value, gauge="gauge" if pressure else "",
                        gauge_sd=1.6 * PSI if pressure else 0.0, stage=stage)
        )  # fmt: skip
    return found


def main(cases: int, seed: int) -> None:
    """Run the cases and write the table."""
    table, rng = table_for(None), np.random.default_rng(seed)
    effective, counts, seconds = [], [], []
    for number in range(cases):
        sound = draw(rng, 1)
        kind = int(rng.integers(0, len(NAMES) - 1))
        sick = with_fault(sound, np.array([kind]), rng)
        total, works = int(rng.integers(15, 41)), int(rng.integers(1, 3))
        off = float(rng.normal(0.0, 1.6))
        repairs, obs, engine = [], [], sick
        for stage in range(works + 1):
            obs += readings(engine, rng, total // (works + 1), stage, off)
            if stage < works:
                right = rng.random() < 0.5
                group = FAULTS[NAMES[kind]] if right else int(rng.integers(0, 7))
                engine = sound if group == FAULTS[NAMES[kind]] else engine
                repairs.append(Repair(group, 1.0, stage + 1))
        begun = time.process_time()
        found = infer(table, obs, repairs=repairs)
        seconds.append(time.process_time() - begun)
        effective.append(found.effective)
        counts.append(len(obs))
        print(number, len(obs), works, round(found.effective), f"{seconds[-1]:.2f} s", flush=True)
    enough = sum(e >= ENOUGH_AFTER_WORK for e in effective)
    low, middle = np.quantile(effective, [0.05, 0.5])
    text = (
        f"# Effective draws after work\n\n{__doc__}\nSeed {seed}.\n\n"
        f"| cases | readings | at least {ENOUGH_AFTER_WORK:.0f} | 5th percentile | median | "
        f"processor, median |\n|-|-|-|-|-|-|\n| {cases} | {min(counts)} to {max(counts)} | "
        f"{share(enough, cases)} | {low:.0f} | {middle:.0f} | {np.median(seconds):.2f} s |\n\n"
        "Where fewer carry it, the tool says that it ran thin, and its likelihoods are drawn "
        "towards the best one by the root of the share.\n"
    )
    (Path(__file__).parent / "DRAWS.md").write_text(text)


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 60, int(sys.argv[2]) if len(sys.argv) > 2 else 1
    )
