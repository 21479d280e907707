"""Trucks whose air system follows other equations than the tool's: tanks that warm and cool.

Three tanks with mass and temperature (energy balance, walls at the air outside), holes by the
conductance law of ISO 6358 with a critical ratio of their own (choked and below), a reciprocating
compressor with re-expansion from its clearance and heated, cooled delivery, check valves with a
cracking pressure, a governor, needles with an offset, a scale and marks to read off. Written before
the tool's likelihood for air, and without it. All sizes are from memory, none measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["FAULTS", "AirTruck", "draw_air_truck"]

Floats = npt.NDArray[np.float64]
PSI, GAS, HEAT_P, GAMMA, OUTSIDE = 6894.757, 287.05, 1005.0, 1.4, 101325.0
#: What is wrong -> how often; the rest of the trucks have two of them.
FAULTS: Mapping[str, float] = {
    "none": 0.06, "primary": 0.13, "primary_pedal": 0.10, "secondary": 0.13,
    "secondary_pedal": 0.08, "trailer": 0.08, "supply": 0.08, "compressor": 0.08,
    "passage": 0.06, "purge": 0.06, "outlet_check": 0.05, "service_check": 0.03,
    "governor": 0.04, "gauge": 0.02,
}  # fmt: skip
_TWO = 0.15
#: Hole diameters of a leak that somebody complains of [mm], log-normal middle and spread.
_HOLE, _SPREAD = 0.62, 0.45


@dataclass
class AirTruck:
    """One truck: its sizes, what is wrong with it, and what its needles were read to show."""

    truth: frozenset[str]
    hooked: bool
    readings: dict[str, float] = field(default_factory=dict)
    rpm: dict[str, float] = field(default_factory=dict)


def draw_air_truck(rng: np.random.Generator) -> AirTruck:
    """Draw a truck and take all of its readings [Pa, s]."""
    names = list(FAULTS)
    share = np.array([FAULTS[n] for n in names]) / sum(FAULTS.values())
    truth = {str(rng.choice(names, p=share))}
    if "none" not in truth and rng.random() < _TWO:
        truth.add(str(rng.choice(names[1:], p=share[1:] / share[1:].sum())))
    hooked = "trailer" in truth or bool(rng.random() < 0.5)
    truck = AirTruck(frozenset(truth), hooked)
    _measure(truck, rng)
    return truck


def _hole(rng: np.random.Generator) -> float:
    """Return the sonic conductance of a hole somebody complains of [m3/(s Pa)]."""
    diameter = _HOLE * np.exp(_SPREAD * rng.standard_normal()) * 1e-3
    area = np.pi / 4 * diameter**2 * rng.uniform(0.62, 0.9)
    # choked mass flow A p sqrt(g/(R T)) (2/(g+1))^((g+1)/(2(g-1))) over the reference density
    mass = area * np.sqrt(GAMMA / (GAS * 293.15)) * (2 / (GAMMA + 1)) ** 3
    return float(mass / 1.185)


def _flow(conductance: float, ratio: float, up: float, down: float, temp: float) -> float:
    """Return the mass flow through a hole by ISO 6358 [kg/s]."""
    if up <= down or conductance <= 0.0:
        return 0.0
    base = conductance * up * 1.185 * np.sqrt(293.15 / temp)
    r = down / up
    if r <= ratio:
        return float(base)
    return float(base * np.sqrt(max(1.0 - ((r - ratio) / (1.0 - ratio)) ** 2, 0.0)))


class _Tanks:
    """Wet, primary, secondary and trailer tank with mass and temperature each."""

    def __init__(self, volumes: Floats, outside: float, rng: np.random.Generator) -> None:
        self.volume = volumes
        self.outside = outside
        self.wall = rng.uniform(0.5, 2.2, volumes.size) * (volumes / 0.03) ** 0.67
        self.temp = np.full(volumes.size, outside)
        self.mass = np.zeros(volumes.size)
        self.set(np.full(volumes.size, OUTSIDE))

    def set(self, pressure: Floats) -> None:
        self.temp[:] = self.outside
        self.mass = pressure * self.volume / (GAS * self.temp)

    @property
    def pressure(self) -> Floats:
        return np.asarray(self.mass * GAS * self.temp / self.volume)

    def move(self, flow_in: Floats, warm: Floats, flow_out: Floats, dt: float) -> None:
        """Take in *flow_in* [kg/s] at *warm* [K], let out *flow_out* at the tank's own."""
        c_v = HEAT_P - GAS
        gain = flow_in * (HEAT_P * warm - c_v * self.temp)
        loss = flow_out * GAS * self.temp
        wall = self.wall * (self.outside - self.temp)
        self.temp = self.temp + dt * (gain - loss + wall) / (np.maximum(self.mass, 1e-4) * c_v)
        self.mass = np.maximum(self.mass + dt * (flow_in - flow_out), 1e-5)


