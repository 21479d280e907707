"""How many shops, at which budget: a shop's guess of the cause before any test, against pool size.

    python -m studies.pooling.pool_size --seed 9102 --write

The world is not the merge's: what is common in all shops lies off the packs' shares by a log odds
of standard deviation 0.85, and each shop's own shares off these by 0.5 or 1.0 (log-normal, not the
Dirichlet that the merge supposes). A shop closes 60 proven cases a quarter, families by the packs'
order (halved every ten families); a quarter of them belong to one fleet, of which two count. Four
quarters. The shop that is measured has closed 100 cases of its own and gives nothing to the pool.
Measured: how often the likeliest cause by shares alone is the right one, and the mean log loss,
over all causes of all its next cases (exactly, by its true shares). Money is not measured.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.inference.shop_history import PSEUDO_CASES
from witnessmark.knowledge import load_knowledge
from witnessmark.pooling.blurring import variance
from witnessmark.pooling.merging import pooled
from witnessmark.pooling.tally import TABLES

Floats = npt.NDArray[np.float64]
SIZES = (10, 30, 100, 300, 1000, 3000, 10_000)
EPSILONS = (0.5, 1.0, 4.0, math.inf)
SHOPS_MEASURED = 60
QUARTERS, CASES, FLEET = 4, 60, 0.25


def moved(shares: Floats, sd: float, chance: np.random.Generator, shops: int) -> Floats:
    """Return shares of *shops* whose log odds lie off *shares*; shape (shops, causes)."""
    odds = np.log(shares) + sd * chance.standard_normal((shops, shares.size))
    weight = np.exp(odds - odds.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def blur(shape: tuple[int, int], scale: float, chance: np.random.Generator) -> Floats:
    """Return discrete Laplace noise: the difference of two geometric numbers."""
    p = 1.0 - math.exp(-1.0 / scale)
    return np.asarray(chance.geometric(p, shape) - chance.geometric(p, shape), float)


def rows(sd: float, seed: int) -> list[dict[str, float]]:
    """Return one row a pool size and budget."""
    chance = np.random.default_rng((seed, round(10 * sd)))
    families = load_knowledge().families
    often = 0.5 ** (np.arange(len(families)) / 10)
    often /= often.sum()
    worlds = []
    for number, family in enumerate(families.values()):
        judged = np.asarray([c.prior for c in family.causes])
        judged = judged / judged.sum()
        common = moved(judged, 0.85, chance, 1)[0]
        mine = moved(common, sd, chance, SHOPS_MEASURED)
        own = np.asarray(
            [chance.multinomial(chance.poisson(100 * often[number]), p) for p in mine], float
        )
        # Of a fleet's cases two a quarter count, over all families; the rest are clipped away.
        each = CASES * (1 - FLEET) * often[number] + 2 * often[number]
        theirs = moved(common, sd, chance, SIZES[-1])
        counts = np.asarray(
            [chance.multinomial(chance.poisson(QUARTERS * each), p) for p in theirs], float
        )
        worlds.append((judged, mine, own, counts, [c.id for c in family.causes]))
    found = []
    table = TABLES[0]
    for epsilon in EPSILONS:
        scale = table.most / (epsilon * float(table.part)) if math.isfinite(epsilon) else 0.0
        noise = QUARTERS * variance(scale) if scale else 0.0
        blurs = [
            sum((blur(w[3].shape, scale, chance) for _ in range(QUARTERS)), np.zeros(w[3].shape))
            if scale else np.zeros(w[3].shape)
            for w in worlds
        ]  # fmt: skip
        for size in SIZES:
            scores: dict[str, list[Floats]] = {}
            for share, world, blurred in zip(often, worlds, blurs, strict=True):
                judged, mine, own, counts, names = world
                prior = dict(zip(names, judged.tolist(), strict=True))
                pool = pooled((counts + blurred)[:size], np.full(size, noise), prior)
                start = np.asarray(list(pool.shares.values()))
                guesses = {
                    "packs": PSEUDO_CASES * judged + own,
                    "pool": pool.weight * start + own,
                    "all-knowing": mine,
                }
                for who, guess in guesses.items():
                    said = guess / guess.sum(axis=1, keepdims=True)
                    first = mine[np.arange(len(mine)), said.argmax(axis=1)]
                    loss = -(mine * np.log(said)).sum(axis=1)
                    scores.setdefault(f"{who} right", []).append(share * first)
                    scores.setdefault(f"{who} loss", []).append(share * loss)
            row = {"epsilon": epsilon, "size": float(size), "sd": sd}
            for what, parts in scores.items():
                shops = np.sum(parts, axis=0)
                row[what] = float(shops.mean())
                row[f"{what} se"] = float(shops.std(ddof=1) / math.sqrt(len(shops)))
            gain = np.sum(scores["pool loss"], axis=0) - np.sum(scores["packs loss"], axis=0)
            row["gain"] = float(gain.mean())
            row["gain se"] = float(gain.std(ddof=1) / math.sqrt(len(gain)))
            found.append(row)
    return found


def table(found: list[dict[str, float]]) -> str:
    """Return the rows as a table."""
    lines = [
        "| budget a quarter | shops | first guess right: packs and own | pool and own | "
        "who knows the shop | log loss, pool less packs (standard error) |",
        "|---|---|---|---|---|---|",
    ]
    for row in found:
        budget = f"{row['epsilon']:g}" if math.isfinite(row["epsilon"]) else "no blur"
        lines.append(
            f"| {budget} | {row['size']:,.0f} | {row['packs right']:.3f} | "
            f"{row['pool right']:.3f} | {row['all-knowing right']:.3f} | "
            f"{row['gain']:+.3f} ({row['gain se']:.3f}) |"
        )
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seed", type=int, required=True)
    arguments.add_argument("--write", action="store_true")
    chosen = arguments.parse_args()
    text = (
        "# What a pool is worth\n\nMade by `python -m studies.pooling.pool_size`; its head says "
        f"how. Seed {chosen.seed}, used once for this page. {SHOPS_MEASURED} shops measured a row, "
        "each with 100 cases of its own. A log loss below nought is better than the packs.\n"
    )
    for sd in (0.5, 1.0):
        text += f"\n## Shops differ by {sd:g}\n\n{table(rows(sd, chosen.seed))}\n"
    print(text)
    if chosen.write:
        Path(__file__).with_name("POOL_SIZE.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
