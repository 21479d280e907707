"""A cooling system with nodes, a thermostat that lags and sticks, and a sensor with two lags.

This is deliberately another model than the detector's: heat balances of two metal nodes, the
engine's coolant and a radiator with transport delay, a wax element with hysteresis and friction,
a sensor of second order, a thermistor with pull-up, a 10 or 12 bit converter and rounding to a
whole degree. Drives are simulated side by side. All figures are judgement unless they say so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

DT = 0.1
KINDS_REAL = ("healthy", "sticky", "winter_slug", "gas_pocket", "overheating", "fan_cycling")
KINDS_FAULT = ("contact_3_10", "glitches_2_5", "small_1_2", "open_circuit", "spikes", "noise")


@dataclass(frozen=True)
class Drives:
    """Drives of one kind.

    Attributes:
        time: shape (t,), [s].
        reading: shape (n, t), what is broadcast, before sampling at the broadcast rate [degC].
        sensed: shape (n, t), what the sensor body really is at [degC].
        load: shape (n, t), 0 to 1.
        faulty: shape (n, t), whether the circuit adds something.
    """

    time: Floats
    reading: Floats
    sensed: Floats
    load: Floats
    faulty: npt.NDArray[np.bool_]


def simulate(
    kind: str, count: int, seconds: float, rng: np.random.Generator, *, step: float = 1.0
) -> Drives:
    """Simulate drives; the reading is rounded to *step* degC (0: the converter's own)."""
    steps = int(seconds / DT)
    time = np.arange(steps) * DT
    load, speed = _work(count, steps, rng)
    outlet = _plant(kind, load, speed, count, steps, rng)
    sensed = _sensor(kind, outlet, load, count, steps, rng)
    reading, faulty = _circuit(kind, sensed, load, count, steps, rng, step)
    return Drives(time, reading, sensed, load, faulty)


def _work(count: int, steps: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Pulls, coasting and idling with gear changes of a second without torque."""
    load, speed = np.empty((count, steps)), np.empty((count, steps))
    for row in range(count):
        at = 0
        while at < steps:
            length = int(rng.uniform(8.0, 70.0) / DT)
            level = rng.choice([0.03, 0.15, 0.45, 0.75, 1.0], p=[0.2, 0.15, 0.25, 0.2, 0.2])
            revs = 650.0 if level < 0.05 and rng.random() < 0.5 else rng.uniform(1100.0, 1700.0)
            load[row, at : at + length] = level
            speed[row, at : at + length] = revs
            if rng.random() < 0.6:
                load[row, at : at + int(1.2 / DT)] = 0.0
            at += length
    return load, speed


def _plant(
    kind: str, load: Floats, speed: Floats, count: int, steps: int, rng: np.random.Generator
) -> Floats:
    n = count
    full = rng.uniform(140e3, 220e3, n)
    c_fast, c_slow = rng.uniform(4e4, 9e4, n), rng.uniform(2e5, 4e5, n)
    c_engine = rng.uniform(15.0, 30.0, n) * 3684.0
    c_radiator = rng.uniform(10.0, 20.0, n) * 3684.0
    to_fast, to_slow = rng.uniform(8e3, 16e3, n), rng.uniform(3e3, 7e3, n)
    opens, span = rng.uniform(80.0, 88.0, n), rng.uniform(8.0, 13.0, n)
    wax, band = rng.uniform(8.0, 25.0, n), rng.uniform(1.0, 3.0, n)
    friction = rng.uniform(0.0, 0.04, n)
    air = rng.uniform(5.0, 35.0, n)
    cooling = rng.uniform(3.0e3, 5.0e3, n)
    delay = rng.uniform(3.0, 9.0, n)
    start = rng.uniform(76.0, 90.0, n)
    radiator = start - rng.uniform(3.0, 15.0, n)
    if kind == "sticky":
        friction, band = rng.uniform(0.15, 0.5, n), rng.uniform(3.0, 7.0, n)
    if kind == "winter_slug":
        air, start = rng.uniform(-30.0, 0.0, n), rng.uniform(55.0, 80.0, n)
        radiator = air + rng.uniform(0.0, 25.0, n)
        friction = rng.uniform(0.05, 0.3, n)
    if kind == "overheating":
        cooling *= rng.uniform(0.25, 0.5, n)
        air = rng.uniform(25.0, 42.0, n)
    fan_on, fan_off = rng.uniform(93.0, 98.0, n), rng.uniform(86.0, 92.0, n)
    fan_gain = np.full(n, 1.6)
    if kind == "fan_cycling":
        cooling *= 0.6
        fan_gain = rng.uniform(2.5, 4.0, n)
        air = rng.uniform(25.0, 40.0, n)
    fast, slow, engine = start + 4.0, start + 2.0, start.copy()
    element, opening = start.copy(), np.clip((start - opens) / span, 0.0, 1.0)
    fan = np.zeros(n, np.bool_)
    ring_length = int(12.0 / DT)
    ring = np.tile(radiator[:, None], (1, ring_length))
    lag = (delay / DT).astype(int)
    swirl = np.zeros(n)
    rows = np.arange(n)
    out = np.empty((n, steps))
    for k in range(steps):
        heat = full * (0.07 + 0.93 * load[:, k])
        flow = rng_flow(speed[:, k]) * 3684.0 / 60.0  # W/K
        fast = fast + DT * (heat * 0.8 - to_fast * (fast - engine)) / c_fast
        slow = slow + DT * (heat * 0.2 - to_slow * (slow - engine)) / c_slow
        back = ring[rows, (k - lag) % ring_length]
        into = to_fast * (fast - engine) + to_slow * (slow - engine)
        engine = engine + DT * (into - opening * flow * (engine - back)) / c_engine
        fan = np.where(engine > fan_on, True, np.where(engine < fan_off, False, fan))
        reject = cooling * (0.5 + 0.5 * opening) * np.where(fan, fan_gain, 1.0)
        radiator = (
            radiator
            + DT * (opening * flow * (engine - radiator) - reject * (radiator - air)) / c_radiator
        )
        ring[:, k % ring_length] = radiator
        element = element + DT * (engine - element) / wax
        want = np.clip((element - opens - np.where(opening > 0.05, 0.0, band)) / span, 0.0, 1.0)
        move = np.abs(want - opening) > friction
        opening = np.where(move, opening + np.clip(want - opening, -DT * 0.4, DT * 0.4), opening)
        swirl = swirl * (1.0 - DT) + rng.normal(0.0, 0.15 * np.sqrt(2.0 * DT), n)
        out[:, k] = engine + swirl
    return out


def rng_flow(speed: Floats) -> Floats:
    """Return the pump's flow [L/min] at an engine speed [r/min]."""
    return 450.0 * speed / 1800.0


def _sensor(
    kind: str, outlet: Floats, load: Floats, count: int, steps: int, rng: np.random.Generator
) -> Floats:
    body, bead = rng.uniform(3.0, 8.0, count), rng.uniform(0.3, 1.2, count)
    state, inner = outlet[:, 0].copy(), outlet[:, 0].copy()
    out = np.empty_like(outlet)
    gas = np.zeros((count, steps))
    slower = np.ones((count, steps))
    if kind == "gas_pocket":
        for row in range(count):
            rate = rng.uniform(0.3, 2.0) / 60.0
            at = rng.exponential(1.0 / rate)
            while at < steps * DT:
                k = int(at / DT)
                length = rng.uniform(1.0, 15.0)
                if load[row, k] > 0.3 or rng.random() < 0.3:
                    end = k + int(length / DT)
                    gas[row, k:end] = rng.choice([-1.0, 1.0], p=[0.3, 0.7]) * rng.uniform(4.0, 16.0)
                    slower[row, k:end] = rng.uniform(1.0, 3.0)
                at += length + rng.exponential(1.0 / rate)
    for k in range(steps):
        medium = outlet[:, k] + gas[:, k]
        state = state + DT * (medium - state) / (body * slower[:, k])
        inner = inner + DT * (state - inner) / bead
        out[:, k] = inner
    return out


def _circuit(
    kind: str, sensed: Floats, load: Floats, count: int, steps: int,
    rng: np.random.Generator, step: float,
) -> tuple[Floats, npt.NDArray[np.bool_]]:  # fmt: skip
    r25, beta = rng.uniform(2200.0, 3000.0, count), rng.uniform(3400.0, 3900.0, count)
    pull = rng.choice([1000.0, 2200.0], count)
    bits = np.where(rng.random(count) < 0.5, 1023.0, 4095.0)

    def resistance(celsius: Floats) -> Floats:
        inverse = 1.0 / (celsius + 273.15) - 1.0 / 298.15
        return r25[:, None] * np.exp(beta[:, None] * inverse)

    ohm = resistance(sensed)
    faulty = np.zeros(sensed.shape, np.bool_)
    extra = np.zeros(sensed.shape)
    for row in range(count):
        for first, end, change in _events(kind, load[row], steps, rng):
            faulty[row, first:end] = True
            if kind == "open_circuit":
                extra[row, first:end] = 1e5
                continue
            here = float(sensed[row, first])
            pair = np.array([[here + change, here]])
            both = r25[row] * np.exp(beta[row] * (1.0 / (pair + 273.15) - 1.0 / 298.15))
            extra[row, first:end] = both[0, 0] - both[0, 1]
    voltage = np.maximum(ohm + extra, 1.0)
    share = voltage / (voltage + pull[:, None])
    share = np.clip(np.round(share * bits[:, None]), 1.0, bits[:, None] - 1.0) / bits[:, None]
    back = pull[:, None] * share / (1.0 - share)
    inverse = 1.0 / 298.15 + np.log(back / r25[:, None]) / beta[:, None]
    reading = 1.0 / inverse - 273.15
    if kind == "noise":
        for row in range(count):
            first = int(rng.uniform(0.1, 0.5) * steps)
            end = first + int(rng.uniform(0.2, 0.5) * steps)
            reading[row, first:end] += rng.normal(0.0, rng.uniform(1.5, 4.0), end - first)
            faulty[row, first:end] = True
    reading = np.clip(reading, -40.0, 210.0)
    return (np.round(reading / step) * step if step > 0.0 else reading), faulty


def _events(
    kind: str, load: Floats, steps: int, rng: np.random.Generator
) -> list[tuple[int, int, float]]:
    """Return (first, end, change [K]) of what the circuit does; below zero reads cold."""
    seconds = steps * DT
    found: list[tuple[int, int, float]] = []
    if kind == "glitches_2_5":
        found.extend(
            (at, rng.uniform(0.8, 5.0), -rng.uniform(3.0, 10.0))
            for at in rng.uniform(20.0, seconds - 20.0, rng.integers(2, 6))
        )
    elif kind in {"contact_3_10", "small_1_2", "open_circuit"}:
        rate = np.exp(rng.uniform(np.log(0.25), np.log(3.0))) / 60.0
        low, high = {"contact_3_10": (3.0, 10.0), "small_1_2": (1.2, 2.5)}.get(kind, (60.0, 61.0))
        size = rng.uniform(low, high)
        at = rng.exponential(1.0 / rate)
        while at < seconds - 5.0:
            shaken = load[int(at / DT)] > 0.3 or rng.random() < 0.4
            if shaken:
                length = np.exp(rng.normal(np.log(1.5), 0.8))
                found.append((at, length, -size * rng.uniform(0.85, 1.15)))
            at += rng.exponential(1.0 / rate)
    elif kind == "spikes":
        found.extend(
            (at, 0.9, rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 30.0))
            for at in rng.uniform(5.0, seconds - 5.0, rng.integers(6, 30))
        )
    return [(int(a / DT), max(int((a + d) / DT), int(a / DT) + 1), c) for a, d, c in found]
