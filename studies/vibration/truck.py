"""A simulated truck with a phone on the seat rail: the truth for the study of the families.

Inputs follow the assumptions written down in docs/vibration.md (road noise, speed ripple, phone
clock, bus). Nothing here is used by the product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

KINDS = ("engine", "shaft", "tyre", "fixed", "none")
MODES = (1.6, 3.2, 7.0, 11.5, 24.0, 38.0)


@dataclass
class Drive:
    """One gear of one drive: phone samples and what the bus says."""

    time: np.ndarray
    values: np.ndarray
    bus_time: np.ndarray
    rpm: np.ndarray
    road_speed: np.ndarray
    gear: float
    truth: str


def second_order_noise(rng, n, rate, frequency, damping):
    """Noise through a resonance, rms 1."""
    r = np.exp(-2 * np.pi * frequency * damping / rate)
    a = [1, -2 * r * np.cos(2 * np.pi * frequency * np.sqrt(1 - damping**2) / rate), r * r]
    x = lfilter([1.0], a, rng.standard_normal(n + int(4 * rate)))[int(4 * rate) :]
    return x / x.std()


def drives(rng, kind, level, seconds, protocol, rate):
    """Simulate a drive.

    Args:
        rng: generator.
        kind: one of KINDS.
        level: rms of the complaint over all axes [m/s2].
        seconds: total.
        protocol: steady, sweep, direct, two, neutral.
        rate: phone samples a second.
    """
    axle, tyre = 3.55, 500 / 1609.344
    gears = {
        "steady": [0.73],
        "sweep": [rng.choice([0.73, 1.38, 0.86])],
        "direct": [1.0],
        "two": [0.73, 1.0] if rng.random() < 0.5 else [1.38, 1.0],
        "neutral": [0.73, 1.0],
    }[protocol]
    pick = {
        "engine": lambda: rng.choice([0.5, 1.0, 1.5, 2.5, 3.0, 6.0]),
        "shaft": lambda: rng.choice([1.0, 2.0]),
        "tyre": lambda: rng.choice([1.0, 2.0, 3.0], p=[0.6, 0.2, 0.2]),
        "fixed": lambda: rng.uniform(9.0, 40.0),
        "none": lambda: 0.0,
    }[kind]
    multiple = pick()
    if kind == "engine" and multiple == 6.0 and rate < 400:
        multiple = 1.0  # a phone cannot show it
    if kind == "engine" and multiple == 3.0 and rate < 200:
        multiple = 1.5
    damping = rng.uniform(0.008, 0.025)
    third, sixth = (
        0.12 * np.exp(0.4 * rng.standard_normal()),
        0.04 * np.exp(0.5 * rng.standard_normal()),
    )
    small = {k: 0.02 * np.exp(0.5 * rng.standard_normal()) for k in (0.5, 1.0, 1.5, 2.0, 2.5)}
    small_road = {
        k: 0.02 * np.exp(0.5 * rng.standard_normal()) for k in ("s1", "s2", "t1", "t2", "t3")
    }
    if kind == "engine" and multiple == 3.0:
        third = 0.0  # the level of the complaint is that of the whole line
    direction = {}

    def spread(name):
        if name not in direction:
            v = rng.standard_normal(3)
            direction[name] = v / np.linalg.norm(v) * np.exp(2j * np.pi * rng.random(3))
        return direction[name]

    road_rms = rng.uniform(0.2, 0.6)
    weights = np.exp(0.5 * rng.standard_normal(len(MODES)))
    dampings = rng.uniform(0.06, 0.2, len(MODES))
    clock = 0.012 * rng.standard_normal()
    ratio_error = 1 + 0.002 * rng.standard_normal()
    out = []
    for gear in gears:
        # With a neutral rev a third of the time goes into it; the family comes from the gears.
        span = seconds / (3 if protocol == "neutral" else len(gears))
        fine = np.arange(0, span + 2.0, 0.005)
        if protocol == "steady":
            rpm = np.full_like(fine, rng.uniform(1250, 1500))
        else:
            low, high = rng.uniform(1050, 1200), rng.uniform(1600, 1750)
            rpm = low + (high - low) * fine / (span + 2.0)
        ripple = np.cumsum(rng.standard_normal(len(fine)))
        ripple = ripple - np.linspace(ripple[0], ripple[-1], len(fine))
        ripple = ripple / (ripple.std() + 1e-9)
        rpm = rpm * (
            1 + 0.004 * ripple + 0.0015 * second_order_noise(rng, len(fine), 200, 2.7, 0.3)
        )
        turn = np.concatenate([[0], np.cumsum((rpm[1:] + rpm[:-1]) / 2 * 0.005 / 60)])
        n = int(span * rate)
        true = np.sort(0.5 + np.arange(n) / rate + 0.08 / rate * rng.standard_normal(n))
        engine = np.interp(true, fine, turn)
        shaft = engine / gear
        wheel = shaft / axle
        x = 0.02 * rng.standard_normal((n, 3))
        share = np.array([0.25, 0.25, 0.5])
        for axis in range(3):
            road = sum(
                w * second_order_noise(rng, n, rate, f, d)
                for w, f, d in zip(weights, MODES, dampings, strict=True)
                if f < 0.45 * rate
            ) + 0.6 * rng.standard_normal(n)
            x[:, axis] += road / road.std() * road_rms * np.sqrt(share[axis])

        def add(name, phase, peak, true=true, x=x):
            slow = 1 + 0.2 * np.sin(2 * np.pi * (0.05 * true + rng.random()))
            x[:] += np.real(
                peak * slow[:, None] * np.exp(2j * np.pi * phase)[:, None] * spread(name)
            )

        add("e3", 3 * engine, third)
        add("e6", 6 * engine, sixth)
        for k, a in small.items():
            add(f"e{k}", k * engine, a)
        for k, (name, a) in zip((1, 2, 1, 2, 3), small_road.items(), strict=True):
            add(name, k * (shaft if name[0] == "s" else wheel), a)
        peak = level * np.sqrt(2)
        if kind == "engine":
            add("f", multiple * engine, peak)
        elif kind == "shaft":
            add("f", multiple * shaft, peak)
        elif kind == "tyre":
            add("f", multiple * wheel, peak)
        elif kind == "fixed":
            mode = second_order_noise(rng, n, rate, multiple, damping) * level
            x += mode[:, None] * np.real(spread("f"))[None] / np.linalg.norm(np.real(spread("f")))
        stamp = true * (1 + 30e-6) + 0.0006 * rng.standard_normal(n) + clock
        keep = np.ones(n, bool)
        if rng.random() < 0.5:
            hole = rng.integers(0, n - 20)
            keep[hole : hole + int(0.1 * rate)] = False
        order = np.argsort(stamp[keep])
        bus = np.arange(0, span + 1.5, 0.02)
        seen = np.round(np.interp(bus, fine, rpm) / 0.125) * 0.125
        speed = np.interp(bus, fine, rpm) / 60 / gear / axle / tyre * ratio_error
        speed = np.round(speed * 3.6 * 256) / 256 / 3.6
        out.append(Drive(stamp[keep][order], x[keep][order], bus, seen, speed, float(gear), kind))
    return out
