"""Study: which family, by protocol, level and length. Writes families.md and families.csv.

OMP_NUM_THREADS=1 nice -n 15 python -m studies.vibration.families --runs 60
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from truck import KINDS, drives

from witnessmark.physics.vibration.orders.fixed_peaks import fixed_peaks
from witnessmark.physics.vibration.orders.line_selection import Sweep, choose_lines
from witnessmark.physics.vibration.orders.order_lines import expected_lines
from witnessmark.physics.vibration.orders.order_tracking import turns
from witnessmark.physics.vibration.vibration_family import decide

ENGINE = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 4.5, 6.0)
TRUE = {"engine": "engine", "shaft": "road", "tyre": "road", "fixed": "fixed", "none": "none"}


def judge(recording, rate, detail=False):
    """Run the product's own functions on simulated drives."""
    lines = expected_lines(orders=ENGINE)
    lines = tuple(x for x in lines if x.carrier != "engine" or x.multiple * 1750 / 60 < 0.95 * rate)
    sweeps = []
    for d in recording:
        engine = turns(d.time, d.bus_time, d.rpm)
        per = {"engine": engine, "shaft": engine / d.gear, "wheel": engine / d.gear / 3.55}
        cycles = np.stack([per[x.carrier] * x.multiple for x in lines], axis=1)
        sweeps.append(Sweep(d.time, d.values, cycles, f"{d.gear}"))
    chosen = choose_lines(sweeps)
    peaks = fixed_peaks(sweeps, chosen.lines)
    verdict = decide(chosen, lines, peaks, gears=len({d.gear for d in recording}))
    return (verdict, chosen, peaks, lines) if detail else verdict


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--protocols", default="two,neutral,sweep,direct,steady")
    parser.add_argument("--seconds", default="10,20,40,80")
    parser.add_argument("--levels", default="0.1,0.2,0.4")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", default=str(Path(__file__).parent))
    args = parser.parse_args()
    rows = []
    cells = itertools.product(
        args.protocols.split(","),
        map(float, args.levels.split(",")),
        map(float, args.seconds.split(",")),
    )
    for number, (protocol, level, seconds) in enumerate(cells):
        tally = Counter()
        n = args.runs * (2 if protocol == "two" else 1)
        for run in range(n):
            kind = KINDS[run % len(KINDS)]
            rate = (100.0, 200.0)[run // len(KINDS) % 2]
            rng = np.random.default_rng([args.seed, number, run])
            verdict = judge(drives(rng, kind, level, seconds, protocol, rate), rate)
            true = TRUE[kind]
            right = verdict.family == true
            result = "right" if right else "open" if verdict.family == "not clear" else "wrong"
            tally[result] += 1
            tally["healthy" if kind == "none" else "ill"] += 1
            if kind == "none" and verdict.family not in {"none", "not clear"}:
                tally["false"] += 1
            if kind != "none" and verdict.family == "none":
                tally["missed"] += 1
            if result == "wrong":
                print(
                    f"  {kind} -> {verdict.family} {verdict.line} {verdict.reason}", file=sys.stderr
                )
        rows.append(
            (protocol, level, seconds, n, tally["right"] / n, tally["open"] / n, tally["wrong"] / n,
             tally["false"], tally["healthy"], tally["missed"])
        )  # fmt: skip
        print(rows[-1], file=sys.stderr, flush=True)
        save(Path(args.out), rows)


def save(out, rows):
    head = "protocol,level_rms,seconds,runs,right,not_clear,wrong,healthy_called_abnormal,healthy,"
    head += "ill_called_healthy"
    lines = [",".join(f"{v:g}" if isinstance(v, float) else str(v) for v in r) for r in rows]
    (out / "families.csv").write_text("\n".join([head, *lines]) + "\n")


if __name__ == "__main__":
    main()
