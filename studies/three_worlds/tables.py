"""The page of the three worlds, from the rows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from studies.three_worlds.shops import POLICIES, SIMPLE, Ended
from studies.wilson import wilson

__all__ = ["holm", "page"]

Families = Mapping[str, Mapping[str, Sequence[Ended]]]
#: Goals: ratio to the best simple policy; statements wrong; plain 0.80 and more wrong.
GOALS = {"A": (0.80, 0.05, 0.12), "B": (0.85, 0.10, 0.20)}
TITLES = {
    "A": "A: every log odds of the packs moved by 0.85",
    "B": "B: every cause as likely, 8 in 100 results wrong",
    "C": "C: hidden scores, imperfect repairs, other equations",
}
#: A bill is large from here on: so many times the all-knowing mechanic's, and so much money [USD].
TIMES, LARGE = 5.0, 1500.0


def page(found: Mapping[str, Families], seed: int) -> str:
    """Return the page."""
    lines = [
        "# Three worlds: results",
        "",
        f"Written by `python -m studies.three_worlds tables {seed}`; nothing is typed in. The",
        "same trucks for every policy. Standard errors in brackets, from family to family for all",
        "families and from truck to truck for one. Intervals of shares are Wilson's, 95 %.",
        "The best simple policy is the best of six on these very trucks, which favours it.",
    ]
    for world in sorted(found):
        lines += ["", *_world(world, found[world])]
    return "\n".join(lines) + "\n"


def holm(chances: Sequence[float], level: float = 0.05) -> list[bool]:
    """Return which of several tests reject at a common level, by Holm's rule."""
    order = sorted(range(len(chances)), key=lambda k: chances[k])
    rejected = [False] * len(chances)
    for rank, k in enumerate(order):
        if chances[k] > level / (len(chances) - rank):
            break
        rejected[k] = True
    return rejected


def _world(world: str, families: Families) -> list[str]:
    sizes = [len(f["ours"]) for f in families.values()]
    each = f"{min(sizes)}" if min(sizes) == max(sizes) else f"{min(sizes)} to {max(sizes)}"
    lines = [
        f"## World {TITLES[world]}",
        "",
        f"{sum(sizes)} trucks, {each} a family, {len(sizes)} families.",
        "",
        "| policy | money to a proven cure, USD | ours over it, all money | needless parts |"
        " open searches | most dear truck, USD |",
        "|---|---|---|---|---|---|",
    ]
    for name in POLICIES:
        rows = [r for f in families.values() for r in f[name]]
        lines.append(
            f"| {name} | {_mean(families, name)} | {_told(_pooled(families, name))} | "
            f"{np.mean([r.needless for r in rows]):.2f} | "
            f"{100 * np.mean([r.searched for r in rows]):.0f} % | "
            f"{max(r.usd for r in rows):,.0f} |"
        )
    return [*lines, "", *_goals(world, families), "", *_by_family(families)]


def _goals(world: str, families: Families) -> list[str]:
    best = min(SIMPLE, key=lambda n: np.mean([r.usd for f in families.values() for r in f[n]]))
    ratio, error = _pooled(families, best)
    goal, wrong, plain = GOALS.get(world, (math.nan, math.nan, math.nan))
    rows = [r for f in families.values() for r in f["ours"]]
    all_tests = [r for f in families.values() for r in f["test everything"]]
    needless = [float(np.mean([r.needless for r in each])) for each in (rows, all_tests)]
    heard = sum(r.said > 0 for r in rows)
    lines = ["| goal | reached | |", "|---|---|---|"]
    lines.append(
        f"| money at most {_goal(goal)} of the best simple policy ({best}) | "
        f"{ratio:.2f} ({error:.2f}) | {_word(ratio, goal)} |"
    )
    above = _above(families)
    lines.append(
        "| no family above 1.00 of its own best simple policy, by Holm's test at 5 % | "
        f"{', '.join(above) or 'none is'} | {'MISSED' if above else 'reached'} |"
    )
    lines.append(
        f"| needless parts at most those of test everything | {needless[0]:.2f} against "
        f"{needless[1]:.2f} | {_word(needless[0], needless[1])} |"
    )
    said, missed = sum(r.said for r in rows), sum(r.wrong for r in rows)
    lines.append(
        f"| statements called decided wrong in at most {_goal(wrong)} | {_share(missed, said)} | "
        f"{_word(missed / max(said, 1), wrong)} |"
    )
    lines.append(
        f"| at least 20 % of trucks hear one | {_share(heard, len(rows))} | "
        f"{'reached' if heard >= 0.2 * len(rows) else 'MISSED'} |"
    )
    stood, untrue = sum(r.plain for r in rows), sum(r.plain_wrong for r in rows)
    lines.append(
        f"| plain 0.80 and more wrong in at most {_goal(plain)} | {_share(untrue, stood)} | "
        f"{_word(untrue / max(stood, 1), plain)} |"
    )
    unsaid = _unsaid(families)
    lines.append(
        f"| no truck above {TIMES:.0f} x the all-knowing mechanic and {LARGE:,.0f} USD unless "
        f'"stop and search" was said first | {_share(len(unsaid), len(rows))} | '
        f"{'MISSED' if unsaid else 'reached'} |"
    )
    again = sum(r.again for r in rows)
    lines.append(
        f"| no step proposed three times running | {again} of {sum(r.steps for r in rows)} steps | "
        f"{'MISSED' if again else 'reached'} |"
    )
    looked = sum(r.looked for r in rows)
    over = sum(r.unlisted for r in rows) / max(looked, 1)
    return [
        *lines,
        "",
        f'After a vain repair the odds of "not on this list" stood {abs(over):.3f} too '
        f"{'high' if over > 0 else 'low'} in the mean over {looked} vain repairs.",
    ]


