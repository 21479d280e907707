"""Invented recordings for the tests: a phone beside a bus, in two gears. Not a test itself."""

import json

import numpy as np

from witnessmark.analyses.an_analysis import Bench
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.recording import Channel, Recording

AXLE, TYRE = 3.55, 500.0
TRUCK = {
    "label": "unit 7",
    "engine": {"cylinders": 6, "firing_order": [1, 5, 3, 6, 2, 4]},
    "gears": {"9": 1.0, "10": 0.73, "8": 1.38},
    "axle_ratio": AXLE,
    "tyre_rev_per_mile": TYRE,
}


def channel(name, time, values, unit="", label=""):
    values = np.asarray(values, dtype=float).copy()
    return Channel(
        name, unit, np.asarray(time, dtype=float).copy(), values,
        np.zeros(len(values), np.uint8), label,
    )  # fmt: skip


def drive(
    seed=0, *, gears=("10", "9"), seconds=24.0, rate=200.0, lines=(), noise=0.12, blips=False,
    phone_offset=0.0, neutral=0.0,
):  # fmt: skip
    """A drive; *lines* are (carrier, multiple, rms of all axes). Returns phone and bus channels."""
    rng = np.random.default_rng(seed)
    bus = np.arange(0, seconds * len(gears) + 20.0, 0.02)
    rpm, speed = np.full_like(bus, 700.0), np.zeros_like(bus)
    if blips:
        for middle in (4.0, 7.3, 11.0):
            rpm += 750 * np.exp(-(((bus - middle) / 0.7) ** 2))
    ratio = np.full_like(bus, np.nan)
    for i, gear in enumerate(gears):
        inside = (bus >= 16 + i * seconds) & (bus < 14 + (i + 1) * seconds)
        rpm[inside] = np.linspace(1100, 1700, np.count_nonzero(inside))
        ratio[inside] = TRUCK["gears"][gear]
        speed[inside] = rpm[inside] / 60 / ratio[inside] / AXLE / TYRE * 1609.344
    rpm = rpm * (1 + 0.002 * np.sin(2 * np.pi * 0.31 * bus))
    speed = np.where(np.isnan(ratio), 0.0, rpm / 60 / ratio / AXLE / TYRE * 1609.344)
    turn = np.concatenate([[0], np.cumsum((rpm[1:] + rpm[:-1]) / 2 * np.diff(bus) / 60)])
    shaft_speed = np.where(np.isnan(ratio), 0.0, rpm / 60 / ratio)
    shaft = np.concatenate([[0], np.cumsum(shaft_speed[:-1] * np.diff(bus))])
    t = np.arange(0.3, bus[-1] - 0.3, 1 / rate)
    t = np.sort(t + 0.08 / rate * rng.standard_normal(len(t)))
    phase = {"engine": np.interp(t, bus, turn), "shaft": np.interp(t, bus, shaft)}
    phase["wheel"] = phase["shaft"] / AXLE
    driving = np.interp(t, bus, (speed > 1).astype(float))
    x = noise * rng.standard_normal((len(t), 3)) + 0.15 * np.sin(2 * np.pi * 1.7 * t)[:, None]
    x += 0.05 * np.cos(2 * np.pi * 3 * phase["engine"])[:, None]
    x += 0.10 * np.cos(2 * np.pi * 0.5 * phase["engine"] + 1)[:, None] * (1 - driving)[:, None]
    for carrier, multiple, rms in lines:
        way = rng.standard_normal(3)
        way /= np.linalg.norm(way)
        gate = driving + neutral * (1 - driving) if carrier == "engine" else driving
        wave = np.sqrt(2) * rms * gate * np.cos(2 * np.pi * multiple * phase[carrier] + 0.4)
        x += wave[:, None] * way
    phone = [
        channel(a, t + phone_offset, x[:, i], "m/s2") for i, a in enumerate(("ax", "ay", "az"))
    ]
    seen = [
        channel("engine_speed", bus, np.round(rpm / 0.125) * 0.125, "rpm"),
        channel("road_speed", bus, speed, "m/s"),
        channel("engine_load", bus, np.where(speed > 1, 100.0, 10.0), "%"),
    ]
    return phone, seen


def recording(name, channels, kind="table"):
    return Recording(
        name, name.encode().hex().ljust(64, "0")[:64], kind, "test", None, tuple(channels)
    )


def bench(recordings, *, families=("vib_load",), truck=TRUCK, readings=(), extra=()):
    """A bench; *recordings* are (id, stage, recording); *readings* (stage, quantity, value, point).

    *extra* maps the id of a recording entry to further fields of its data.
    """
    extra = dict(extra)
    at = "2026-03-02T08:00:00Z"
    lines = [{"kind": "truck", "id": "t", "at": at, "data": truck}] if truck else []
    complaint = {"words": "it shakes", "families": list(families)}
    lines.append({"kind": "complaint", "id": "complaint", "at": at, "data": complaint})
    last = max([s for _, s, _ in recordings] + [s for s, *_ in readings] + [0])
    for stage in range(last + 1):
        for key, where, made in recordings:
            if where == stage:
                data = {"path": made.name, "sha256": made.sha256} | extra.get(key, {})
                lines.append({"kind": "recording", "id": key, "at": at, "data": data})
        for i, (where, quantity, value, point) in enumerate(readings):
            if where == stage:
                data = {"quantity": quantity, "value": value, "point": point}
                lines.append({"kind": "reading", "id": f"r{stage}-{i}", "at": at, "data": data})
        if stage < last:
            work = {"cause": "engine_mounts", "did": "renewed"}
            lines.append({"kind": "work", "id": f"w{stage}", "at": at, "data": work})
    case = read_case("case", [json.dumps(line) for line in lines])
    assert not case.damaged, case.problems
    return Bench(case, {k: r for k, _, r in recordings}, load_knowledge(), case.stages())
