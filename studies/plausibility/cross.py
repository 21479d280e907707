"""Study: drift, offset and swapped plugs among a warm engine's temperatures. Writes cross.md.

nice -n 15 python studies/plausibility/cross.py --trucks 50

The truth is warm_engine.py, 45 minutes, half of the drives begun cold with the engine standing. The
seed was used for the table only. Before the table was made the method was settled on the seeds 7001
and 2026112904 (the table before this one).
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
from warm_engine import NAMES, drive, sensed
from wilson import share

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors import cross_checks, sensor_drift
from witnessmark.knowledge import load_knowledge
from witnessmark.model.details.trace_details import SensorOff
from witnessmark.model.entries.case import read_case
from witnessmark.model.recording import Channel, Recording

HERE = Path(__file__).parent
FAULTY = NAMES[:5]
PAIRS = (
    ("coolant_temperature", "oil_temperature"), ("intake_air_temperature", "fuel_temperature"),
    ("intake_air_temperature", "ambient_temperature"), ("fuel_temperature", "ambient_temperature"),
    ("coolant_temperature", "intake_air_temperature"),
)  # fmt: skip
AT = "2026-01-01T00:00:00Z"
LINES = [
    json.dumps({"kind": "complaint", "id": "c", "at": AT,
                "data": {"words": "gauge", "families": ["cool_unstable"]}}),
    json.dumps({"kind": "recording", "id": "r", "at": AT, "data": {"path": "x.log"}}),
]  # fmt: skip


def findings(knowledge, channels, load, rpm):
    """What the product finds on one recording."""
    time = np.arange(len(load), dtype=float)

    def channel(name, values, unit):
        good = np.zeros(len(time), np.uint8)
        return Channel(name, unit, time.copy(), np.array(values, float), good, source=0)

    rows = [channel(n, v, "degC") for n, v in channels.items()]
    rows += [channel("engine_load", np.round(load), "%"), channel("engine_speed", rpm, "rpm")]
    made = Recording("x", "0" * 64, "bus", "study", float(time[-1]), tuple(rows))
    case = read_case("x", LINES)
    bench = Bench(case, {"r": made}, knowledge, case.stages())
    return (*sensor_drift.analyse(bench), *cross_checks.analyse(bench))


def drifting(found):
    return {f.quantity for f in found if f.code.endswith("_drift") and f.outcome == "seen"}


def off(found):
    """Sensors told to be steadily off; of "one of the two" both."""
    names = set()
    for f in found:
        told = f.code.endswith("_steadily_off") or f.code == "temperatures_apart_at_cold_soak"
        if told and f.outcome == "seen":
            names.add(f.quantity)
            if isinstance(f.details, SensorOff) and f.details.one_of_two:
                names.add(f.details.against)
    return names


def swapped(found):
    return {frozenset(f.details.pair) for f in found if f.code == "temperatures_swapped"}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--trucks", type=int, default=60)
    parser.add_argument("--sound", type=int, default=340, help="further sound trucks")
    parser.add_argument("--seed", type=int, default=2026113021)
    args = parser.parse_args()
    knowledge = load_knowledge()
    counts: Counter[tuple[str, ...]] = Counter()
    for number in range(args.trucks):
        rng = np.random.default_rng([args.seed, number])
        cold = number % 2 == 1
        truth, load, rpm = drive(rng, cold=cold)

        def read(number=number, truth=truth, **fault):
            own = np.random.default_rng([args.seed, number, 1])
            name = fault.pop("name", None)
            return {n: sensed(own, truth[n], n, **(fault if n == name else {})) for n in NAMES}

        sound = read()
        count_sound(counts, findings(knowledge, sound, load, rpm))
        for name in FAULTY:
            put = float(rng.choice([-1, 1]) * rng.uniform(5, 15))
            last = findings(knowledge, read(name=name, drift=put), load, rpm)
            got = drifting(last)
            counts["drift", "swap"] += bool(swapped(last))
            counts["drift", name, "right" if name in got else "wrong" if got else "none"] += 1
            put = float(rng.choice([-1, 1]) * rng.uniform(8, 20))
            last = findings(knowledge, read(name=name, offset=put), load, rpm)
            got = off(last)
            begun = "cold" if cold else "warm"
            counts["off", begun, name, "right" if name in got else "wrong" if got else "none"] += 1
            counts["off", "swap"] += bool(swapped(last))
        for one, two in PAIRS:
            got = swapped(
                findings(knowledge, sound | {one: sound[two], two: sound[one]}, load, rpm)
            )
            told = "right" if frozenset((one, two)) in got else "wrong" if got else "none"
            counts["swap", one, two, told] += 1
    for number in range(args.trucks, args.trucks + args.sound):
        rng = np.random.default_rng([args.seed, number])
        truth, load, rpm = drive(rng, cold=number % 2 == 1)
        own = np.random.default_rng([args.seed, number, 1])
        found = findings(knowledge, {n: sensed(own, truth[n], n) for n in NAMES}, load, rpm)
        count_sound(counts, found)
    write(counts, args)


def count_sound(counts, found):
    """What is called on a sound truck."""
    counts["sound", "drift"] += bool(drifting(found))
    counts["sound", "off"] += bool(off(found))
    counts["sound", "swap"] += bool(swapped(found))
    counts["sound", "not run"] += any(f.outcome == "not_run" for f in found)


def write(counts, args):
    """Put the counts into the table."""
    n, every = args.trucks, args.trucks + args.sound
    lines = [
        "# Temperatures held against each other", "",
        f"`python studies/plausibility/cross.py`: {n} trucks of `warm_engine.py`, 45 min, every "
        f"other one begun cold, and {args.sound} more sound ones;",
        f"seed {args.seed} used once; shares with Wilson's 95 % interval.", "",
        "| trucks | share |", "|---|---|",
        f"| sound: a drift called | {share(counts['sound', 'drift'], every)} |",
        f"| sound: an offset called | {share(counts['sound', 'off'], every)} |",
        f"| sound: a swap called | {share(counts['sound', 'swap'], every)} |",
        f"| sound: something not run | {share(counts['sound', 'not run'], every)} |",
        f"| one sensor drifts: a swap called | {share(counts['drift', 'swap'], 5 * n)} |",
        f"| one sensor is off: a swap called | {share(counts['off', 'swap'], 5 * n)} |", "",
        "| put into | drift of 5 to 15 degC found | another one named | offset of 8 to 20 degC "
        "found, begun cold | begun warm | another one named |", "|---|---|---|---|---|---|",
    ]  # fmt: skip
    total = Counter()
    for name in FAULTY:
        drift = {k: counts["drift", name, k] for k in ("right", "wrong", "none")}
        cold, warm = ({k: counts["off", w, name, k] for k in ("right", "wrong", "none")}
                      for w in ("cold", "warm"))  # fmt: skip
        both = sum(cold.values()) + sum(warm.values())
        cells = [
            name.replace("_", " "), share(drift["right"], n), share(drift["wrong"], n),
            share(cold["right"], sum(cold.values())), share(warm["right"], sum(warm.values())),
            share(cold["wrong"] + warm["wrong"], both),
        ]  # fmt: skip
        lines.append(f"| {' | '.join(cells)} |")
        total.update(drift=drift["right"], off=cold["right"] + warm["right"], n=n,
                     cold=cold["right"], ncold=sum(cold.values()))  # fmt: skip
    lines += [
        f"| all | {share(total['drift'], total['n'])} | | {share(total['cold'], total['ncold'])} | "
        f"cold and warm: {share(total['off'], total['n'])} | |", "",
        "| swapped | named | another pair named |", "|---|---|---|",
    ]  # fmt: skip
    for one, two in PAIRS:
        words = f"{one.replace('_', ' ')} and {two.replace('_', ' ')}"
        lines.append(f"| {words} | {share(counts['swap', one, two, 'right'], n)} | "
                     f"{share(counts['swap', one, two, 'wrong'], n)} |")  # fmt: skip
    (HERE / "cross.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