def _unsaid(families: Families) -> list[str]:
    """Return the trucks whose bill grew large before the open search was proposed."""
    found = []
    for identity, family in families.items():
        for k, (run, best) in enumerate(zip(family["ours"], family["all-knowing"], strict=True)):
            large = max(TIMES * best.usd, LARGE)
            if run.usd > large and (run.warned < 0 or run.warned > large):
                found.append(f"{identity} {k}")
    return found


def _by_family(families: Families) -> list[str]:
    lines = [
        "| family | trucks | ours, USD | best simple | ours over it | over all-knowing |"
        " chance of a ratio so high by luck |",
        "|---|---|---|---|---|---|---|",
    ]
    for identity, family in families.items():
        best = _best(family)
        usd = np.array([r.usd for r in family["ours"]])
        knowing = np.mean([r.usd for r in family["all-knowing"]])
        lines.append(
            f"| {identity} | {usd.size} | {usd.mean():,.0f} | {best} | "
            f"{_told(_ratio(family['ours'], family[best]))} | {usd.mean() / knowing:.2f} | "
            f"{_chance(family):.2f} |"
        )
    return lines


def _above(families: Families) -> list[str]:
    names = list(families)
    rejected = holm([_chance(families[n]) for n in names])
    return [n for n, bad in zip(names, rejected, strict=True) if bad]


def _chance(family: Mapping[str, Sequence[Ended]]) -> float:
    """Return P(ours so much dearer than the family's best simple policy | it is not), one-sided.

    By chance signs of the differences truck by truck: exact up to 2,000 drawn signs, and needs no
    law of the bills.
    """
    best = _best(family)
    other = family[best]
    gap = np.array([r.usd - o.usd for r, o in zip(family["ours"], other, strict=True)])
    if gap.sum() <= 0 or not gap.any():
        return 1.0
    signs = np.random.default_rng(17).choice([-1.0, 1.0], size=(20_000, gap.size))
    return float((1 + np.sum(signs @ gap >= gap.sum() - 1e-9)) / 20_001)


def _best(family: Mapping[str, Sequence[Ended]]) -> str:
    return min(SIMPLE, key=lambda n: np.mean([r.usd for r in family[n]]))


def _mean(families: Families, name: str) -> str:
    means = [np.mean([r.usd for r in f[name]]) for f in families.values()]
    return f"{np.mean(means):,.0f} ({np.std(means, ddof=1) / math.sqrt(len(means)):,.0f})"


def _pooled(families: Families, name: str) -> tuple[float, float]:
    """Return the ratio of all money, and its standard error from family to family."""
    pairs = [
        (np.mean([r.usd for r in f["ours"]]), np.mean([r.usd for r in f[name]]))
        for f in families.values()
    ]
    return _of_pairs(np.array(pairs))


def _ratio(one: Sequence[Ended], other: Sequence[Ended]) -> tuple[float, float]:
    return _of_pairs(np.array([(r.usd, o.usd) for r, o in zip(one, other, strict=True)]))


def _of_pairs(pairs: np.ndarray) -> tuple[float, float]:
    ratio = float(pairs[:, 0].sum() / pairs[:, 1].sum())
    if len(pairs) < 2:
        return ratio, math.nan
    rest = pairs[:, 0] - ratio * pairs[:, 1]
    return ratio, float(rest.std(ddof=1) / math.sqrt(len(pairs)) / pairs[:, 1].mean())


def _told(figure: tuple[float, float]) -> str:
    return f"{figure[0]:.2f} ({figure[1]:.2f})"


def _share(count: int, of: int) -> str:
    if not of:
        return "none"
    low, high = wilson(count, of)
    return f"{100 * count / of:.1f} % of {of} ({100 * low:.1f} to {100 * high:.1f} %)"


def _goal(goal: float) -> str:
    return "(no goal set)" if math.isnan(goal) else f"{goal:.2f}"


def _word(figure: float, goal: float) -> str:
    if math.isnan(goal):
        return "no goal set"
    return "reached" if figure <= goal + 1e-9 else "MISSED"
