"""Speed of the fuel posterior, and its agreement with a large plain sample of the prior.

    OMP_NUM_THREADS=1 python benchmarks/fuel_supply.py

Writes benchmarks/fuel_supply.md. The reference is 2 x 1.6 million draws of the prior in two
independent halves, simply re-weighted; the error of a method is the largest difference in any
part's probability. Times are CPU seconds of one run on one core, and ratios between them.
"""

from __future__ import annotations

import platform
import sys
import time
from pathlib import Path

import numpy as np
from scipy.special import logsumexp

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "studies" / "fuel_supply"))

from engines import FOUR, KIT_C, THROUGH_FLOW, TWO, engines  # noqa: E402

from witnessmark.inference.fuel_groups import HYPOTHESES, RELIEF, RETURN  # noqa: E402
from witnessmark.inference.fuel_observations import Key, Observation  # noqa: E402
from witnessmark.inference.fuel_posterior import (  # noqa: E402
    ENOUGH,
    default_log_prior,
    infer,
)
from witnessmark.inference.fuel_prior import UnknownType  # noqa: E402
from witnessmark.inference.fuel_samples import Repair  # noqa: E402
from witnessmark.inference.fuel_table import build_table  # noqa: E402
from witnessmark.physics.fuel_supply import PSI  # noqa: E402

FIVE = (*FOUR, "pull")
MEMBERS = np.array([[g in h for g in range(9)] for h in HYPOTHESES], dtype=float)
ENGINES, TABLES = 16, 13  # 13 tables of 129,024 draws are 1.68 million


def main() -> None:
    """Measure and write the page."""
    prior, log_prior = UnknownType(), default_log_prior()
    start = time.process_time()
    table = build_table(prior)
    build = time.process_time() - start
    drawn = engines(prior, log_prior, ENGINES, 77, other=False)
    lines = [
        "# Fuel posterior: speed and agreement",
        "",
        (__doc__ or "").split("\n\n")[2].replace("\n", " "),
        "",
        f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}.",
        "",
        f"Table of {len(table.z):,} draws, nine points solved: {build:.2f} s once per type.",
        "",
        "| readings | assessments | adaptive step | CPU ms, median / slowest | against building |",
        "|-|-|-|-|-|",
    ]
    for name, chosen in (("idle + 1,400", TWO), ("four speeds + pull", FIVE),
                         ("through return flow", THROUGH_FLOW), ("kit C", KIT_C)):  # fmt: skip
        times, adapted = [], 0
        for engine in drawn:
            start = time.process_time()
            found = infer(table, engine.observations(chosen))
            times.append(time.process_time() - start)
            adapted += found.adapted
        lines.append(
            f"| {name} | {len(times)} | {adapted} | {1000 * np.median(times):.0f} / "
            f"{1000 * max(times):.0f} | 1 : {build / np.median(times):.0f} |"
        )
    for name, seen, work in after_work():
        times = []
        for _ in range(5):
            start = time.process_time()
            infer(table, seen, repairs=work)
            times.append(time.process_time() - start)
        lines.append(
            f"| {name} | {len(times)} | {len(times)} | {1000 * np.median(times):.0f} / "
            f"{1000 * max(times):.0f} | 1 : {build / np.median(times):.0f} |"
        )
    start = time.process_time()
    table.state(Key(1234.0))
    lines += [
        "",
        f"A new engine speed adds {1000 * (time.process_time() - start):.0f} ms once.",
        "",
    ]
    lines += agreement(table, drawn, log_prior)
    (HERE / "fuel_supply.md").write_text("\n".join(lines) + "\n")


def after_work() -> list[tuple[str, tuple[Observation, ...], tuple[Repair, ...]]]:
    """Return the trade's three-stage case (common practice, no source) after each repair."""
    values = ((65, 78), (70, 80), (75, 95))  # psi at idle and 1,400 rpm
    seen = [
        Observation("fuel_gallery_pressure", Key(rpm), value * PSI, stage=stage)
        for stage, pair in enumerate(values)
        for rpm, value in zip((650.0, 1400.0), pair, strict=True)
    ]
    work = (Repair(RETURN, 1.0, 1), Repair(RELIEF, 1.0, 2))
    return [
        ("two readings before and after a repair", tuple(seen[:4]), work[:1]),
        ("two readings in each of three stages", tuple(seen), work),
    ]


def agreement(table, drawn, log_prior) -> list[str]:
    """Return the lines of the comparison with the reference."""
    lines = [
        "| readings | halves of the reference differ, median / worst | product's error, median / "
        "worst | same first | table alone, median / worst |",
        "|-|-|-|-|-|",
    ]
    sets = {"idle + 1,400": TWO, "four speeds + pull": FIVE}
    halves = {name: [[[] for _ in drawn] for _ in range(2)] for name in sets}
    points = (Key(650.0), Key(1000.0), Key(1400.0), Key(1800.0), Key(1500.0, 1.0))
    for half in range(2):
        for number in range(TABLES):
            big = build_table(UnknownType(), seed=1000 * (half + 1) + number, points=points)
            for name, chosen in sets.items():
                for i, engine in enumerate(drawn):
                    found = infer(big, engine.observations(chosen), adapt=False)
                    halves[name][half][i].append(found.log_evidence)
            del big
    for name, chosen in sets.items():
        apart, wrong, plain, same = [], [], [], 0
        for i, engine in enumerate(drawn):
            both = [groups(logsumexp(halves[name][h][i], axis=0), log_prior) for h in range(2)]
            whole = groups(logsumexp(halves[name][0][i] + halves[name][1][i], axis=0), log_prior)
            product = infer(table, engine.observations(chosen)).group_probabilities()
            alone = infer(table, engine.observations(chosen), adapt=False).group_probabilities()
            apart.append(np.abs(both[0] - both[1]).max())
            wrong.append(np.abs(product - whole).max())
            plain.append(np.abs(alone - whole).max())
            same += int(np.argmax(product) == np.argmax(whole))
        lines.append(
            f"| {name} | {np.median(apart):.3f} / {max(apart):.3f} | {np.median(wrong):.3f} / "
            f"{max(wrong):.3f} | {same} of {len(drawn)} | {np.median(plain):.3f} / "
            f"{max(plain):.3f} |"
        )
    return [*lines, "", f"The adaptive step runs below {ENOUGH:.0f} effective draws."]


def groups(log_evidence, log_prior) -> np.ndarray:
    """Return P(group at fault) from the evidence of every hypothesis."""
    log_post = log_evidence + log_prior
    p = np.exp(log_post - log_post.max())
    return (p / p.sum()) @ MEMBERS


if __name__ == "__main__":
    main()
