"""A drive: engine speed, load, gear and road speed over time, from a list of legs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["STEP_S", "DriveCycle", "Gearing", "Leg", "drive", "lagged"]

Floats = npt.NDArray[np.float64]

#: Step of the simulation [s]; also the period of the engine speed on the bus.
STEP_S = 0.01
_METRES_PER_MILE = 1609.344


@dataclass(frozen=True, slots=True)
class Gearing:
    """What ties engine speed to road speed.

    Attributes:
        gears: gear name -> engine turns per shaft turn.
        axle_ratio: shaft turns per wheel turn.
        tyre_rev_per_mile: wheel turns per mile.
    """

    gears: Mapping[str, float]
    axle_ratio: float
    tyre_rev_per_mile: float

    def road_speed(self, rpm: Floats, gear: str) -> Floats:
        """Return the road speed [m/s] at *rpm* [r/min] in *gear*."""
        wheel = rpm / self.gears[gear] / self.axle_ratio
        return wheel / self.tyre_rev_per_mile * _METRES_PER_MILE / 60.0


@dataclass(frozen=True, slots=True)
class Leg:
    """One stretch of a drive.

    Attributes:
        seconds: how long.
        rpm: engine speed at its end [r/min]; held from its start on unless *ramp*.
        load: 0..1 as the engine's control unit reports it.
        gear: gear name; empty for neutral.
        ramp: go to *rpm* evenly over the whole leg instead of at once.
    """

    seconds: float
    rpm: float
    load: float
    gear: str = ""
    ramp: bool = False


@dataclass(frozen=True, slots=True)
class DriveCycle:
    """A drive, sampled every ``STEP_S``.

    Attributes:
        time: [s].
        rpm: engine speed [r/min].
        load: 0..1.
        pedal: 0..1.
        road: road speed [m/s].
        gear_ratio: engine turns per shaft turn, NaN in neutral.
    """

    time: Floats
    rpm: Floats
    load: Floats
    pedal: Floats
    road: Floats
    gear_ratio: Floats

    @property
    def seconds(self) -> float:
        """Return how long it takes [s]."""
        return float(self.time[-1])


def drive(
    legs: Sequence[Leg],
    rng: np.random.Generator,
    *,
    gearing: Gearing | None = None,
    hunting_rpm: float = 4.0,
) -> DriveCycle:
    """Run through the legs with the lag of an engine and the hunting of its governor.

    Args:
        legs: in order.
        rng: source of the hunting.
        gearing: needed as soon as a leg has a gear.
        hunting_rpm: standard deviation of the slow wandering of the speed [r/min].
    """
    counts = [max(1, round(leg.seconds / STEP_S)) for leg in legs]
    total = sum(counts)
    time = np.asarray(np.arange(total) * STEP_S, dtype=np.float64)
    wanted, load, ratio = np.empty(total), np.empty(total), np.full(total, np.nan)
    at, before = 0, legs[0].rpm
    for leg, count in zip(legs, counts, strict=True):
        here = slice(at, at + count)
        wanted[here] = np.linspace(before, leg.rpm, count) if leg.ramp else leg.rpm
        load[here] = leg.load
        if leg.gear:
            if gearing is None:
                raise ValueError("a leg in gear needs the gearing")
            ratio[here] = gearing.gears[leg.gear]
        at, before = at + count, leg.rpm
    # What is turned by the wheels cannot jump; in neutral the engine lags by half a second.
    rpm = lagged(wanted, 0.5) + _wandering(total, rng, hunting_rpm)
    load = np.asarray(
        np.clip(lagged(load, 0.4) + _wandering(total, rng, 0.006), 0.0, 1.0), dtype=np.float64
    )
    pressed = np.where(load > 0.3, load, np.maximum(0.0, (wanted - 690) / 2000))
    pedal = np.asarray(np.clip(lagged(pressed, 0.3), 0.0, 1.0), dtype=np.float64)
    rpm = np.asarray(np.maximum(rpm, 0.0), dtype=np.float64)
    return DriveCycle(time, rpm, load, pedal, _road(rpm, ratio, gearing), ratio)


def lagged(values: Floats, seconds: float) -> Floats:
    """Return *values* behind a first-order lag of *seconds*, started in balance."""
    from scipy.signal import lfilter  # noqa: PLC0415  (heavy; only the demo filters)

    keep = float(np.exp(-STEP_S / seconds))
    out, _ = lfilter([1.0 - keep], [1.0, -keep], values, zi=[keep * values[0]])
    return np.asarray(out, dtype=np.float64)


def _road(rpm: Floats, ratio: Floats, gearing: Gearing | None) -> Floats:
    road = np.zeros_like(rpm)
    if gearing is None:
        return road
    for name, gear in gearing.gears.items():
        inside = ratio == gear
        road[inside] = gearing.road_speed(rpm[inside], name)
    return road


def _wandering(count: int, rng: np.random.Generator, deviation: float) -> Floats:
    """Return slow noise (about 1.5 s) of the given standard deviation."""
    raw = lagged(rng.standard_normal(count), 1.5)
    spread = float(raw.std()) or 1.0
    return np.asarray(raw / spread * deviation, dtype=np.float64)
