"""Study: dead against healthy dampers, and against a weak cylinder. Writes damper.csv.

OMP_NUM_THREADS=1 nice -n 15 python studies/vibration/damper.py --engines 100 [--settings 0,2]

AUC with its standard error (engines drawn again 400 times, all states of an engine together), what
the product's rule says, and the three-way answer: dead by the rule on the damping, else one weak
cylinder where the weakest lies 17 % or more below the others (a lone cylinder 20 % weak shows
about 19 %), else healthy.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from crank_truth import FIRING, ORDERS, STATES, engine, measured, response

from witnessmark.physics.vibration.twist.cylinder_balance import balance, low_orders
from witnessmark.physics.vibration.twist.damper_fit import judge
from witnessmark.physics.vibration.twist.tooth_timing import Torsion

DEG = np.pi / 180
RPM = np.arange(800.0, 2101.0, 50.0)
#: Noise of one component of an order's amplitude [rad] and places on the wheel.
PLACES = {"nose": (0.002 * DEG, 60), "flywheel": (0.0012 * DEG, 118)}
DEAD = ("tenth", "empty", "tenfold", "seized")


def auc(bad, good):
    """P(a bad one scores lower than a good one), ties half."""
    bad, good = np.asarray(bad)[:, None], np.asarray(good)[None, :]
    return float(np.mean((bad < good) + 0.5 * (bad == good)))


def auc_error(scores, bad, good, engines, draws=400):
    """Standard error of the AUC when engines are drawn again, their states kept together."""
    rng = np.random.default_rng(1)
    found = []
    for _ in range(draws):
        pick = rng.integers(0, engines, engines)
        found.append(auc(np.concatenate([scores[s][pick] for s in bad]),
                         np.concatenate([scores[s][pick] for s in good])))  # fmt: skip
    return float(np.std(found))


def three_way(zeta, refused, shortfall):
    """No damping first, then a weak cylinder, else healthy."""
    if zeta < 0.075 and not refused:
        return "dead"
    return "weak" if shortfall >= 0.17 else "healthy"


def one(rng, e, state, load, noise, warm=1.0):
    """Fit one engine in one state at both places; what the product says of each."""
    twist = response(e, state, RPM, load=load, warm=warm)
    out = {}
    for row, (place, (quiet, places)) in enumerate(PLACES.items()):
        sigma = quiet * noise
        a = measured(rng, twist[row], places, sigma)
        n = len(RPM)
        torsion = Torsion(RPM, RPM * 0, ORDERS, a, np.full(n, sigma), np.full(n, sigma), places)
        try:
            fit = judge(torsion)
            pair = fit.pair is not None
            fitted = (fit.damping[0], fit.mode.frequency, fit.verdict == "refused")
            called = fit.verdict
        except ValueError:
            fitted, called, pair = (0.2, 0.0, True), "refused", False
        values, errors = low_orders(torsion, 1200.0)
        found = balance(values[:5], values[5], 1200.0, errors[:5], FIRING, load=load,
                        dead_centre=0.15 * rng.standard_normal(), place=place)  # fmt: skip
        out[place] = (*fitted, found.shortfall, called, pair)
    return out


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--engines", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20260302)
    parser.add_argument("--settings", default="0,1,2,3,4")
    parser.add_argument("--out", default=str(Path(__file__).parent))
    parser.add_argument("--file", default="damper.csv")
    args = parser.parse_args()
    rows = ["setting,place,load,engines,auc_dead,auc_error,called_dead_healthy,called_dead_weak,"
            "called_healthy_healthy,called_dead_tenth,called_dead_empty,called_dead_tenfold,"
            "called_dead_seized,called_healthy_dead,refused_healthy,refused_dead,"
            "two_modes_healthy,auc_drift,"
            "auc_leaked_seized,three_way_healthy,three_way_weak,three_way_dead"]  # fmt: skip
    settings = [
        ("shear thinning", 0.001, 1.0, 1.0, (1.0, 0.0)),
        ("and front-end mode", 1.0, 1.0, 1.0, (1.0, 0.0)),
        ("noise x10", 0.001, 10.0, 1.0, (1.0, 0.0)),
        ("noise x10 and front-end mode", 1.0, 10.0, 1.0, (1.0,)),
        ("cold (coupling x3)", 0.001, 1.0, 1 / 3, (1.0,)),
    ]
    wanted = [int(n) for n in args.settings.split(",")]
    for number, (name, front, noise, warm, loads) in enumerate(settings):
        if number not in wanted:
            continue
        for load in loads:
            got = {(p, s): [] for p in PLACES for s in STATES}
            for i in range(args.engines):
                rng = np.random.default_rng([args.seed, i])
                e = engine(rng, front=front)
                even = e.deviation.copy()
                for state in STATES:
                    draw = np.random.default_rng([args.seed, i, number, int(load)])
                    e.deviation = even.copy()
                    if state == "injector":
                        e.deviation[i % 6] -= draw.uniform(0.2, 0.7)
                    for place, result in one(draw, e, state, load, noise, warm).items():
                        got[place, state].append(result)
            for place in PLACES:

                def part(column, place=place, got=got):
                    return {s: np.array([r[column] for r in got[place, s]]) for s in STATES}

                z, f, no, short, said, two = (part(c) for c in range(6))
                good = ("healthy", "injector")
                fine = np.concatenate([z[s] for s in good])
                dead = np.concatenate([z[s] for s in DEAD])
                drift = np.concatenate([z["third"], z["triple"]])
                calls = {
                    s: np.array([three_way(*v) for v in zip(z[s], no[s], short[s], strict=True)])
                    for s in STATES
                }
                ends = [np.concatenate([said[s] for s in group]) for group in (("healthy",), DEAD)]
                values = [
                    auc(dead, fine), auc_error(z, DEAD, good, args.engines),
                    np.mean(said["healthy"] == "dead"), np.mean(said["injector"] == "dead"),
                    np.mean(said["healthy"] == "healthy"),
                    *(np.mean(said[s] == "dead") for s in DEAD), np.mean(ends[1] == "healthy"),
                    np.mean(ends[0] == "refused"), np.mean(ends[1] == "refused"),
                    np.mean(two["healthy"]), auc(drift, fine),
                    auc(np.concatenate([f["seized"], f["tenfold"]]),
                        np.concatenate([f["empty"], f["tenth"]])),
                    np.mean(calls["healthy"] == "healthy"), np.mean(calls["injector"] == "weak"),
                    np.mean(np.concatenate([calls[s] for s in DEAD]) == "dead"),
                ]  # fmt: skip
                rows.append(f"{name},{place},{load:g},{args.engines},"
                            + ",".join(f"{v:.4f}" for v in values))  # fmt: skip
                print(rows[-1], file=sys.stderr, flush=True)
                (Path(args.out) / args.file).write_text("\n".join(rows) + "\n")


if __name__ == "__main__":
    main()
