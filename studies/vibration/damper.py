"""Study: dead against healthy dampers, and against a weak cylinder. Writes damper.csv.

OMP_NUM_THREADS=1 nice -n 15 python studies/vibration/damper.py --engines 60
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from crank_truth import FIRING, ORDERS, STATES, engine, measured, response

from witnessmark.physics.cylinder_balance import balance
from witnessmark.physics.tooth_timing import Torsion
from witnessmark.physics.twist_mode import fit_twist_mode

DEG = np.pi / 180
RPM = np.arange(800.0, 2101.0, 50.0)
#: Noise of one component of an order's amplitude [rad] and places on the wheel.
PLACES = {"nose": (0.002 * DEG, 60), "flywheel": (0.0012 * DEG, 118)}
DEAD = ("tenth", "empty", "tenfold", "seized")


def auc(bad, good):
    """P(a bad one scores lower than a good one), ties half."""
    bad, good = np.asarray(bad)[:, None], np.asarray(good)[None, :]
    return float(np.mean((bad < good) + 0.5 * (bad == good)))


def three_way(zeta, refused, deviation):
    """The product's rule: no damping first, then a weak cylinder, else healthy."""
    if zeta < 0.075 and not refused:
        return "dead"
    return "weak" if deviation <= -0.20 else "healthy"


def one(rng, e, state, load, noise, warm=1.0):
    """Fit one engine in one state at both places; {place: (zeta, frequency, weakest)}."""
    twist = response(e, state, RPM, load=load, warm=warm)
    out = {}
    for row, (place, (quiet, places)) in enumerate(PLACES.items()):
        sigma = quiet * noise
        a = measured(rng, twist[row], places, sigma)
        n = len(RPM)
        torsion = Torsion(RPM, RPM * 0, ORDERS, a, np.full(n, sigma), np.full(n, sigma), places)
        try:
            mode = fit_twist_mode(torsion)
            vague = mode.damping_high / mode.damping_low > 2.5 or len(mode.covered) < 2
            fitted = (mode.damping, mode.frequency, vague or mode.misfit > 8.0)
        except ValueError:
            fitted = (0.2, 0.0, True)
        at = int(np.argmin(np.abs(RPM - 1200)))
        found = balance(a[at, :5], a[at, 5], 1200.0, sigma, FIRING, load=load,
                        dead_centre=0.15 * rng.standard_normal())  # fmt: skip
        out[place] = (*fitted, float(found.deviation.min()))
    return out


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--engines", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20260302)
    parser.add_argument("--out", default=str(Path(__file__).parent))
    args = parser.parse_args()
    rows = ["setting,place,load,engines,auc_dead,rule_false_alarm,rule_tenth,rule_empty,"
            "rule_tenfold,rule_seized,auc_drift,three_way_healthy,three_way_weak,three_way_dead,"
            "auc_leaked_seized,refused_healthy,refused_dead"]  # fmt: skip
    settings = [
        ("base", 0.001, 1.0, 1.0, (1.0, 0.0)),
        ("noise x10", 0.001, 10.0, 1.0, (1.0, 0.0)),
        ("front-end mode", 1.0, 1.0, 1.0, (1.0,)),
        ("cold (coupling x3)", 0.001, 1.0, 1 / 3, (1.0,)),
    ]
    for number, (name, front, noise, warm, loads) in enumerate(settings):
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
                z = {s: np.array([r[0] for r in got[place, s]]) for s in STATES}
                f = {s: np.array([r[1] for r in got[place, s]]) for s in STATES}
                no = {s: np.array([r[2] for r in got[place, s]]) for s in STATES}
                d = {s: np.array([r[3] for r in got[place, s]]) for s in STATES}
                fine = np.concatenate([z["healthy"], z["injector"]])
                dead = np.concatenate([z[s] for s in DEAD])
                drift = np.concatenate([z["third"], z["triple"]])
                call = {
                    s: [three_way(*v) for v in zip(z[s], no[s], d[s], strict=True)] for s in STATES
                }
                values = [
                    auc(dead, fine), float(np.mean((z["healthy"] < 0.075) & ~no["healthy"])),
                    *(float(np.mean((z[s] < 0.075) & ~no[s])) for s in DEAD), auc(drift, fine),
                    call["healthy"].count("healthy") / args.engines,
                    call["injector"].count("weak") / args.engines,
                    sum(call[s].count("dead") for s in DEAD) / (4 * args.engines),
                    auc(np.concatenate([f["seized"], f["tenfold"]]),
                        np.concatenate([f["empty"], f["tenth"]])),
                    float(np.mean(no["healthy"])),
                    float(np.mean(np.concatenate([no[s] for s in DEAD]))),
                ]  # fmt: skip
                rows.append(f"{name},{place},{load:g},{args.engines},"
                            + ",".join(f"{v:.3f}" for v in values))  # fmt: skip
                print(rows[-1], file=sys.stderr, flush=True)
                (Path(args.out) / "damper.csv").write_text("\n".join(rows) + "\n")


if __name__ == "__main__":
    main()