class _System:
    """The whole of it, stepped by a tenth of a second."""

    def __init__(self, truth: frozenset[str], rng: np.random.Generator) -> None:
        litre = 1e-3
        self.outside = 273.15 + rng.uniform(2.0, 32.0)
        self.tanks = _Tanks(
            np.array([rng.uniform(14, 30), rng.uniform(28, 52), rng.uniform(28, 52),
                      rng.uniform(38, 62)]) * litre, self.outside, rng,
        )  # fmt: skip
        self.chambers = np.array([rng.uniform(3.2, 5.0), rng.uniform(1.6, 2.6)]) * litre
        self.swept = rng.uniform(2.4, 3.9) * 1e-4
        self.clearance = rng.uniform(0.05, 0.11)
        self.breathes = rng.uniform(0.72, 0.88)
        self.line = rng.uniform(1.2e9, 4e9)  # discharge line and dryer, Pa / (kg/s)^2
        self.crack = rng.uniform(4e3, 1.8e4)
        self.out = rng.normal(125.0, 4.0) * PSI
        self.back = self.out - rng.uniform(17.0, 27.0) * PSI
        self.ratio = rng.uniform(0.15, 0.5)
        small = 0.07 * np.exp(0.6 * rng.standard_normal(9))
        names = ("primary", "primary_pedal", "secondary", "secondary_pedal", "trailer", "supply",
                 "purge", "outlet_check", "service_check")  # fmt: skip
        typical = 0.78 * np.pi / 4 * (_HOLE * 1e-3) ** 2 * 0.0404 / np.sqrt(293.15) / 1.185
        self.hole = {n: typical * s for n, s in zip(names, small, strict=True)}
        for name in ("purge", "outlet_check", "service_check"):
            self.hole[name] *= 0.15
        self.worn = 1.0
        self.mended = 0.0
        self.off = rng.normal(0.0, 1.2) * PSI
        self.scale = rng.normal(1.0, 0.012)
        self._faults(truth, rng)
        self.on = True

    def _faults(self, truth: frozenset[str], rng: np.random.Generator) -> None:
        for fault in truth:
            if fault in self.hole:
                factor = {"purge": 7.0, "outlet_check": 1.4, "service_check": 5.0}.get(fault, 1.0)
                self.hole[fault] = _hole(rng) * factor
            elif fault == "compressor":
                self.worn = rng.uniform(0.3, 0.68)
                self.mended = rng.uniform(0.0, 4e-9)
            elif fault == "passage":
                self.line *= rng.uniform(25.0, 160.0)
            elif fault == "governor":
                self.out += rng.choice([-1.0, -1.0, 1.0]) * rng.uniform(18.0, 40.0) * PSI
                self.back = self.out - rng.uniform(12.0, 30.0) * PSI
            elif fault == "gauge":
                self.off += rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 20.0) * PSI
                self.scale *= rng.uniform(0.85, 1.15)
        self.side = int(rng.integers(2))

    def shown(self, pressure: float) -> float:
        return float((pressure - OUTSIDE) * self.scale + self.off)

    def delivery(self, rpm: float, head: float) -> float:
        """Return the compressor's mass flow against *head* [kg/s]."""
        again = self.clearance * ((head / OUTSIDE) ** (1 / 1.25) - 1.0)
        drawn = self.swept * rpm / 60.0 * max(self.breathes - again, 0.0)
        mass = self.worn * drawn * OUTSIDE / (GAS * (self.outside + 15.0))
        return float(max(mass - self.mended * head * 1.185, 0.0))

    def step(self, dt: float, rpm: float, *, pedal: bool, hooked: bool) -> None:
        tanks = self.tanks
        p = tanks.pressure
        into, out = np.zeros(4), np.zeros(4)
        warm = np.full(4, self.outside)
        if rpm > 0.0 and self.on:
            head = p[0]
            for _ in range(6):  # head pressure over the line's loss, damped
                flow = self.delivery(rpm, head)
                head = 0.5 * head + 0.5 * (p[0] + self.line * flow**2)
            flow = self.delivery(rpm, head)
            flow = max(flow - _flow(self.hole["purge"], self.ratio, head, OUTSIDE, 330.0), 0.0)
            into[0] += flow
            warm[0] = self.outside + 18.0
        else:
            out[0] += _flow(self.hole["outlet_check"], self.ratio, p[0], OUTSIDE, tanks.temp[0])
        out[0] += _flow(self.hole["supply"], self.ratio, p[0], OUTSIDE, tanks.temp[0])
        for n, pedalled in ((1, "primary_pedal"), (2, "secondary_pedal")):
            name = pedalled.removesuffix("_pedal")
            over = p[0] - p[n] - self.crack
            if over > 0.0:
                flow = 6e-7 * over
                out[0] += flow
                into[n] += flow
                warm[n] = tanks.temp[0]
            if self.side == n - 1 and p[n] > p[0]:
                flow = _flow(self.hole["service_check"], self.ratio, p[n], p[0], tanks.temp[n])
                out[n] += flow
                into[0] += flow
            out[n] += _flow(self.hole[name], self.ratio, p[n], OUTSIDE, tanks.temp[n])
            if pedal:
                out[n] += _flow(self.hole[pedalled], self.ratio, p[n], OUTSIDE, tanks.temp[n])
        if hooked:
            high = 1 if p[1] >= p[2] else 2
            if p[high] > p[3]:
                flow = 2e-6 * (p[high] - p[3])
                out[high] += flow
                into[3] += flow
                warm[3] = tanks.temp[high]
            out[3] += _flow(self.hole["trailer"], self.ratio, p[3], OUTSIDE, tanks.temp[3])
        tanks.move(into, warm, out, dt)
        if rpm > 0.0:
            if p[0] >= self.out:
                self.on = False
            elif p[0] <= self.back:
                self.on = True

    def run(self, seconds: float, rpm: float, *, pedal: bool = False, hooked: bool = False) -> None:
        for _ in range(int(seconds / 0.1)):
            self.step(0.1, rpm, pedal=pedal, hooked=hooked)


