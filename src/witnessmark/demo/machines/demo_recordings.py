"""The recordings of the invented trucks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.demo.machines.bus_log import ActiveCode, BusTrack, candump, zipped
from witnessmark.demo.machines.cooling import Cooling, coolant_temperature
from witnessmark.demo.machines.demo_circuit import FuelFaults, gallery_curve
from witnessmark.demo.machines.drive_cycle import DriveCycle, Gearing, Leg, drive, lagged
from witnessmark.demo.machines.shaking import Shake, phone_table

__all__ = ["GEARING", "cycling_recording", "fuel_recording", "scene_recording", "shake_recordings"]

Floats = npt.NDArray[np.float64]

#: Gears, axle and tyres of the invented trucks.
GEARING = Gearing({"8": 1.38, "9": 1.0, "10": 0.73}, 3.55, 500.0)

_KPA_PER_PSI = 6.894757293168361
#: A temperature sensor reads this much lower, a pressure sensor this much higher, for each volt
#: that the ground they share is lifted (two-wire sensor at 88 degC; 0.5-4.5 V, 0-145 psi).
_DEGC_PER_VOLT, _KPA_PER_VOLT = -37.0, 250.0


def fuel_recording(
    seed: int,
    faults: FuelFaults,
    *,
    sensor_low_psi: float = 4.0,
    codes: tuple[ActiveCode, ...] = (),
) -> bytes:
    """Return a bus log: idle, three steady speeds without load, then a pull in one gear."""
    rng = np.random.default_rng(seed)
    legs = [
        Leg(20, 690, 0.08),
        Leg(15, 980, 0.10),
        Leg(15, 1570, 0.14),
        Leg(15, 1780, 0.18),
        Leg(10, 690, 0.08),
        Leg(10, 1300, 0.55, "9", ramp=True),
        Leg(14, 1550, 1.0, "9"),
        Leg(10, 1550, 1.0, "9"),
        Leg(10, 1000, 0.0, "9", ramp=True),
        Leg(12, 690, 0.08),
    ]
    drove = drive(legs, rng, gearing=GEARING)
    pressure = gallery_curve(drove.rpm, drove.load, faults) - sensor_low_psi
    channels = _engine(drove, rng)
    channels["fuel_delivery_pressure"] = _KPA_PER_PSI * (
        pressure + 0.4 * rng.standard_normal(drove.rpm.size)
    )
    return zipped(candump(BusTrack(drove.time, channels, codes, 0.01), rng))


def scene_recording(
    seed: int, *, lifted_volt: float, minutes: float = 30.0, times_switched: int = 14
) -> bytes:
    """Return a bus log of a pumper at a scene: parked, pump engaged, siren and lights on and off.

    While the lights are on, the ground that the sensors share is lifted by *lifted_volt*.
    """
    rng = np.random.default_rng(seed)
    total = 60 * minutes
    legs = [
        Leg(0.3 * total, 720, 0.10),
        Leg(0.25 * total, 1250, 0.35),
        Leg(0.15 * total, 720, 0.10),
        Leg(0.2 * total, 1450, 0.5),
        Leg(0.1 * total, 720, 0.10),
    ]
    drove = drive(legs, rng)
    _, tip = coolant_temperature(Cooling(start=88.0), drove)
    lights = _switched(drove.time, times_switched, rng)
    channels = _engine(drove, rng)
    channels["coolant_temperature"] = tip + _DEGC_PER_VOLT * lifted_volt * lights
    channels["oil_pressure"] = channels["oil_pressure"] + _KPA_PER_VOLT * lifted_volt * lights
    channels["battery_voltage"] = channels["battery_voltage"] - 0.25 * lights
    return zipped(candump(BusTrack(drove.time, channels), rng))


def cycling_recording(seed: int, *, sticks: float, minutes: float = 30.0) -> bytes:
    """Return a bus log of steady road work; with *sticks* [K] the thermostat snaps to and fro."""
    rng = np.random.default_rng(seed)
    total = 60 * minutes
    legs = [
        Leg(0.15 * total, 1150, 0.35, "9"),
        Leg(0.35 * total, 1350, 0.45, "10"),
        Leg(0.2 * total, 1500, 0.85, "9"),
        Leg(0.3 * total, 1300, 0.4, "10"),
    ]
    drove = drive(legs, rng, gearing=GEARING)
    _, tip = coolant_temperature(Cooling(sticks=sticks, ambient=5.0), drove)
    channels = _engine(drove, rng)
    channels["coolant_temperature"] = tip
    return zipped(candump(BusTrack(drove.time, channels), rng))


def shake_recordings(seed: int, shakes: Sequence[Shake]) -> tuple[bytes, bytes]:
    """Return (bus log, phone table) of one road test: three blips, then a pull in two gears."""
    rng = np.random.default_rng(seed)
    blips = [leg for _ in range(3) for leg in (Leg(2.2, 700, 0.08), Leg(1.1, 1500, 0.25))]
    legs = [
        *blips,
        Leg(6, 700, 0.08),
        Leg(3, 1100, 0.6, "10", ramp=True),
        Leg(26, 1700, 1.0, "10", ramp=True),
        Leg(4, 700, 0.08),
        Leg(3, 1100, 0.6, "8", ramp=True),
        Leg(26, 1700, 1.0, "8", ramp=True),
        Leg(3, 800, 0.05, ramp=True),
        Leg(8, 1700, 0.15, ramp=True),
        Leg(4, 700, 0.08),
    ]
    drove = drive(legs, rng, gearing=GEARING, hunting_rpm=3.0)
    log = zipped(candump(BusTrack(drove.time, _engine(drove, rng), (), 0.01), rng))
    table = phone_table(drove, shakes, rng, offset_s=float(rng.uniform(-4, 4)))
    return log, table.encode("ascii")


def _engine(drove: DriveCycle, rng: np.random.Generator) -> dict[str, Floats]:
    """Return what every healthy engine here sends."""
    size = drove.rpm.size
    percent = 100.0 * drove.load
    oil = 85.0 + 0.165 * drove.rpm + 4.0 * _slow(size, rng)
    return {
        "engine_speed": drove.rpm + 1.5 * rng.standard_normal(size),
        "engine_torque": percent,
        "demand_torque": percent,
        "engine_load": percent,
        "pedal_position": 100.0 * drove.pedal,
        "road_speed": drove.road * 3.6,
        "fuel_rate": 2.0 + 78.0 * drove.load * drove.rpm / 1600,
        "oil_pressure": oil,
        "coolant_level": np.full(size, 96.0),
        "boost_pressure": np.maximum(0.0, 190.0 * drove.load * (drove.rpm - 600) / 1000),
        "intake_air_temperature": 32.0 + 14.0 * lagged(drove.load, 25.0) + 0.7 * _slow(size, rng),
        "coolant_temperature": 88.0 + 1.2 * _slow(size, rng),
        "oil_temperature": 98.0 + 6.0 * lagged(drove.load, 180.0) + 0.5 * _slow(size, rng),
        "barometric_pressure": np.full(size, 99.5),
        "ambient_temperature": np.full(size, 19.0),
        "battery_voltage": 14.0 + 0.04 * _slow(size, rng),
    }


def _slow(size: int, rng: np.random.Generator) -> Floats:
    """Return noise of standard deviation 1 that wanders over about a minute."""
    knots = max(4, size // 6000)
    values = rng.standard_normal(knots)
    at = np.linspace(0, knots - 1, size)
    return np.interp(at, np.arange(knots), values)


def _switched(time: Floats, times: int, rng: np.random.Generator) -> Floats:
    """Return 1 while the lights are on: *times* spells of 10 to 50 s, each with its own edge."""
    state = np.zeros_like(time)
    slot = float(time[-1]) / (times + 1)
    for k in range(times):
        start = (k + 0.5) * slot + float(rng.uniform(0, 0.3 * slot))
        state[(time >= start) & (time < start + float(rng.uniform(10, min(50, 0.6 * slot))))] = 1.0
    return state
