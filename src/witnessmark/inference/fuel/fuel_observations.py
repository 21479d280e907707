"""Readings of the fuel supply circuit as numbers with everything that may be off about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.inference.discrepancy import Place, shape_covariance
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, Circuit, CircuitState

__all__ = [
    "CHECK",
    "COLD",
    "DELIVERY",
    "FLOW",
    "GALLERY",
    "INHG",
    "PREFILTER",
    "QUANTITIES_READ",
    "THROTTLED",
    "VACUUM",
    "Key",
    "Observation",
    "cold_extra",
    "covariance",
    "in_order",
    "predicted",
    "shape_error",
]

Floats = npt.NDArray[np.float64]

GALLERY = "fuel_gallery_pressure"
PREFILTER = "fuel_prefilter_pressure"
THROTTLED = "fuel_gallery_pressure_return_throttled"
VACUUM = "fuel_suction_vacuum"
FLOW = "fuel_return_flow"
CHECK = "gauge_check_difference"
DELIVERY = "fuel_delivery_pressure"
QUANTITIES_READ = (GALLERY, PREFILTER, THROTTLED, VACUUM, FLOW, CHECK, DELIVERY)
INHG = 3386.389  #: Pa per inHg (NIST SP 811)

_PRESSURES = (GALLERY, PREFILTER, THROTTLED, DELIVERY)
#: Standard deviations beyond the instrument's own: needle flutter and engine speed not quite
#: held (one reading), and what the model leaves out (the same again at the same point). Chosen.
_READING = {GALLERY: 1.0 * PSI, PREFILTER: 1.0 * PSI, THROTTLED: 1.5 * PSI, DELIVERY: 1.0 * PSI,
            VACUUM: 0.4 * INHG, FLOW: 2.5 * L_PER_H, CHECK: 0.8 * PSI}  # fmt: skip
_MODEL = {GALLERY: 1.0 * PSI, PREFILTER: 1.0 * PSI, THROTTLED: 1.0 * PSI, DELIVERY: 1.0 * PSI,
          VACUUM: 0.45 * INHG, FLOW: 3.4 * L_PER_H, CHECK: 0.0}  # fmt: skip
#: The error in shape: what the curves of a real circuit may be off from the model's, as a share of
#: what is read there, and at least that share of so much (judgement; settled on engines of other
#: equations, studies/fuel_supply/THIRD.md, drawn for that alone).
_SHAPE = {GALLERY: 0.05, PREFILTER: 0.05, THROTTLED: 0.05, DELIVERY: 0.05, VACUUM: 0.20,
          FLOW: 0.12}  # fmt: skip
_AT_LEAST = {VACUUM: 2.0 * INHG, FLOW: 40.0 * L_PER_H}
_AT_LEAST_PRESSURE = 40.0 * PSI
#: What a sound suction line draws at most. A vacuum above it is a restriction of whatever size, so
#: the curve of the sound line is not off by a share of it. Judgement.
_AT_MOST = {VACUUM: 8.0 * INHG}
#: Over which ratio of engine speeds and which change of load it becomes another error; and what the
#: pressures of a circuit share of it. Chosen.
_SPEED_LENGTH, _LOAD_LENGTH, _KIN = 0.6, 0.6, 0.7
_FLOW_SHARE = 0.04
#: A shut return regulator weeps a little and a dribble is hard to time: further standard
#: deviation of a flow near nothing, and how it fades. Judgement.
_WEEP, _DRIBBLE = 15.0 * L_PER_H, 25.0 * L_PER_H
_GAUGE_GAIN = 0.005
#: Viscosity of fuel in a cold engine against that at working temperature. Chosen; how cold it
#: was is hardly ever written down, so a cold reading is taken as less sure (``cold_extra``).
COLD = 1.8


@dataclass(frozen=True, slots=True)
class Key:
    """An operating point of the circuit, as the solver needs it.

    Attributes:
        rpm: engine speed [r/min].
        load: 0 to 1.
        throttled: the return is throttled shut.
        viscosity: factor for cold fuel [-].
    """

    rpm: float
    load: float = 0.0
    throttled: bool = False
    viscosity: float = 1.0


@dataclass(frozen=True, slots=True)
class Observation:
    """One reading.

    Attributes:
        quantity: one of ``QUANTITIES_READ``.
        key: operating point.
        value: house unit.
        gauge: name of the instrument; readings of one name share its error.
        main: the instrument is the one whose error is the cause ``fuel_gauge_err``.
        gauge_sd: standard deviation of the instrument's constant error [house unit].
        extra_sd: further standard deviation (load not written down, cold engine) [house unit].
        stage: number of work entries before it.
        entry: entry id.
        typed: symbol of the unit it was written in; empty where nobody wrote one.
        swing: how far the pointer swung to either side [house unit]; 0.0 for one figure.
        meant: it was told as a range or "about", so nobody doubts that it stood there.
    """

    quantity: str
    key: Key
    value: float
    gauge: str = ""
    main: bool = True
    gauge_sd: float = 1.6 * PSI
    extra_sd: float = 0.0
    stage: int = 0
    entry: str = ""
    typed: str = ""
    swing: float = 0.0
    meant: bool = False


def cold_extra(quantity: str) -> float:
    """Return the further standard deviation of a cold reading [house unit]. Judgement."""
    return {FLOW: 8.0 * L_PER_H, VACUUM: 1.0 * INHG}.get(quantity, 2.0 * PSI)


def predicted(observation: Observation, state: CircuitState | None, circuit: Circuit) -> Floats:
    """Return what each circuit would make this instrument read, without its small errors."""
    if observation.quantity == CHECK:
        return circuit.gauge_bias + circuit.gauge_gain * 75.0 * PSI
    if state is None:
        raise ValueError("a reading of the circuit needs its state")
    if observation.quantity == FLOW:
        return state.return_flow
    if observation.quantity == VACUUM:
        return state.vacuum
    true = state.prefilter if observation.quantity == PREFILTER else state.gallery
    return true * (1.0 + circuit.gauge_gain) + circuit.gauge_bias if observation.main else true


def covariance(observations: Sequence[Observation], shape: float = 1.0) -> Floats:
    """Return the covariance of all small errors, gauge error and model error shared.

    The constant error of a gauge is common to all its pressure readings and is what a
    comparison with a trusted gauge shows, so it is integrated out in closed form here. What the
    model leaves out is common to readings of one quantity at one point, before and after work.

    Args:
        observations: the readings.
        shape: factor on the error in shape of the model's curves.
    """
    cov = shape**2 * shape_error(observations)
    for i, a in enumerate(observations):
        flutter = _READING[a.quantity]
        if a.quantity == FLOW:
            weep = _WEEP * float(np.exp(-max(a.value, 0.0) / _DRIBBLE))
            flutter = float(np.hypot(np.hypot(flutter, _FLOW_SHARE * abs(a.value)), weep))
        cov[i, i] += flutter**2 + a.extra_sd**2
        for j, b in enumerate(observations):
            if a.quantity == b.quantity:
                cov[i, j] += _MODEL[a.quantity] ** 2 * _nearness(a.key, b.key)
            if not _share_gauge(a, b):
                continue
            cov[i, j] += a.gauge_sd * b.gauge_sd
            if a.quantity in _PRESSURES and b.quantity in _PRESSURES:
                cov[i, j] += _GAUGE_GAIN**2 * abs(a.value * b.value)
    return cov


def shape_error(observations: Sequence[Observation]) -> Floats:
    """Return the covariance of the error in shape of the model's curves [house units]."""
    return shape_covariance([_place(o) for o in observations], _kinship)


