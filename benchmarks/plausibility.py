"""Benchmark of the plausibility analysis: time for an hour of recording, and as a ratio.

Run: ``python benchmarks/plausibility.py`` from the root. Writes ``benchmarks/plausibility.md``.
All figures come from one run; the reference is a fixed piece of work with NumPy on the same
machine in the same run, so that figures of two machines can be compared.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "src"))

from witnessmark.analyses.an_analysis import Bench  # noqa: E402
from witnessmark.analyses.sensors.liveliness import PROFILES  # noqa: E402
from witnessmark.analyses.sensors.one_trace import judge, judge_many  # noqa: E402
from witnessmark.analyses.sensors.trace_samples import prepare  # noqa: E402
from witnessmark.analyses.together import sensor_or_real as plausibility  # noqa: E402
from witnessmark.knowledge import load_knowledge  # noqa: E402
from witnessmark.model.entries.case import read_case  # noqa: E402
from witnessmark.model.recording import Channel, Quality, Recording  # noqa: E402

COOLANT = PROFILES["coolant_temperature"]
HOUR = 3600.0


def channel(name: str, unit: str, when: np.ndarray, values: np.ndarray) -> Channel:
    good = np.full(when.size, Quality.VALID, np.uint8)
    return Channel(name, unit, when.copy(), values.copy(), good, source=0)


def series(step: float, seed: int, *, glitches: int, grain: float) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    when = np.arange(0.0, HOUR, step)
    values = 86.0 + 3.0 * np.sin(when / 90.0 + seed) + np.cumsum(rng.normal(0, 0.02, when.size))
    for start in rng.uniform(60.0, HOUR - 60.0, glitches):
        values[(when >= start) & (when < start + rng.uniform(1.0, 5.0))] -= rng.uniform(3.0, 10.0)
    noise = rng.normal(0.0, 0.15, when.size) if grain < 0.5 else 0.0
    return when, np.round((values + noise) / grain) * grain


def bench(recording: Recording) -> Bench:
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "jumps", "families": ["cool_unstable"]}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines)
    return Bench(case, {"e2": recording}, load_knowledge(), case.stages())


def an_hour(*, glitches: int) -> Callable[[], object]:
    when, values = series(1.0, 1, glitches=glitches, grain=1.0)
    rng = np.random.default_rng(2)
    fast = np.arange(0.0, HOUR, 0.5)
    oil = 300e3 + rng.normal(0.0, 5e3, fast.size)
    made = Recording(
        "x.log", "0" * 64, "bus", "test", HOUR,
        (
            channel("coolant_temperature", "degC", when, values),
            channel("oil_pressure", "Pa", fast, oil),
            channel("engine_speed", "rpm", fast, rng.uniform(690.0, 710.0, fast.size)),
        ),
    )  # fmt: skip
    on = bench(made)
    return lambda: plausibility.analyse(on)


def twenty(*, grain: float) -> Callable[[], object]:
    made = [series(0.1, k, glitches=20 if k < 5 else 0, grain=grain) for k in range(20)]

    def work() -> object:
        traces = [prepare(when, values, COOLANT) for when, values in made]
        return judge_many([t for t in traces if t is not None], COOLANT)

    return work


def truck() -> Callable[[], object]:
    """Twelve channels of one hour at 10 Hz: temperatures, pressures, speed, load; glitches."""
    rng = np.random.default_rng(5)
    when = np.arange(0.0, HOUR, 0.1)
    load = np.where((when // 40.0) % 3 == 0, 90.0, 15.0)
    speed = np.where(load > 50.0, 1450.0, 720.0) + rng.normal(0.0, 6.0, when.size)
    rows = {
        "oil_pressure": 150e3 + 120.0 * speed,
        "fuel_delivery_pressure": 300e3 + 60.0 * speed,
        "boost_pressure": 900.0 * load,
    }
    made = [
        channel("engine_speed", "rpm", when, speed),
        channel("engine_load", "%", when, load),
    ]
    for name, clean in rows.items():
        values = clean + rng.normal(0.0, 3e3, when.size)
        for start in rng.uniform(60.0, HOUR - 60.0, 10):
            values[(when >= start) & (when < start + 2.0)] += 8e4
        made.append(channel(name, "Pa", when, np.round(values / 4e3) * 4e3))
    names = ("coolant", "oil", "transmission_oil", "fuel", "ambient", "air_inlet", "intake_air")
    for k, name in enumerate(names):
        _, values = series(0.1, k, glitches=10, grain=1.0 if k % 2 else 0.03125)
        made.append(channel(f"{name}_temperature", "degC", when, values))
    on = bench(Recording("x.log", "0" * 64, "bus", "test", HOUR, tuple(made)))
    return lambda: plausibility.analyse(on)


def reference() -> object:
    table = np.random.default_rng(0).normal(size=(600, 600))
    for _ in range(20):
        table = np.sin(table) + np.sqrt(np.abs(table))
    return table


def best(work: Callable[[], object], runs: int = 5) -> float:
    work()
    taken = []
    for _ in range(runs):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def main() -> None:
    unit = best(reference)
    hour = series(1.0, 1, glitches=0, grain=1.0)
    rows = [
        ("one hour at 1 Hz, the filter alone", 0.3,
         best(lambda: judge(prepare(*hour, COOLANT), COOLANT))),
        ("one hour at 1 Hz, whole analysis, nothing wrong", 0.3, best(an_hour(glitches=0))),
        ("one hour at 1 Hz, whole analysis, 20 glitches", 0.3, best(an_hour(glitches=20))),
        ("20 channels of one hour at 10 Hz, steps of 1 degC", 5.0, best(twenty(grain=1.0), 2)),
        ("20 channels of one hour at 10 Hz, steps of 0.03 degC and noise", 5.0,
         best(twenty(grain=0.03125), 2)),
        ("whole analysis of twelve channels of one hour at 10 Hz, glitches in ten", 5.0,
         best(truck(), 2)),
    ]  # fmt: skip
    lines = [
        "# Plausibility benchmark",
        "",
        "Written by `benchmarks/plausibility.py` in one run; nothing here is typed in. Processor",
        f"time of one core, best of several; the reference work took {unit:.3f} s.",
        "",
        "| what | goal, s | taken, s | of the goal | in reference works |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {name} | {goal:g} | {taken:.3f} | {taken / goal:.0%} | {taken / unit:.2f} |"
        for name, goal, taken in rows
    ]
    (ROOT / "benchmarks" / "plausibility.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
