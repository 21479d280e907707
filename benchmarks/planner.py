"""Benchmark of the planner: plans against the exact optimum, and the time of one next step.

Run: ``python -m benchmarks.planner [models]`` from the root, with ``src`` and ``tests`` on the
path. Writes ``benchmarks/planner.md``. ``python -m benchmarks.planner time`` measures the second
table again, on a quiet machine, and leaves the first. All figures of one table come from one run.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from itertools import combinations
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # as the command line runs it

import numpy as np  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from planner.exact_reference import optimal_cost, plan_cost, random_model  # noqa: E402
from witnessmark.planner.ranking.lookahead import look_ahead, thorough  # noqa: E402
from witnessmark.planner.ranking.troubleshooting import RepairProblem, start  # noqa: E402

DEPTHS = {"one-step lookahead": 1, "two-step": 2, "three-step": 3, "as shipped": None}
SEED = 20260302
PAGE = ROOT / "benchmarks" / "planner.md"
HEADING = "## One next step on 30 repairs and 20 tests"


def main(models: int = 200) -> None:
    quality, seconds = plans(models)
    lines = [
        "# Planner benchmark",
        "",
        "Written by `benchmarks/planner.py`; nothing here is typed in.",
        "",
        f"## Plans on {models} random models of 8 repairs and 6 tests, against the exact optimum",
        "",
        "Exact dynamic programming over all states (tests/planner/exact_reference.py), and the",
        "exact expected cost of following the planner, which plans anew before every move.",
        "",
        "| plan | mean ratio | 95th percentile | worst | dearer than one-step |",
        "|---|---|---|---|---|",
    ]
    base = quality["one-step lookahead"]
    for name, ratios in quality.items():
        dearer = sum(r > b * (1 + 1e-9) for r, b in zip(ratios, base, strict=True))
        lines.append(
            f"| {name} | {np.mean(ratios):.4f} | {np.quantile(ratios, 0.95):.4f} | "
            f"{max(ratios):.4f} | {dearer} of {models} |"
        )
    whole = statistics.mean(seconds["as shipped"])
    lines += [
        "",
        f"Optimum by dynamic programming: {statistics.mean(seconds['exact']):.2f} s a "
        f"model; the whole shipped plan over all its branches: {whole:.2f} s a model.",
    ]
    text = "\n".join(lines) + "\n"
    write(text + timing())


def again() -> None:
    """Measure the times again and leave the table of plans as it stands."""
    text = PAGE.read_text("utf-8")
    write(text[: text.index("\n" + HEADING)] + timing())


def write(text: str) -> None:
    PAGE.write_text(text, "utf-8")
    print(text)


def timing() -> str:
    lines = [
        "",
        HEADING,
        "",
        "Processor time, linear algebra on one thread as the command line runs it. The goal",
        "is under 50 ms.",
        "",
        "| hypotheses | median ms | worst ms |",
        "|---|---|---|",
    ]
    for pairs in (0, 60, 90):
        times = next_step(pairs)
        lines.append(
            f"| {31 + pairs} | {1e3 * statistics.median(times):.1f} | {1e3 * max(times):.1f} |"
        )
    return "\n".join(lines) + "\n"


def plans(models: int) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    rng = np.random.default_rng(SEED)
    quality: dict[str, list[float]] = {name: [] for name in DEPTHS}
    seconds: dict[str, list[float]] = {name: [] for name in ("exact", *DEPTHS)}
    for _ in range(models):
        model = random_model(rng)
        clock = time.process_time()
        best = optimal_cost(model)
        seconds["exact"].append(time.process_time() - clock)
        problem = RepairProblem.of(
            members=np.eye(model.prior.size, dtype=bool),
            repair_usd=model.repair_usd,
            fixes=model.fixes,
            luck=model.luck,
            test_usd=model.test_usd,
            outcomes=np.stack([model.positive, 1.0 - model.positive], axis=1),
            search_usd=model.search_usd,
        )
        for name, depth in DEPTHS.items():
            clock = time.process_time()
            cost = plan_cost(model, follow(problem, depth))
            seconds[name].append(time.process_time() - clock)
            quality[name].append(cost / best)
    return quality, seconds


def follow(problem: RepairProblem, depth: int | None):
    def choose(weights, repaired, tested):
        state = start(problem, weights, repaired=repaired, tested=tested)
        if depth is None:
            moves = thorough(problem, state)
        else:
            moves = look_ahead(problem, state, depth=depth, width=4)
        prices = np.concatenate([moves.repair[0], moves.test[0], moves.search])
        number = int(np.argmin(prices))
        if number < repaired.size:
            return "repair", number
        if number < repaired.size + tested.size:
            return "test", number - repaired.size
        return "search", 0

    return choose


def next_step(pairs: int, repeats: int = 15) -> list[float]:
    repairs, tests = 30, 20
    rng = np.random.default_rng(SEED + pairs)
    times = []
    for _ in range(repeats):
        prior = rng.dirichlet(np.ones(repairs))
        both = sorted(combinations(range(repairs), 2), key=lambda p: -prior[p[0]] * prior[p[1]])
        members = np.zeros((repairs + 1 + pairs, repairs), bool)
        members[:repairs] = np.eye(repairs)
        weights = np.append(0.86 * prior, [0.02, *[prior[i] * prior[j] for i, j in both[:pairs]]])
        for row, pair in enumerate(both[:pairs]):
            members[repairs + 1 + row, list(pair)] = True
        if pairs:
            weights[repairs + 1 :] *= 0.12 / weights[repairs + 1 :].sum()
        positive = np.where(
            rng.random((tests, repairs)) < 0.3,
            rng.uniform(0.6, 0.97, (tests, repairs)),
            rng.uniform(0.02, 0.3, (tests, repairs)),
        )
        nothing = np.exp(np.log1p(-positive) @ members.T)
        usd = np.exp(rng.uniform(np.log(40), np.log(1500), repairs))
        problem = RepairProblem.of(
            members=members,
            repair_usd=usd,
            fixes=np.full(repairs, 0.92),
            luck=np.full(repairs, 0.03),
            test_usd=np.exp(rng.uniform(np.log(8), np.log(150), tests)),
            outcomes=np.stack([1.0 - nothing, nothing], axis=1),
            search_usd=900.0 + members @ usd,
        )
        state = start(problem, weights / weights.sum())
        clock = time.process_time()
        thorough(problem, state)
        times.append(time.process_time() - clock)
    return times


if __name__ == "__main__":
    if sys.argv[1:] == ["time"]:
        again()
    else:
        main(*(int(a) for a in sys.argv[1:]))
