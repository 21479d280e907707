"""Study: real coolant readings, cut into windows with gaps and defaults put in. Writes real.md.

OMP_NUM_THREADS=1 nice -n 15 python studies/plausibility/real.py FOLDER

FOLDER holds ``data/obd_csv`` and ``data/j1939`` as the tests' fixture ``shared`` does: three cars
(CC BY 4.0) and a ride (MIT), 2.3 h in all; they are not part of the repository. No proven fault is
in any of them: every alarm is a false one. The seed was used for the table only; the method was
settled on the seeds of the tests, on 2026113022 and on 2026113024.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))
from wilson import share

from analyses.test_plausibility import dipped
from analyses.test_plausibility_gaps import judged, real_coolants, window
from witnessmark.analyses.sensors.one_trace import SEEN_FROM

HERE = Path(__file__).parent
NAMES = ("car, hot end", "car, cold start", "car, warm-up in a jam", "ride")


def called(verdicts):
    """How many are called a fault of the circuit."""
    return sum(v.log_factor >= SEEN_FROM and bool(v.spans) for v in verdicts)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--windows", type=int, default=100, help="windows of each recording")
    parser.add_argument("--seed", type=int, default=2026113025)
    args = parser.parse_args()
    traces = real_coolants(args.folder)
    kinds = (("as recorded", 0, False), ("one to three gaps", 3, False),
             ("one to three gaps, defaults behind them", 3, True))  # fmt: skip
    lines = [
        "# Real coolant readings in windows", "",
        f"`python studies/plausibility/real.py FOLDER`: {args.windows} windows of 3 to 15 min of "
        "each recording a row, gaps of 21 to",
        f"200 s; seed {args.seed} used once; shares with Wilson's 95 % interval. Windows of one "
        "recording overlap: the", "interval is too narrow for trucks in general.", "",
        "| recording | put in | a fault called |", "|---|---|---|",
    ]  # fmt: skip
    for row, (words, gaps, defaults) in enumerate(kinds):
        total = of = 0
        for number, trace in enumerate(traces):
            rng = np.random.default_rng([args.seed, row, number])
            cut = []
            for _ in range(args.windows):
                count = int(rng.integers(1, gaps + 1)) if gaps else 0
                cut.append(window(trace, rng, gaps=count, defaults=defaults))
            verdicts = judged(cut)
            total, of = total + called(verdicts), of + len(verdicts)
            told = share(called(verdicts), len(verdicts))
            lines.append(f"| {NAMES[number]} | {words} | {told} |")
        lines.append(f"| all | {words} | {share(total, of)} |")
        print(lines[-1], flush=True)
    lines += [
        "", "Two dips of 4 to 8 degC of 3 s put where the recording has readings on both sides of "
        "them, one gap:", "", "| windows | found |", "|---|---|",
    ]  # fmt: skip
    for count in (13, 104):
        rng = np.random.default_rng([args.seed, 9, count])
        made, tried = [], 0
        while len(made) < count:
            tried += 1
            t, v = window(traces[tried % 4], rng, gaps=1, defaults=False)
            if t.size < 40:
                continue
            inside = t[(np.searchsorted(t, t + 12.0) - np.searchsorted(t, t - 12.0)) >= 10]
            if not inside.size:
                continue
            starts = [float(x) for x in rng.choice(inside, 2)]
            size = -float(rng.uniform(4.0, 8.0))
            made.append((t, np.round(dipped(t, v, starts, size, 3.0))))
        lines.append(f"| {count} | {share(called(judged(made)), count)} |")
    (HERE / "real.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines[-2:]))


if __name__ == "__main__":
    main()