def _place(o: Observation) -> Place:
    share = _SHAPE.get(o.quantity)
    if share is None:
        return Place("", 0.0, ())
    kind = GALLERY if o.quantity == DELIVERY else o.quantity
    most = _AT_MOST.get(o.quantity, np.inf)
    size = share * max(min(abs(o.value), most), _AT_LEAST.get(o.quantity, _AT_LEAST_PRESSURE))
    speed = float(np.log(max(o.key.rpm, 1.0))) / _SPEED_LENGTH
    return Place(kind, size, (speed, o.key.load / _LOAD_LENGTH))


def _kinship(a: str, b: str) -> float:
    return _KIN if a in _PRESSURES and b in _PRESSURES else 0.0


def _share_gauge(a: Observation, b: Observation) -> bool:
    """Pressure readings of one gauge share its error; a gauge check shows the main one's."""
    if CHECK in (a.quantity, b.quantity):
        other = b if a.quantity == CHECK else a
        return (other.quantity in _PRESSURES and other.main) or other.quantity == CHECK
    return a.quantity in _PRESSURES and b.quantity in _PRESSURES and a.gauge == b.gauge


def _nearness(a: Key, b: Key) -> float:
    """Return how much two points share what the model leaves out: 1 at one point, 0 far apart.

    A bell over speed and load, for only a smooth one always makes a covariance.
    """
    if a.throttled != b.throttled:
        return 0.0
    apart = ((a.rpm - b.rpm) / 60.0) ** 2 + ((a.load - b.load) / 0.15) ** 2
    return float(np.exp(-0.5 * apart))


def in_order(observations: Sequence[Observation]) -> tuple[Observation, ...]:
    """Return readings in an order of their own: in which they were written down is nothing."""

    def place(o: Observation) -> tuple[object, ...]:
        key = o.key
        point = (key.throttled, key.rpm, key.load, key.viscosity)
        return o.stage, o.quantity, *point, o.value, o.gauge, o.gauge_sd, o.extra_sd

    return tuple(sorted(observations, key=place))