def _measure(truck: AirTruck, rng: np.random.Generator) -> None:
    system = _System(truck.truth, rng)

    def read(pressure: float) -> float:
        return float(np.round(system.shown(pressure) / PSI * 2.0 + rng.normal(0, 0.5)) / 2.0 * PSI)

    def timed(value: float) -> float:
        return float(value + rng.normal(0.0, 0.5))

    def loss(seconds: float, *, pedal: bool, hooked: bool, tank: tuple[int, ...]) -> list[float]:
        before = [read(system.tanks.pressure[t]) for t in tank]
        system.run(seconds, 0.0, pedal=pedal, hooked=hooked)
        return [b - read(system.tanks.pressure[t]) for b, t in zip(before, tank, strict=True)]

    def full(*, hooked: bool = False) -> None:
        level = min(system.out, 135.0 * PSI) + OUTSIDE * 0.0
        system.tanks.set(np.full(4, level - rng.uniform(0.0, 4.0) * PSI))
        system.run(rng.uniform(20.0, 90.0), 0.0, hooked=hooked)

    system.out += OUTSIDE
    system.back += OUTSIDE
    r = truck.readings
    full()
    one, two = loss(60.0, pedal=False, hooked=False, tank=(1, 2))
    r["primary_released"], r["secondary_released"] = one, two
    full()
    volume = system.tanks.volume.copy()
    system.tanks.volume[1:3] += system.chambers
    system.tanks.mass[1:3] *= 1.0 - rng.uniform(0.0, 0.01, 2)
    system.run(12.0, 0.0, pedal=True)
    one, two = loss(60.0, pedal=True, hooked=False, tank=(1, 2))
    r["primary_applied"], r["secondary_applied"] = one, two
    system.tanks.volume = volume
    full()
    (r["wet"],) = loss(60.0, pedal=False, hooked=False, tank=(0,))
    if truck.hooked:
        full(hooked=True)
        r["hooked_released"] = max(loss(60.0, pedal=False, hooked=True, tank=(1, 2)))
    full()
    system.tanks.mass[0] *= 0.02
    system.run(3.0, 0.0)
    system.tanks.mass[0] = OUTSIDE * volume[0] / (GAS * system.outside)
    r["wet_empty"] = max(loss(120.0, pedal=False, hooked=False, tank=(1, 2)))
    for key, rpm in (
        ("build_fast", rng.uniform(1700, 2150)),
        ("build_idle", rng.uniform(600, 750)),
    ):
        truck.rpm[key] = float(np.round(rpm, -1))
        system.tanks.set(np.full(4, OUTSIDE + 78.0 * PSI))
        system.on, start, time = True, None, 0.0
        keep, system.out = system.out, max(system.out, 0.0)
        while time < 900.0:
            system.step(0.1, rpm, pedal=False, hooked=False)
            time += 0.1
            needle = system.shown(min(system.tanks.pressure[1], system.tanks.pressure[2]))
            if start is None and needle >= 85.0 * PSI:
                start = time
            if needle >= 100.0 * PSI:
                r[key] = timed(time - (start or time))
                break
        system.out = keep
    system.tanks.set(np.full(4, system.back + 2.0 * PSI))
    system.on, time, cycles = True, 0.0, []
    was = True
    while time < 1500.0 and len(cycles) < 2:
        system.step(0.1, 700.0, pedal=False, hooked=False)
        time += 0.1
        if was and not system.on:
            cycles.append(time)
            if len(cycles) == 1:
                r["cut_out"] = read(system.tanks.pressure[0])
        if not was and system.on and "cut_in" not in r and cycles:
            r["cut_in"] = read(system.tanks.pressure[0])
        was = system.on
    if len(cycles) == 2:
        r["purge_interval"] = timed(cycles[1] - cycles[0])
    true = 100.0 * PSI
    r["gauge_difference"] = system.shown(true + OUTSIDE) - true + rng.normal(0.0, 1.0) * PSI
