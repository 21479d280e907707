"""An engine's temperatures as a network of heat flows: drift, offset and swapped plugs.

Not the detector's equations (lagged regressions): energy balances of metal, coolant, oil, charge
air and fuel, a wax thermostat that leads a radiator, an oil cooler, a charge cooler with an
effectiveness that falls with flow, a fuel circuit that takes heat from the head and a tank that
warms for hours, an exhaust line of two nodes. All figures are assumed and drawn anew for every
truck. It imports nothing of the product.
"""

from __future__ import annotations

import numpy as np

NAMES = (
    "coolant_temperature", "oil_temperature", "intake_air_temperature", "fuel_temperature",
    "ambient_temperature", "exhaust_temperature",
)  # fmt: skip
STEP = {"oil_temperature": 0.03125, "ambient_temperature": 0.03125, "exhaust_temperature": 0.03125}


def work(rng, seconds):
    """Load 0..1 and engine speed second by second: hills, towns, pulls, idling."""
    load, rpm = np.empty(seconds), np.empty(seconds)
    at = 0
    while at < seconds:
        kind = rng.choice(["cruise", "pull", "town", "idle"], p=[0.4, 0.25, 0.2, 0.15])
        length = int(rng.uniform(40, 400))
        n = min(length, seconds - at)
        base = {"cruise": rng.uniform(0.25, 0.55), "pull": rng.uniform(0.75, 1.0),
                "town": 0.3, "idle": 0.04}[kind]  # fmt: skip
        wave = base + 0.12 * np.cumsum(rng.normal(0, 0.25, n)) / np.sqrt(np.arange(n) + 20)
        if kind == "town":
            wave = 0.05 + 0.6 * (np.sin(np.arange(n) / rng.uniform(4, 9)) > 0.2) * rng.uniform(
                0.5, 1
            )
        load[at : at + n] = np.clip(wave if kind != "idle" else base, 0.03, 1.0)
        rpm[at : at + n] = 650 if kind == "idle" else rng.uniform(1150, 1650)
        at += n
    return load, rpm


def drive(rng, *, seconds=2700, cold=False, stood=20):
    """True temperatures [degC], load [%], engine speed [r/min]; shape (seconds,) each."""
    load, rpm = work(rng, seconds)
    if cold:
        load[:stood], rpm[:stood] = 0.0, 0.0
    air0 = rng.uniform(-8, 32)
    t = np.arange(seconds)
    air = (
        air0
        + rng.uniform(-2, 2) * t / seconds
        + rng.uniform(0, 1) * np.sin(t / rng.uniform(300, 900))
    )
    if cold:
        soak = air0 + rng.uniform(-1.0, 1.5)
        metal = coolant = oil = soak + rng.uniform(-0.5, 0.5)
        fuel, tank, charge, pipe = (
            soak + rng.uniform(-1, 1.5),
            soak,
            soak + rng.uniform(-0.5, 1.5),
            soak,
        )
    else:
        metal = coolant = rng.uniform(76, 88)
        oil, tank = rng.uniform(80, 98), air0 + rng.uniform(2, 14)
        fuel, charge, pipe = tank + rng.uniform(5, 15), air0 + 12, 250.0
    opens, span = rng.uniform(78, 88), rng.uniform(8, 13)
    c_metal, c_cool, c_oil = rng.uniform(2.5e5, 4e5), rng.uniform(7e4, 1e5), rng.uniform(6e4, 9e4)
    k_mc, k_oc, k_oa = rng.uniform(7e3, 12e3), rng.uniform(700, 1300), rng.uniform(15, 40)
    rad = rng.uniform(3.2e3, 5.0e3)
    full, to_oil = rng.uniform(1.4e5, 2.0e5), rng.uniform(0.09, 0.15)
    opening, eff = 0.0, rng.uniform(0.82, 0.92)
    boost_heat, head_heat = rng.uniform(110, 150), rng.uniform(0.25, 0.45)
    bay, warm_tank = rng.uniform(1, 5), rng.uniform(4e-5, 2e-4)
    out = {n: np.empty(seconds) for n in NAMES}
    for k in range(seconds):
        running = rpm[k] > 300
        heat = full * (0.06 + 0.94 * load[k]) if running else 0.0
        flow = k_mc * (0.25 + 0.75 * rpm[k] / 1800) if running else 300.0
        metal += (heat * (1 - to_oil) - flow * (metal - coolant)) / c_metal
        want = np.clip((coolant - opens) / span, 0, 1)
        opening += np.clip(want - opening, -0.06, 0.06)
        shed = opening * rad * (0.6 + 0.4 * rpm[k] / 1800) * (coolant - air[k]) + 25 * (
            coolant - air[k]
        )
        oil_in = (
            k_oc * (0.3 + 0.7 * rpm[k] / 1800) * (oil - coolant)
            if running
            else 60 * (oil - coolant)
        )
        coolant += (flow * (metal - coolant) - shed + oil_in) / c_cool
        oil += (
            heat * to_oil * (0.4 + 0.6 * rpm[k] / 1800) - oil_in - k_oa * (oil - air[k])
        ) / c_oil
        hot = air[k] + boost_heat * load[k] ** 1.1
        wanted = air[k] + bay + (1 - eff * (1 - 0.12 * load[k])) * (hot - air[k])
        charge += (wanted - charge) / 7.0 if running else (air[k] - charge) / 600
        tank += warm_tank * head_heat * (coolant - tank) if running else 0.0
        fuel += (tank + head_heat * (0.35 * (coolant - tank)) - fuel) / 240.0 if running else 0.0
        pipe += ((120 + 330 * load[k] if running else air[k]) - pipe) / 25.0
        outside = air[k] + rng.normal(0, 0.05)
        every = (coolant, oil, charge, fuel, outside, pipe)
        for name, value in zip(NAMES, every, strict=True):
            out[name][k] = value
    return out, 100 * load, rpm


def sensed(rng, truth, name, *, drift=0.0, offset=0.0):
    """What the bus says of one temperature: the sensor's tolerance, its lag, rounding, a fault."""
    values = truth.copy()
    keep = np.exp(-1 / rng.uniform(3, 8))
    for k in range(1, len(values)):
        values[k] = keep * values[k - 1] + (1 - keep) * values[k]
    values = values + rng.normal(0, 0.7 if name != "exhaust_temperature" else 5.0)
    n = len(values)
    if drift:
        begin, end = np.sort(rng.uniform(0.25, 0.85, 2)) * n
        end = min(max(end, begin + 0.15 * n), n - 1)
        values = values + drift * np.clip((np.arange(n) - begin) / (end - begin), 0, 1)
    step = STEP.get(name, 1.0)
    return np.round((values + offset) / step) * step
