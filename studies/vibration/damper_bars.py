"""Study: the damper's verdict on the second crank (crank_bars.py), lossy belts on the nose.

OMP_NUM_THREADS=1 nice -n 15 python studies/vibration/damper_bars.py --engines 120

Writes damper_bars.md. Every engine carries one belt drive whose own frequency lies anywhere from 90
to 330 Hz and whose loss is drawn evenly from 0 to 0.35. The seed was used for the table only.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent))
from crank_bars import DEAD, ORDERS, STATES, crank, measured, twist
from wilson import share

from witnessmark.physics.vibration.twist.damper_fit import judge
from witnessmark.physics.vibration.twist.tooth_timing import Torsion

HERE = Path(__file__).parent
DEG = np.pi / 180
RPM = np.arange(800.0, 2101.0, 50.0)
PLACES = {"nose": (0.002 * DEG, 60), "flywheel": (0.0012 * DEG, 118)}
LOSSES = ((0.0, 0.1), (0.1, 0.2), (0.2, 0.35))


def said(rng, values, place):
    """What the product makes of one sweep: words, damping, frequency, whether two modes."""
    noise, places = PLACES[place]
    amplitude = measured(rng, values, places, noise)
    n = len(RPM)
    made = Torsion(RPM, RPM * 0, ORDERS, amplitude, np.full(n, noise), np.full(n, noise), places)
    try:
        fit = judge(made)
    except ValueError:
        return "refused", None, 0.0, False
    return fit.verdict, fit.mode.damping, fit.mode.frequency, fit.pair is not None


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--engines", type=int, default=120)
    parser.add_argument("--seed", type=int, default=2026113031)
    args = parser.parse_args()
    rows = []
    for number in range(args.engines):
        e = crank(np.random.default_rng([args.seed, number]))
        for state in STATES:
            values = twist(e, state, RPM)
            for i, place in enumerate(PLACES):
                rng = np.random.default_rng([args.seed, number, i])
                rows.append(
                    (number, e.branches[0].loss, state, place, *said(rng, values[i], place))
                )
        if number % 10 == 9 or number + 1 == args.engines:
            write(rows, number + 1, args.seed)


def write(rows, engines, seed):
    """Put the table of what was run so far into damper_bars.md."""
    lines = [
        "# The damper's verdict on a second crank", "",
        "`python studies/vibration/damper_bars.py`: torsion bars with distributed inertia, Maxwell "
        "silicone,", "a belt drive with a complex stiffness on the nose (`crank_bars.py`). "
        "Shares with Wilson's 95 % interval.", f"Full load, sweep 800 to 2100 rpm, {engines} "
        f"engines, seed {seed} used once.", "",
        "| place | belt's loss | dead called healthy | dead called dead | healthy called dead | "
        "healthy called healthy | healthy: cannot tell |", "|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for place in PLACES:
        for low, high in (*LOSSES, (0.0, 0.35)):
            here = [r for r in rows if r[3] == place and low <= r[1] < high]
            dead = Counter(r[4] for r in here if r[2] in DEAD)
            well = Counter(r[4] for r in here if r[2] == "healthy")
            n, m = sum(dead.values()), sum(well.values())
            lines.append(
                f"| {place} | {low:g} to {high:g} | {share(dead['healthy'], n)} | "
                f"{share(dead['dead'], n)} | {share(well['dead'], m)} | "
                f"{share(well['healthy'], m)} | {share(well['between'] + well['refused'], m)} |"
            )
    lines += ["", "| place | AUC, fitted damping of the one mode, dead against healthy (standard "
              "error) | n |", "|---|---|---|"]  # fmt: skip
    for place in PLACES:
        scores = {s: {r[0]: r[5] for r in rows if r[3] == place and r[2] == s and r[5] is not None
                      and not r[7]} for s in STATES}  # fmt: skip
        value, error, n = auc(scores)
        lines.append(f"| {place} | {value:.3f} ({error:.3f}) | {n} |")
    lines += ["", "AUC where one mode is told (two modes give no damping of the damper).", "",
              "| truth | place | told stiff or seized | told leaked or empty | neither |",
              "|---|---|---|---|---|"]  # fmt: skip
    for state in DEAD:
        for place in PLACES:
            known = {r[0]: r[6] for r in rows if r[2:5] == ("healthy", place, "healthy")}
            dead = [r for r in rows if r[2:5] == (state, place, "dead") and not r[7]]
            ratio = [r[6] / known[r[0]] for r in dead if r[0] in known]
            stiff, loose = sum(x < 0.98 for x in ratio), sum(x > 1.05 for x in ratio)
            n = len(ratio)
            lines.append(f"| {state} | {place} | {share(stiff, n)} | {share(loose, n)} | "
                         f"{share(n - stiff - loose, n)} |")  # fmt: skip
    lines += ["", "The kind is told against a healthy recording of the same engine only."]
    (HERE / "damper_bars.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def auc(scores):
    """AUC and its error, engines drawn again with all their states."""
    good = scores["healthy"]
    dead = [(i, v) for s in DEAD for i, v in scores[s].items()]

    def area(pick):
        weight = Counter(pick)
        top = sum(weight[i] * weight[j] * ((v < g) + 0.5 * (v == g))
                  for i, v in dead for j, g in good.items())  # fmt: skip
        whole = sum(weight[i] * weight[j] for i, _ in dead for j in good)
        return top / whole if whole else np.nan

    engines = sorted({i for i, _ in dead} | set(good))
    rng = np.random.default_rng(1)
    again = [area(rng.choice(engines, len(engines))) for _ in range(100)]
    return area(engines), float(np.nanstd(again)), len(dead) + len(good)


if __name__ == "__main__":
    main()
