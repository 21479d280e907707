"""Study: damper and cylinders on engines stepped through time. Writes stepped.md.

OMP_NUM_THREADS=1 nice -n 15 python studies/vibration/stepped.py --engines 6

From the edges of crank_stepped.py to the finding: gapless flywheels of 116 to 138 teeth of which
0.03 to 0.1 % did not come, with a camshaft mark; a 60-2 wheel on the nose. The seed was used for
the table only.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent))
from crank_stepped import Batch, Machine, once, teeth
from wilson import share

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.vibration import torsional
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.recording import Channel, Recording

HERE = Path(__file__).parent
AT = "2026-01-01T00:00:00Z"
LACKS = (0.0, 0.2, 0.3, 0.5)
CYLINDERS = {
    "pull": ("1200 rpm, full load", 1.0, (9.0, 1195, 1215)),
    "idle": ("idle in neutral, 650 rpm", 0.0, (16.0, 650, 651)),
}
DAMPERS = (("healthy", 0.0), ("tenth", 0.0), ("empty", 0.0), ("seized", 0.0), ("empty", 0.5),
           ("healthy", 0.4))  # fmt: skip


def findings(knowledge, edges, cam, firing, place, load, dead_centre):
    """What the product finds on one recording of edges, by code."""
    rows = [Channel(n, "", t, np.ones(len(t)), np.zeros(len(t), np.uint8))
            for n, t in (("crank", edges), ("cam", cam))]  # fmt: skip
    made = Recording("s.csv", "0" * 64, "tooth_timing", "study", None, tuple(rows))
    engine = {"cylinders": 6, "firing_order": list(firing)}
    entries = (
        ("truck", {"label": "x", "engine": engine}),
        ("complaint", {"words": "shakes", "families": ["vib_load"]}),
        ("recording", {"path": "s.csv", "place": place, "point": {"warm": True, "load": load},
                       "dead_centre": f"{dead_centre:.1f} deg"}),
    )  # fmt: skip
    case = read_case(
        "x", [json.dumps({"kind": k, "id": k[0], "at": AT, "data": d}) for k, d in entries]
    )
    bench = Bench(case, {"r": made}, knowledge, case.stages())
    return {f.code: f for f in torsional.analyse(bench)}


def recorded(knowledge, seed, machines, load, run, places):
    """Findings of every machine at every one of *places*."""
    batch = Batch(machines, load=load)
    nose, fly = batch.run(*run)
    words = "full" if load else "none"
    for i in range(len(machines)):
        rng = np.random.default_rng([seed, i, 77])
        turned, count = rng.uniform(0, 4 * np.pi), int(rng.integers(116, 139))
        cam = once(fly[:, i], 4 * np.pi, turned)
        centre = float(np.degrees(-turned % (4 * np.pi)))
        zero, lost = rng.uniform(0, 6), rng.uniform(3e-4, 1e-3)
        edges = {
            "flywheel": teeth(rng, fly[:, i], count, lost=lost, zero=zero),
            "nose": teeth(rng, nose[:, i], 60, (58, 59), zero=zero),
        }
        yield i, [findings(knowledge, edges[p], cam, batch.firing[i], p, words, centre)
                  for p in places]  # fmt: skip


def cylinder_rows(knowledge, seed, engines, part):
    """One line of the table for each lack."""
    where, load, run = CYLINDERS[part]
    machines = [Machine((seed, e), weak=(e % 6 + 1, x)) for e in range(engines) for x in LACKS]
    read = {x: [] for x in LACKS}
    calls = {x: Counter() for x in LACKS}
    for i, (found,) in recorded(knowledge, seed, machines, load, run, ("flywheel",)):
        number, lack = machines[i].weak
        told = found["cylinder_balance"]
        named = told.outcome == "seen"
        right = named and told.sentence.startswith(f"Cylinder {number} ") and lack > 0
        calls[lack]["right" if right else "wrong" if named else told.outcome] += 1
        if told.value is not None:
            read[lack].append(-told.value)
    for lack, c in calls.items():
        ends = ", ".join(f"{v:.0f}" for v in np.percentile(read[lack], [10, 50, 90]))
        named = share(c["right"], engines) if lack else "-"
        yield (
            f"| {where} | {100 * lack:.0f} % | {named} | {share(c['wrong'], engines)} | "
            f"{share(c['not_seen'], engines)} | {ends} |"
        )


def damper_rows(knowledge, seed, engines):
    """One line of the table for each state and place."""
    machines = [Machine((seed, e), state, (e % 6 + 1, x) if x else None)
                for e in range(engines) for state, x in DAMPERS]  # fmt: skip
    places = ("nose", "flywheel")
    told = {(d, p): Counter() for d in DAMPERS for p in places}
    for i, found in recorded(knowledge, seed + 1, machines, 1.0, (14.0, 800, 2080), places):
        for place, f in zip(places, found, strict=True):
            told[DAMPERS[i % len(DAMPERS)], place][f["damper_twist"].outcome] += 1
    for ((state, lack), place), c in told.items():
        words = f"{state}, a cylinder {100 * lack:.0f} % weak" if lack else state
        yield (f"| {words} | {place} | {share(c['seen'], engines)} | "
               f"{share(c['not_seen'], engines)} | "
               f"{share(c['inconclusive'] + c['not_run'], engines)} |")  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--engines", type=int, default=6)
    parser.add_argument("--parts", default="pull,idle,damper")
    parser.add_argument("--seed", type=int, default=2026113045)
    args = parser.parse_args()
    knowledge = load_knowledge()
    parts = args.parts.split(",")
    lines = [
        "# Damper and cylinders on engines stepped through time", "",
        f"`python studies/vibration/stepped.py --parts {args.parts}`: `crank_stepped.py`, "
        f"{args.engines} engines a row", f"with belts of loss 0 to 0.35, seed {args.seed} used "
        "once; shares with Wilson's 95 % interval. Gapless", "flywheels of 116 to 138 teeth, 0.03 "
        "to 0.1 % of them missed, with a camshaft mark; amounts are those read:",
        "10 %, median and 90 % point.",
    ]  # fmt: skip
    cylinders = [part for part in parts if part in CYLINDERS]
    if cylinders:
        lines += [
            "", "| where | true lack | right cylinder named | a wrong one named | called about the "
            "same | amount read, % |", "|---|---|---|---|---|---|",
        ]  # fmt: skip
    for part in cylinders:
        lines += cylinder_rows(knowledge, args.seed, args.engines, part)
    if "damper" in parts:
        lines += ["", "| damper | place | told not damping | looks healthy | cannot tell |",
                  "|---|---|---|---|---|"]  # fmt: skip
        lines += damper_rows(knowledge, args.seed, args.engines)
    (HERE / "stepped.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
