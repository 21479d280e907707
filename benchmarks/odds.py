"""How fast the odds of the shipped families are: every set of causes, every open test valued.

    python benchmarks/odds.py [--repeats 5] [--write]

Prints the table of ``odds.md``; ``--write`` puts it there. Times are the shortest of several runs
on one core. That the odds are right is held in ``tests/inference`` against other libraries.
"""

from __future__ import annotations

import argparse
import platform
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from witnessmark.inference.family.family_belief import Belief, family_belief
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence, TestResult
from witnessmark.knowledge import Family, load_knowledge
from witnessmark.machine import keep_freed_memory


def best(call: Callable[[], object], times: int = 5) -> float:
    """The shortest of several runs [s]: the others were disturbed."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return min(spent)


def family_posterior(family: Family, stage: Stage, first: Belief) -> object:
    return family_belief(family, StagedEvidence((), (stage,)), model=first.model).marginals()


def family_table(repeats: int) -> list[str]:
    """The shipped families: every set of causes, every open test valued."""
    knowledge = load_knowledge()
    rows = [
        "| family | causes | tests | seen | posterior, ms | all values, ms |",
        "|-|-|-|-|-|-|",
    ]
    for family in knowledge.families.values():
        for positives in (3, 14):
            done = [t.id for t in family.tests][: min(positives, len(family.tests) - 1)]
            stage = Stage(tests=tuple(TestResult(t, "positive") for t in done))
            first = family_belief(family, StagedEvidence(), conditions=knowledge.conditions)
            belief = family_belief(family, StagedEvidence((), (stage,)), model=first.model)
            tests = [t for t in family.tests if t.id not in done]
            belief.all_results(tests)

            one = best(partial(family_posterior, family, stage, first), repeats)
            every = best(partial(belief.all_results, tests), repeats)
            rows.append(
                f"| {family.id} | {len(family.causes)} | {len(family.tests)} | {len(done)} | "
                f"{1e3 * one:.2f} | {1e3 * every:.2f} |"
            )
    return rows


def main() -> None:
    keep_freed_memory()  # as the command does
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    text = "\n".join(
        [
            "# Odds: speed",
            "",
            "Made by `python benchmarks/odds.py --write`. One run on one core, the shortest of "
            f"{given.repeats} runs;",
            f"Python {platform.python_version()}, numpy {np.__version__}. The times belong to "
            "this machine.",
            "",
            "## The shipped families",
            "",
            "The odds hold every set of causes, because likelihoods of the physics and of tests "
            "with several outcomes",
            "speak of sets. Goal: all values within 20 ms up to 14 seen findings.",
            "",
            *family_table(given.repeats),
            "",
        ]
    )
    print(text)
    if given.write:
        (Path(__file__).parent / "odds.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
