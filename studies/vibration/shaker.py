"""A second shaking truck: forces through masses and springs, step by step in time.

Not the sums of cosines of ``truck.py``: every cylinder's firing is a pulse on a block that stands
on its mounts (an oscillator integrated in time), an unbalanced pulley is a force that grows with
its speed squared and slips on its belt, the road is noise through wheels, springs and cab. The
phone samples what the seat does without any filter before it. Figures assumed, drawn anew. It
imports nothing of the product.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import cont2discrete, lfilter

RATE = 2000.0
GEARS = {"9": 1.0, "10": 0.73, "8": 1.38}
AXLE, TYRE = 3.55, 500.0


def oscillator(force, hertz, damping, out="acceleration"):
    """Response of a unit mass on a spring and a damper, integrated in time."""
    w = 2 * np.pi * hertz
    a = np.array([[0.0, 1.0], [-(w**2), -2 * damping * w]])
    b = np.array([[0.0], [1.0]])
    c = a[1:2] if out == "acceleration" else np.array([[w**2, 0.0]])
    d = b[1:2] if out == "acceleration" else np.array([[0.0]])
    ad, bd, cd, dd, _ = cont2discrete((a, b, c, d), 1 / RATE, "zoh")
    denominator = np.poly(ad)
    # Numerator of C (zI - A)^-1 B + D.
    numerator = np.poly(ad - bd @ cd) + (dd[0, 0] - 1.0) * denominator
    return lfilter(numerator, denominator, force)


def speeds(rng, gears, seconds):
    """Time, engine speed [r/min], gear ratio (nan: neutral); three blips, then a pull a gear."""
    end = 18.0 + seconds * len(gears)
    t = np.arange(0, end, 1 / RATE)
    rpm = np.full(len(t), 680.0)
    for middle in np.cumsum(rng.uniform(2.8, 4.2, 3)) + 1.0:
        width, height = rng.uniform(0.5, 0.9), rng.uniform(450, 900)
        rise = np.exp(-((np.clip(middle - t, 0, None) / width) ** 2))
        rpm += height * rise * np.exp(-((np.clip(t - middle, 0, None) / (1.5 * width)) ** 2))
    ratio = np.full(len(t), np.nan)
    for i, gear in enumerate(gears):
        inside = (t >= 17 + i * seconds) & (t < 15.5 + (i + 1) * seconds)
        low, high = rng.uniform(1050, 1200), rng.uniform(1600, 1750)
        rpm[inside] = np.linspace(low, high, inside.sum())
        ratio[inside] = GEARS[gear]
    ripple = lfilter([0.002], [1, -0.998], rng.standard_normal(len(t))) * 60
    return t, np.maximum(rpm + ripple, 500.0), ratio


def shake(rng, kind, *, level=0.25, gears=("10", "9"), seconds=24.0, ratio=None, slip=0.0):
    """One drive: bus rows and what the phone's seat does, at 2000 Hz, three axes [m/s2]."""
    t, rpm, gear = speeds(rng, gears, seconds)
    turn = np.concatenate([[0], np.cumsum(rpm[1:] / 60 / RATE)])
    driving = np.isfinite(gear)
    shaft_speed = np.where(driving, rpm / 60 / np.where(driving, gear, 1.0), 0.0)
    shaft = np.cumsum(shaft_speed / RATE)
    road_speed = shaft_speed / AXLE / TYRE * 1609.344
    # Six pulses a cycle, each cylinder a little different, on a block that rocks on its mounts.
    share = 1 + 0.04 * rng.standard_normal(6)
    phase = (turn * 3.0) % 1.0
    which = np.floor(turn * 3.0).astype(int) % 6
    pulse = share[which] * np.exp(-(((phase - 0.25) / 0.12) ** 2)) * (0.5 + 0.5 * driving)
    block = oscillator(pulse - pulse.mean(), rng.uniform(8, 12), rng.uniform(0.06, 0.12), "force")
    body = oscillator(block, rng.uniform(30, 45), 0.2, "force")
    x = np.outer(body, _way(rng)) * rng.uniform(0.05, 0.10) / max(body[driving].std(), 1e-9)
    # Road: slope noise through wheel hop, springs and cab, stronger with speed.
    noise = rng.standard_normal((len(t), 3)) * np.sqrt(np.clip(road_speed, 0.2, None))[:, None]
    for axis in range(3):
        hop = oscillator(noise[:, axis], rng.uniform(9, 13), rng.uniform(0.12, 0.2), "force")
        spring = oscillator(noise[:, axis], rng.uniform(1.3, 2.2), 0.15, "force")
        cab = oscillator(noise[:, axis], rng.uniform(18, 40), rng.uniform(0.1, 0.2), "force")
        road = hop / hop.std() + 1.3 * spring / spring.std() + 0.5 * cab / cab.std()
        x[:, axis] += rng.uniform(0.10, 0.22) * road + 0.02 * noise[:, axis] / noise[:, axis].std()
    force, on = None, driving
    if kind == "belt":
        wander = lfilter([0.0004], [1, -0.9996], rng.standard_normal(len(t)))
        turns = np.cumsum(rpm / 60 * ratio * (1 - slip - 0.002 * wander / wander.std()) / RATE)
        force, on = (rpm / 1400) ** 2 * np.cos(2 * np.pi * turns), np.ones(len(t), bool)
    elif kind == "half":
        force, on = np.cos(np.pi * turn) + 0.3 * np.cos(3 * np.pi * turn), np.ones(len(t), bool)
    elif kind == "shaft":
        force = (shaft_speed / 25) ** 2 * np.cos(4 * np.pi * shaft)
    elif kind == "tyre":
        force = (shaft_speed / 25) * np.cos(2 * np.pi * shaft / AXLE)
    elif kind == "fixed":
        force = oscillator(rng.standard_normal(len(t)), rng.uniform(14, 30), 0.01, "force")
    if force is not None:
        force = force * on
        wanted = level * np.sqrt(1.0) / max(np.sqrt(np.mean(force[driving] ** 2)), 1e-9)
        x += np.outer(force * wanted, _way(rng))
    bus = np.arange(0, t[-1], 0.02)
    rows = {
        "time": bus,
        "rpm": np.round(np.interp(bus - 0.03, t, rpm) / 0.125) * 0.125,
        "road": np.interp(bus - 0.03, t, road_speed),
        "load": np.interp(bus, t, np.where(driving, 90.0, 8.0)),
    }
    return t, x, rows


def phone(rng, t, x, rate, offset, *, pause=None):
    """Sample by interpolation at jittered times on the phone's own clock; *pause* (at, seconds)."""
    at = np.arange(0.3, t[-1] - 0.3, 1 / rate)
    at = np.sort(at + 0.06 / rate * rng.standard_normal(len(at)))
    values = np.stack([np.interp(at, t, x[:, i]) for i in range(3)], axis=1)
    values += 0.02 * rng.standard_normal(values.shape)
    clock = at * (1 + 20e-6 * rng.standard_normal()) + offset
    if pause is not None:
        clock = np.where(at > pause[0], clock + pause[1], clock)
    return clock, values


def _way(rng):
    v = rng.standard_normal(3)
    return v / np.linalg.norm(v)
