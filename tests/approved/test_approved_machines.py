"""What simulated machines come to: dampers, cylinders, shaking trucks, sensors, drifting plugs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np
import pytest
from studies.plausibility import cross, jumps
from studies.vibration import belts, cylinders, damper_bars

from analyses.crank_material import sweep_edges
from approved.approved import same
from witnessmark.analyses.sensors.liveliness import PROFILES
from witnessmark.analyses.sensors.one_trace import judge_many
from witnessmark.analyses.sensors.trace_samples import prepare
from witnessmark.knowledge import load_knowledge
from witnessmark.model.finding import Finding
from witnessmark.physics.vibration.twist.tooth_edges import (
    drop_false_edges,
    find_marks,
    other_wheels,
)
from witnessmark.physics.vibration.twist.tooth_timing import torsion

SEED = 20261202
#: Fits end where a search stops: another processor may stop a little beside it.
RELATIVE, ABSOLUTE = 2e-3, 1e-5


def test_cylinders() -> None:
    found = {}
    weak: list[dict[str, float]] = [{}, {"lack": 0.2}, {"lack": 0.5}, {"leak": 0.2}]
    for number, (where, (rpm, load, fired)) in enumerate(cylinders.POINTS.items()):
        for place, fault in enumerate(weak):
            lost = fault if fired or not fault else {"leak": 0.2}
            cylinder, balance = cylinders.one(SEED, 4 * number + place, rpm, load, fired, **lost)
            found[f"{where} {fault}"] = [cylinder, cylinders.said(balance), asdict(balance)]
    same("cylinders", found, relative=RELATIVE, absolute=ABSOLUTE)


def test_dampers() -> None:
    found = {}
    for number in range(1):
        engine = damper_bars.crank(np.random.default_rng([SEED, number]))
        for state in damper_bars.STATES:
            values = damper_bars.twist(engine, state, damper_bars.RPM)
            for i, place in enumerate(damper_bars.PLACES):
                rng = np.random.default_rng([SEED, number, i])
                found[f"{number} {state} {place}"] = damper_bars.said(rng, values[i], place)
    same("dampers", found, relative=RELATIVE, absolute=ABSOLUTE)


WHEELS: dict[str, dict[str, Any]] = {
    "two missing": {},
    "one missing": {"places": 36, "missing": (35,)},
    "no gap": {"places": 118, "missing": (), "at": "flywheel"},
    "steady": {"low": 700.0, "high": 700.0, "seconds": 6.0},
}


def test_marks_of_wheels() -> None:
    """Whole edges, and the same with marks lost and false ones put in between."""
    found = {}
    for number, (name, wheel) in enumerate(WHEELS.items()):
        edges = sweep_edges(60.0, **({"seconds": 12.0, "seed": number, "pattern": 2e-4} | wheel))
        rng = np.random.default_rng([SEED, number])
        lost = np.delete(edges, rng.integers(100, len(edges) - 100, 4))
        at = rng.integers(100, len(lost) - 100, 4)
        false = np.sort(np.append(lost, lost[at] + 0.3 * (lost[at + 1] - lost[at])))
        for how, times in (("whole", edges), ("lost", lost), ("false", false)):
            kept, dropped = drop_false_edges(times)
            try:
                marks = find_marks(kept)
            except ValueError as error:
                found[f"{name} {how}"] = [dropped, str(error)]
                continue
            made = torsion(marks, top=9.0)
            others = [[m.places, m.gaps] for m in other_wheels(marks)]
            found[f"{name} {how}"] = [
                dropped, marks.places, marks.gaps, marks.missed, marks.place[-1], others,
                len(made.rpm),
                made.rpm[::5], np.abs(made.amplitude[::9]) * 1e3, made.error[::9] * 1e3,
            ]  # fmt: skip
    same("marks", found, relative=RELATIVE, absolute=ABSOLUTE)


def test_shaking_trucks() -> None:
    knowledge, found = load_knowledge(), {}
    base = {"label": "x", "engine": {"cylinders": 6, "firing_order": [1, 5, 3, 6, 2, 4]},
            "gears": belts.GEARS, "axle_ratio": belts.AXLE,
            "tyre_rev_per_mile": belts.TYRE}  # fmt: skip
    for kind in ("belt",):
        rng = np.random.default_rng(SEED)
        t, x, rows = belts.shake(rng, kind, ratio=1.23, slip=0.0)
        seen = belts.phone(rng, t, x, 100.0, 3.7)
        found[kind] = [_bare(f) for f in belts.findings(knowledge, seen, rows, base).values()]
    same("shaking", found, relative=RELATIVE, absolute=ABSOLUTE)


def test_traces_of_the_coolant() -> None:
    profile, traces, names = PROFILES[jumps.NAME], [], []
    for number in range(4):
        rng = np.random.default_rng([SEED, number])
        truth, _, _ = jumps.drive(rng, seconds=900, cold=number % 2 == 1)
        values = jumps.sensed(rng, truth[jumps.NAME], jumps.NAME)
        time = np.arange(len(values), dtype=float)
        for row in ("sound", "dips", "gaps", "dips gaps defaults"):
            own = np.random.default_rng([SEED, number, len(row)])
            v, t = values.copy(), time.copy()
            if "dips" in row:
                for start in own.choice(np.arange(60, 700), 3, replace=False):
                    v[start : start + int(own.integers(2, 8))] -= round(own.uniform(3, 8))
            if "gaps" in row:
                t, v = jumps.cut(own, t, v, "defaults" in row)
            made = prepare(t, v, profile)
            if made is not None:
                traces.append(made)
                names.append(f"{number} {row}")
    verdicts = judge_many(traces, profile)
    found = {n: asdict(v) for n, v in zip(names, verdicts, strict=True)}
    same("traces", found, relative=RELATIVE, absolute=ABSOLUTE)


@pytest.mark.parametrize("cold", [False, True], ids=["begun warm", "begun cold"])
def test_warm_temperatures(cold: bool) -> None:
    knowledge, found = load_knowledge(), {}
    rng = np.random.default_rng([SEED, int(cold)])
    truth, load, rpm = cross.drive(rng, cold=cold)
    for name in ("", *cross.FAULTY[:4]):
        for fault in ({"drift": 12.0}, {"offset": -11.0}):
            own = np.random.default_rng([SEED, 1])
            read = {
                n: cross.sensed(own, truth[n], n, **(fault if n == name else {}))
                for n in cross.NAMES
            }
            found[f"{name} {fault}"] = [
                _bare(f) for f in cross.findings(knowledge, read, load, rpm)
            ]
    same(f"warm_{'cold' if cold else 'warm'}", found, relative=RELATIVE, absolute=ABSOLUTE)


def _bare(finding: Finding) -> list[Any]:
    return [finding.code, finding.outcome, finding.value, finding.low, finding.high,
            asdict(finding.details)]  # fmt: skip
