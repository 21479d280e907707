"""Study: jumps, gaps and defaults on a second truth (warm_engine.py). Writes jumps.md.

nice -n 15 python studies/plausibility/jumps.py --trucks 60

The coolant of a sound truck, sent every second or every five, with gaps of 20 to 200 s behind which
the unit first sends a default; and the same with three dips of 4 to 8 degC. Not the switching
filter of the detector. The seed was used for the table only.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent))
from warm_engine import drive, sensed
from wilson import share

from witnessmark.analyses.sensors.liveliness import PROFILES
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, judge_many
from witnessmark.analyses.sensors.trace_samples import prepare

HERE = Path(__file__).parent
NAME = "coolant_temperature"
ROWS = ("sound", "sound, gaps", "sound, gaps and defaults", "three dips of 4 to 8 degC",
        "three dips, gaps and defaults")  # fmt: skip


def cut(rng, time, values, defaults):
    """Two gaps; behind each the unit may send one value that it has not read."""
    for _ in range(2):
        at, long = rng.uniform(200, time[-1] - 300), rng.uniform(20, 200)
        after = time[time > at + long]
        keep = (time < at) | (time > at + long)
        time, values = time[keep], values[keep]
        if defaults and after.size > 5:
            step = float(np.median(np.diff(time)))
            count = int(rng.integers(1, 3))
            when = after[0] - step * np.arange(count, 0, -1.0)
            place = int(np.searchsorted(time, when[0]))
            sent = np.full(count, float(rng.choice([-40.0, 0.0, 20.0, 140.0])))
            time, values = np.insert(time, place, when), np.insert(values, place, sent)
    return time, values


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--trucks", type=int, default=120)
    parser.add_argument("--seed", type=int, default=2026113032)
    args = parser.parse_args()
    counts: Counter[tuple[int, str]] = Counter()
    profile = PROFILES[NAME]
    for every in (1, 5):
        traces, kinds = [], []
        for number in range(args.trucks):
            rng = np.random.default_rng([args.seed, number])
            truth, _, _ = drive(rng, seconds=1800, cold=number % 2 == 1)
            values = sensed(rng, truth[NAME], NAME)
            time = np.arange(len(values), dtype=float)
            for row in ROWS:
                own = np.random.default_rng([args.seed, number, every, len(row)])
                v, t = values.copy(), time.copy()
                if "dips" in row:
                    for start in own.choice(np.arange(60, 1700), 3, replace=False):
                        v[start : start + int(own.integers(2, 8))] -= round(own.uniform(4, 8))
                t, v = t[::every], v[::every]
                if "gaps" in row:
                    t, v = cut(own, t, v, "defaults" in row)
                made = prepare(t, v, profile)
                if made is not None:
                    traces.append(made)
                    kinds.append(row)
        for row, verdict in zip(kinds, judge_many(traces, profile), strict=True):
            counts[every, row] += verdict.log_factor >= SEEN_FROM and bool(verdict.spans)
    lines = [
        "# Jumps, gaps and defaults on a second truth", "",
        f"`python studies/plausibility/jumps.py`: coolant of `warm_engine.py`, 30 min, "
        f"{args.trucks} trucks, half begun cold;", f"seed {args.seed} used once; shares with "
        "Wilson's 95 % interval.",
        "", "| truth | a circuit fault called, one reading a second | one in five seconds |",
        "|---|---|---|",
    ]  # fmt: skip
    for row in ROWS:
        cells = [share(counts[every, row], args.trucks) for every in (1, 5)]
        lines.append(f"| {row} | {' | '.join(cells)} |")
    (HERE / "jumps.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
