"""A truck with ten sensors whose shared ground, 5 V or converter gives way; exact circuits.

The sensors are drawn anew for every drive (thermistor curve, pull-up, span of the transducers) and
are not the generic ones of the detector; pressures follow speed and load by another law than the
one the detector fits. All figures are judgement unless they say so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from witnessmark.model.recording import Channel, Quality, Recording

Floats = npt.NDArray[np.float64]
DT = 0.1
SHARED = ("ground", "reference", "rail", "converter")
#: House-unit resolution on the bus (SAE J1939-71).
RESOLUTION = {
    "engine_speed": 0.125, "engine_load": 1.0, "coolant_temperature": 1.0,
    "oil_temperature": 0.03125, "boost_pressure": 2e3, "oil_pressure": 4e3,
    "fuel_delivery_pressure": 4e3, "intake_air_temperature": 1.0,
    "ambient_temperature": 0.03125, "fuel_temperature": 1.0, "battery_voltage": 0.05,
    "barometric_pressure": 500.0,
}  # fmt: skip
UNITS = {"engine_speed": "rpm", "engine_load": "%", "battery_voltage": "V"}


@dataclass(frozen=True)
class Drive:
    """A drive: time [s], channels in house units, instants of what was put in [s]."""

    time: Floats
    channels: dict[str, Floats]
    events: Floats


def lagged(values: Floats, seconds: float) -> Floats:
    keep = np.exp(-DT / seconds)
    start = np.array([keep * values[0]])
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], values, zi=start)[0])


def healthy(rng: np.random.Generator, seconds: float) -> dict[str, Floats]:
    """Return what a healthy truck would read, before sampling."""
    size = int(seconds / DT)
    load, revs = np.empty(size), np.empty(size)
    at = 0
    while at < size:
        length = int(rng.uniform(8.0, 70.0) / DT)
        level = rng.choice([4.0, 15.0, 45.0, 75.0, 100.0], p=[0.2, 0.15, 0.25, 0.2, 0.2])
        load[at : at + length] = level
        revs[at : at + length] = rng.uniform(600, 750) if level < 5 else rng.uniform(1050, 1850)
        if rng.random() < 0.6:
            load[at : at + int(rng.uniform(0.6, 1.6) / DT)] = 0.0
        at += length
    speed = lagged(revs, rng.uniform(0.5, 1.2)) + rng.normal(0.0, 4.0, size)
    load = np.clip(lagged(load, 0.3) + rng.normal(0.0, 0.6, size), 0.0, 100.0)
    heat = lagged(load, rng.uniform(15.0, 40.0))
    coolant = rng.uniform(80, 92) + rng.uniform(0.02, 0.08) * (heat - 40.0)
    coolant += lagged(rng.normal(0.0, 0.6, size), 4.0)
    oil_t = rng.uniform(88, 105) + lagged(rng.uniform(0.05, 0.15) * (load - 40.0), 120.0)
    share = rng.uniform(2.2, 3.2)
    boost = 1e5 * share * lagged((load / 100.0) ** 1.2 * (speed / 1800.0) ** 0.8,
                                 rng.uniform(0.8, 2.2))  # fmt: skip
    relief = rng.uniform(3.2e5, 4.6e5)
    thin = np.exp(-0.012 * (oil_t - 95.0))
    oil = relief * np.tanh(speed / rng.uniform(900, 1500) * thin) + rng.normal(0, 3e3, size)
    fuel = rng.uniform(2.5e5, 4.5e5) + rng.uniform(40, 110) * speed - 150.0 * load
    return {
        "engine_speed": speed,
        "engine_load": load,
        "coolant_temperature": coolant,
        "oil_temperature": oil_t + lagged(rng.normal(0.0, 0.3, size), 10.0),
        "boost_pressure": boost + rng.normal(0.0, 1e3, size),
        "oil_pressure": oil,
        "fuel_delivery_pressure": fuel + rng.normal(0.0, 4e3, size),
        "intake_air_temperature": rng.uniform(20, 45) + lagged(1e-4 * boost, 6.0),
        "ambient_temperature": rng.uniform(-5, 32) + lagged(rng.normal(0.0, 0.5, size), 60.0),
        "fuel_temperature": rng.uniform(30, 55) + np.linspace(0.0, 4.0, size),
        "battery_voltage": rng.uniform(13.4, 14.3) + rng.normal(0.0, 0.05, size),
        "barometric_pressure": np.full(size, rng.uniform(80e3, 102e3)),
    }


def instants(
    rng: np.random.Generator, load: Floats, count: int, *, loaded: bool
) -> list[tuple[int, int]]:
    """Return (first, end) of *count* events, anywhere or under load only."""
    margin = int(25.0 / DT)
    pool = np.arange(margin, load.size - margin)
    if loaded and (load[pool] > 50.0).sum() > 50:
        pool = pool[load[pool] > 50.0]
    starts = np.sort(rng.choice(pool, count, replace=False))
    return [(int(a), int(a + rng.uniform(1.2, 5.0) / DT)) for a in starts]


def drive(rng: np.random.Generator, truth: str, *, seconds: float = 600.0,
          count: int | None = None) -> Drive:  # fmt: skip
    """Simulate a drive of one truth.

    Args:
        rng: source of chance.
        truth: ``healthy``; one of ``SHARED``; ``own coolant``; ``own pressure``;
            ``two own`` (coolant and oil pressure, each with a fault of its own under load).
        seconds: length.
        count: events; 3 to 8 by default.
    """
    ch = healthy(rng, seconds)
    time = np.arange(ch["engine_speed"].size) * DT
    loaded = bool(rng.random() < 0.5) or truth == "two own"
    number = count or int(rng.integers(3, 9))
    when = instants(rng, ch["engine_load"], number, loaded=loaded)
    if truth in SHARED:
        depth = rng.uniform(0.012, 0.06) if truth == "ground" else rng.uniform(0.05, 0.16)
        d = np.zeros(time.size)
        for first, end in when:
            d[first:end] = depth * rng.uniform(0.85, 1.15)
        ch = _through(rng, ch, truth, d)
    elif truth == "own coolant":
        _put(ch, "coolant_temperature", when, -rng.uniform(3.0, 10.0), rng)
    elif truth == "own pressure":
        name = str(rng.choice(["oil_pressure", "fuel_delivery_pressure"]))
        _put(ch, name, when, rng.choice([-1.0, 1.0]) * rng.uniform(4e4, 1.6e5), rng)
    elif truth == "two own":
        _put(ch, "coolant_temperature", when, -rng.uniform(3.0, 10.0), rng)
        second = instants(rng, ch["engine_load"], int(rng.integers(3, 9)), loaded=True)
        _put(ch, "oil_pressure", second, rng.uniform(3e4, 1e5), rng)
    starts = np.array([time[a] for a, _ in when]) if truth != "healthy" else np.zeros(0)
    return Drive(time, ch, starts)


def recording(made: Drive, every: float = 1.0, *, load: bool = True) -> Recording:
    """Return the drive as a recording, sampled and rounded as a bus does it."""
    stride = max(round(every / DT), 1)
    channels = []
    for name, values in made.channels.items():
        if name == "engine_load" and not load:
            continue
        taken = np.round(values[::stride] / RESOLUTION[name]) * RESOLUTION[name]
        unit = UNITS.get(name, "degC" if name.endswith("temperature") else "Pa")
        good = np.full(taken.size, Quality.VALID, np.uint8)
        channels.append(Channel(name, unit, made.time[::stride].copy(), taken, good, source=0))
    return Recording("x.log", "0" * 64, "bus", "study", float(made.time[-1]), tuple(channels))


def _put(
    ch: dict[str, Floats], name: str, when: list[tuple[int, int]], size: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    ch[name] = ch[name].copy()
    for first, end in when:
        ch[name][first:end] += size * rng.uniform(0.85, 1.15)


def _through(
    rng: np.random.Generator, ch: dict[str, Floats], fault: str, d: Floats
) -> dict[str, Floats]:
    """Return what the unit reads; eight or nine in ten inputs hang on the part that gives way."""
    out = dict(ch)
    for name, values in ch.items():
        member = rng.random() < (0.85 if fault in {"ground", "reference"} else 1.0)
        anchor = "fuel_delivery_pressure" if fault == "reference" else "coolant_temperature"
        if not member and name not in {anchor, "oil_pressure"}:
            continue
        if name.endswith("temperature"):
            r25, b = rng.uniform(2000.0, 3200.0), rng.uniform(3350.0, 3950.0)
            pull = float(rng.choice([1000.0, 2200.0, 3300.0]))
            ohm = r25 * np.exp(b * (1.0 / (values + 273.15) - 1.0 / 298.15))
            # Divider between the supply and the sensor ground, read against the converter's.
            supply = 1.0 - d if fault == "rail" else np.ones_like(d)
            ground = d if fault == "ground" else np.zeros_like(d)
            against = 1.0 - d if fault == "converter" else np.ones_like(d)
            q = (ground + (supply - ground) * ohm / (pull + ohm)) / against
            q = np.clip(np.round(q * 4095.0), 1.0, 4094.0) / 4095.0
            back = pull * q / (1.0 - q)
            out[name] = 1.0 / (1.0 / 298.15 + np.log(back / r25) / b) - 273.15
        elif name in {"oil_pressure", "fuel_delivery_pressure", "boost_pressure"}:
            zero = 1e5 if name == "boost_pressure" else 0.0
            full = float(rng.choice([3.5e5, 4.5e5] if zero else [7e5, 1e6, 1.4e6]))
            own = 0.1 + 0.8 * (values + zero) / full
            supply = 1.0 - d if fault in {"reference", "rail"} else np.ones_like(d)
            ground = d if fault == "ground" else np.zeros_like(d)
            against = 1.0 - d if fault == "converter" else np.ones_like(d)
            q = np.clip((ground + (supply - ground) * own) / against, 0.0, 1.0)
            out[name] = (q - 0.1) / 0.8 * full - zero
        elif name == "barometric_pressure" and fault in {"rail", "converter"}:
            own = 0.1 + 0.8 * values / 1.2e5
            q = own * (1.0 - d) if fault == "rail" else np.clip(own / (1.0 - d), 0.0, 1.0)
            out[name] = (q - 0.1) / 0.8 * 1.2e5
        elif name == "battery_voltage" and fault == "converter":
            out[name] = values / (1.0 - d)
    return out
