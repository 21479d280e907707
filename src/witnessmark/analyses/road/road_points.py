"""What the families of complaints need driven or run, as places on the engine's map.

Common practice, no source: the points are those of the knowledge pack's families, put into
numbers; how long each is held is judgement.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.steady import STANDING, WARM_DEGC, Trace

__all__ = ["FAMILY_POINTS", "POINTS", "DrivePoint"]

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class DrivePoint:
    """One place that has to be held for a while.

    Attributes:
        id: stable name.
        words: in words, without how long.
        seconds: how long it has to be held without a break.
        where: the mask of a trace in which the truck is there.
        needs: channels without which nobody can tell.
        gears: how many different gears it has to be driven in.
        pull: it is driven under full load, so the gear is named.
        caution: what to take care of.
        warm: the engine has to be warm; where the coolant is not recorded nobody can tell.
        states: what it needs of the engine and the truck, as the steps say it.
        span: the engine speed [r/min] or road speed [m/s] has to pass so much within the stretch.
    """

    id: str
    words: str
    seconds: float
    where: Callable[[Trace], Mask]
    needs: tuple[str, ...] = ("engine_speed",)
    gears: int = 1
    pull: bool = False
    caution: str = ""
    warm: bool = False
    span: tuple[str, float] | None = None
    states: tuple[str, ...] = ("running",)


def _standing(trace: Trace) -> Mask:
    """Standing still; where no road speed is known, a low load stands for it."""
    light = np.isnan(trace.load) | (trace.load <= 0.4)
    return np.where(np.isnan(trace.road_speed), light, trace.road_speed <= STANDING)


def _warm(trace: Trace) -> Mask:
    return np.isnan(trace.coolant) | (trace.coolant >= WARM_DEGC)


def _no_load(low: float, high: float, *, warm: bool = True) -> Callable[[Trace], Mask]:
    def where(trace: Trace) -> Mask:
        there = (trace.rpm >= low) & (trace.rpm <= high) & _standing(trace)
        return there & _warm(trace) if warm else there

    return where


def _pull(low: float, high: float) -> Callable[[Trace], Mask]:
    def where(trace: Trace) -> Mask:
        moving = np.isnan(trace.road_speed) | (trace.road_speed > STANDING)
        return (trace.rpm >= low) & (trace.rpm <= high) & (trace.load >= 0.9) & moving

    return where


def _coast(trace: Trace) -> Mask:
    return (trace.road_speed > 8.0) & ((trace.load <= 0.05) | (trace.pedal <= 1.0))


def _half_load(trace: Trace) -> Mask:
    return (trace.road_speed > 8.0) & (trace.load >= 0.3) & (trace.load <= 0.7)


def _road(low_mph: float, high_mph: float) -> Callable[[Trace], Mask]:
    def where(trace: Trace) -> Mask:
        speed = trace.road_speed / 0.44704
        return (speed >= low_mph) & (speed <= high_mph)

    return where


def _cold(trace: Trace) -> Mask:
    return (trace.coolant <= 40.0) & (trace.rpm > 400.0)


def _stopped(trace: Trace) -> Mask:
    return trace.rpm < 100.0


def _hot_stopped(trace: Trace) -> Mask:
    return (trace.rpm < 100.0) & (trace.coolant >= WARM_DEGC)


_ROAD = (
    "Drive legally and strapped in, brakes and tyres looked at first, no safety stop standing; "
    "a second person watches the recorder."
)
_STAND = "Parking brake set, wheels chocked, clear of fan and belts."
_DRIVEN = ("road", "load")
_LOAD = ("engine_speed", "engine_load", "road_speed")
_SPEED = ("engine_speed", "road_speed")

# fmt: off
#: Every place, by its id.
POINTS: dict[str, DrivePoint] = {p.id: p for p in (
    DrivePoint("key_on", "key on, engine off", 5, _stopped, caution=_STAND, states=()),
    DrivePoint("cold_start", "the first minute after a cold start", 30, _cold,
               ("engine_speed", "coolant_temperature"), caution=_STAND),
    DrivePoint("idle", "warm idle", 10, _no_load(400, 900),
               caution=_STAND, warm=True, states=("warm",)),
    DrivePoint("no_load_1000", "1,000 rpm, no load", 5, _no_load(900, 1100),
               caution=_STAND, warm=True, states=("warm",)),
    DrivePoint("no_load_1500", "1,500 rpm, no load", 5, _no_load(1400, 1600),
               caution=_STAND, warm=True, states=("warm",)),
    DrivePoint("no_load_1800", "1,800 rpm, no load", 5, _no_load(1700, 1900),
               caution=_STAND, warm=True, states=("warm",)),
    DrivePoint("high_idle", "high idle, no load", 5, _no_load(1900, 2800),
               caution=_STAND, warm=True, states=("warm",)),
    DrivePoint("sweep", "a slow sweep in neutral from idle to high idle", 20,
               _no_load(500, 2800), _SPEED, caution=_STAND, warm=True, states=("warm",),
               span=("rpm", 1000.0)),
    DrivePoint("pull", "1,300 to 1,700 rpm, full load", 10, _pull(1300, 1700), _LOAD,
               pull=True, caution=_ROAD, states=_DRIVEN),
    DrivePoint("pull_two_gears", "1,300 to 1,700 rpm, full load", 10, _pull(1300, 1700), _LOAD,
               gears=2, pull=True, caution=_ROAD, states=_DRIVEN),
    DrivePoint("long_pull", "a long full-load pull", 60, _pull(1100, 2100), _LOAD, pull=True,
               caution=_ROAD, states=_DRIVEN),
    DrivePoint("half_load", "the same road speed at half load", 10, _half_load, _LOAD,
               caution=_ROAD, states=_DRIVEN),
    DrivePoint("coast", "coasting at road speed, no load", 10, _coast, _SPEED, caution=_ROAD,
               states=("road",)),
    DrivePoint("rise", "a slow rise from 40 to 70 mph", 30, _road(40, 70), _SPEED, caution=_ROAD,
               states=("road",), span=("road_speed", 25 * 0.44704)),
    DrivePoint("hot_soak", "engine off, hot", 30, _hot_stopped,
               ("engine_speed", "coolant_temperature"), caution=_STAND, states=("warm",)),
)}
#: Family -> what it needs, the most telling first.
FAMILY_POINTS: dict[str, tuple[str, ...]] = {
    "fuel_low": ("idle", "no_load_1500", "pull", "no_load_1000", "no_load_1800"),
    "vib_load": ("pull_two_gears", "sweep", "idle", "coast", "half_load"),
    "vib_speed": ("rise", "coast"),
    "cool_unstable": ("key_on", "idle", "no_load_1500", "pull"),
    "overheat": ("cold_start", "no_load_1500", "long_pull"),
    "low_power": ("pull",),
    "hard_start": ("key_on", "cold_start", "hot_soak"),
    "smoke": ("cold_start", "idle", "pull"),
    "oil_press": ("cold_start", "idle", "no_load_1500", "pull"),
    "crankcase": ("idle", "high_idle", "pull"),
    "coolant_cross": ("idle", "hot_soak"),
    "electrical": ("key_on", "idle"),
    "oil_leak": ("idle", "no_load_1500", "pull"),
}
# fmt: on
