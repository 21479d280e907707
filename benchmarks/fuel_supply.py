"""Speed of the fuel posterior, and its agreement with a large plain sample of the prior.

    OMP_NUM_THREADS=1 python benchmarks/fuel_supply.py

Writes benchmarks/fuel_supply.md. The reference is 2 x 1.6 million draws of the prior in two
independent halves, simply re-weighted; the error of a method is the largest difference in any
part's probability. Times are CPU seconds of one run on one core, and ratios between them.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from pathlib import Path

import numpy as np
from scipy.special import logsumexp

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "studies" / "fuel_supply"))

from engines import FOUR, KIT_C, THROUGH_FLOW, TWO, engines  # noqa: E402

from witnessmark.inference.fuel.draws import fuel_posterior, fuel_proposals  # noqa: E402
from witnessmark.inference.fuel.draws.fuel_posterior import (  # noqa: E402
    ENOUGH,
    default_log_prior,
    infer,
)
from witnessmark.inference.fuel.draws.fuel_prior import UnknownType  # noqa: E402
from witnessmark.inference.fuel.draws.fuel_samples import Repair  # noqa: E402
from witnessmark.inference.fuel.draws.fuel_table import build_table  # noqa: E402
from witnessmark.inference.fuel.fuel_evidence import fuel_evidence  # noqa: E402
from witnessmark.inference.fuel.fuel_groups import HYPOTHESES, RELIEF, RETURN  # noqa: E402
from witnessmark.inference.fuel.fuel_observations import (  # noqa: E402
    FLOW,
    GALLERY,
    PREFILTER,
    Key,
    Observation,
)
from witnessmark.inference.fuel.offers.fuel_candidates import fuel_candidates  # noqa: E402
from witnessmark.knowledge import load_knowledge  # noqa: E402
from witnessmark.model.entries.case import Case, read_case  # noqa: E402
from witnessmark.physics.fuel.supply_circuit import PSI  # noqa: E402

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
    lines += whole_cases()
    start = time.process_time()
    table.state(Key(1234.0))
    lines += [
        "",
        f"A new engine speed adds {1000 * (time.process_time() - start):.0f} ms once.",
        "",
    ]
    lines += agreement(table, drawn, log_prior)
    lines += agreement_after_work(table)
    (HERE / "fuel_supply.md").write_text("\n".join(lines) + "\n")


def whole_cases() -> list[str]:
    """Return the lines for the whole fuel part of an assessment, every extra run included."""
    knowledge = load_knowledge()
    one = [(GALLERY, v, n) for v, n in (("64 psi", 650), ("71 psi", 1000), ("78 psi", 1400))]
    one += [(FLOW, "86 L/h", 650), (FLOW, "119 L/h", 1400), (PREFILTER, "80 psi", 1400)]
    two = [(GALLERY, "69 psi", 650), (GALLERY, "79 psi", 1400), (FLOW, "84 L/h", 650)]
    three = [(GALLERY, "75 psi", 650), (GALLERY, "94 psi", 1400), (FLOW, "112 L/h", 650)]
    trade = [[(GALLERY, f"{a} psi", 650), (GALLERY, f"{b} psi", 1400)]
             for a, b in ((65, 78), (70, 80), (75, 95))]  # fmt: skip
    lines = ["", "| the fuel part of an assessment, forecasts and proposals too | runs | CPU ms, "
             "median / slowest |", "|-|-|-|"]  # fmt: skip
    for name, stages in (
        ("two readings", trade[:1]), ("two readings in each of two stages", trade[:2]),
        ("two readings in each of three stages", trade), ("six readings", [one]),
        ("six readings, one repair, three more", [one, two]),
        ("six readings, two repairs, three more after each", [one, two, three]),
    ):  # fmt: skip
        case = written(stages)
        fuel_candidates(fuel_evidence(case, knowledge), knowledge.families["fuel_low"].measurements)
        times = []
        for _ in range(5):
            start = time.process_time()
            fuel_candidates(
                fuel_evidence(case, knowledge), knowledge.families["fuel_low"].measurements
            )
            times.append(time.process_time() - start)
        lines.append(f"| {name} | 5 | {1000 * np.median(times):.0f} / {1000 * max(times):.0f} |")
    return [*lines, ""]


def written(stages: list[list[tuple[str, str, int]]]) -> Case:
    """Return a case with these readings, a repair between the stages."""
    parts: list[tuple[str, dict]] = [("complaint", {"words": "low", "families": ["fuel_low"]})]
    for stage, readings in enumerate(stages):
        if stage:
            cause = ("return_regulator", "pump_relief")[stage - 1]
            parts.append(("work", {"cause": cause, "did": "renewed", "minutes": 40}))
        parts += [
            ("reading", {"quantity": q, "value": v, "point": {"rpm": n, "load": "none"}})
            for q, v, n in readings
        ]
    return read_case("x", [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(parts)
    ])  # fmt: skip


def agreement_after_work(table) -> list[str]:
    """Return the lines of the comparison with ten times as many draws, after repairs."""
    lines = ["", "| after repairs | ten times as many draws, effective | product's error, median / "
             "worst of three seeds |", "|-|-|-|"]  # fmt: skip
    usual = {n: getattr(fuel_posterior, n) for n in
             ("WALKED", "FIRST_AFTER_WORK", "ROUND_AFTER_WORK", "ENOUGH_AFTER_WORK")}  # fmt: skip
    points = fuel_proposals._POINTS
    for name, seen, work in after_work():
        for constant, value in usual.items():
            setattr(fuel_posterior, constant, type(value)(10 * value))
        fuel_proposals._POINTS = 1 << 18
        fuel_proposals.normals.cache_clear()
        many = infer(table, seen, repairs=work, seed=77)
        for constant, value in usual.items():
            setattr(fuel_posterior, constant, value)
        fuel_proposals._POINTS = points
        fuel_proposals.normals.cache_clear()
        wrong = [
            np.abs(
                infer(table, seen, repairs=work, seed=seed).group_probabilities()
                - many.group_probabilities()
            ).max()
            for seed in (11, 12, 13)
        ]
        lines.append(
            f"| {name} | {many.effective:.0f} | {np.median(wrong):.3f} / {max(wrong):.3f} |"
        )
    return [*lines, ""]


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
