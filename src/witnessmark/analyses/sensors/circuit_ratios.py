"""Which shared part gives way: the channels' steps against the fixed ratios of the circuit.

Every jump of the leading channel fixes how deep the disturbance was under each explanation
(``physics/shared_circuit``); every other channel must then step in a ratio that is the same at
every jump. How large the ratio is follows from the generic sensor only within a factor (the
maker's sensor is not known), so that factor is integrated out, one for each channel; whether a
channel hangs on the shared part at all is open, too. The explanations race by their marginal
likelihood:

``ground``, ``reference``, ``rail``, ``converter``: the four of the circuit; ``loose``: the
channels step together without a fixed ratio; ``own``: the others do not take part.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.physics.sensors.sensor_circuit import Thermistor
from witnessmark.physics.sensors.shared_circuit import FAULTS, Fault, Input, sensitivity

__all__ = ["INPUTS", "PRIOR", "RatioCircuit", "Steps", "depths", "expected_step", "signatures"]

Floats = npt.NDArray[np.float64]

#: Chances before the other channels are looked at (judgement).
PRIOR: dict[str, float] = {
    "own": 0.55, "ground": 0.20, "reference": 0.10, "rail": 0.04, "converter": 0.03,
    "loose": 0.08,
}  # fmt: skip
#: Whether a channel hangs on the shared part (judgement): a ground or a branch serves some of
#: them, the rail and the converter of a unit nearly all of its inputs.
_MEMBER = {"ground": 0.7, "reference": 0.7, "rail": 0.9, "converter": 0.95, "loose": 0.7}
#: The generic sensor's ratio is right within this, as a standard deviation of its logarithm.
_GAIN_SD = 0.45
#: Size of a jump is known to this share (resolution, edges between two samples).
_DEPTH_SHARE = 0.2
#: Without a fixed ratio a step is anything up to about this many times the disturbance.
_LOOSE = 0.7
#: A ground only rises and a reference only falls: chance of a jump the other way.
_WRONG_WAY = 0.03
#: Steps that are wild for a reason of their own.
_WILD, _WILD_SIGMAS = 0.05, 5.0
#: A load steps the supply by about this, as a share of the input's range (1 V of 32 V).
_LOAD_STEP = 0.03


@dataclass(frozen=True, slots=True)
class RatioCircuit:
    """How a quantity reaches the converter.

    Attributes:
        kind: what hangs on the input.
        zero: reading at which a straight input gives *low* [house unit].
        span: change of the reading from *low* to *high* [house unit].
        low: share at *zero*.
        high: share at *zero* + *span*.
    """

    kind: Input
    zero: float = 0.0
    span: float = 1.0
    low: float = 0.1
    high: float = 0.9

    def share(self, reading: Floats) -> Floats:
        """Return the share of the reference that a reading stands for."""
        if self.kind == "thermistor":
            circuit = Thermistor()
            held = np.clip(reading, -38.0, 170.0) + 273.15
            r = circuit.r25 * np.exp(circuit.b * (1.0 / held - 1.0 / 298.15))
            return np.asarray(r / (circuit.pull_up + r))
        share = self.low + (self.high - self.low) * (reading - self.zero) / self.span
        return np.asarray(np.clip(share, 0.0, 1.0))


def _transducer(full: float, zero: float = 0.0) -> RatioCircuit:
    return RatioCircuit("transducer", zero, full - zero)


_THERMISTOR = RatioCircuit("thermistor")
_SUPPLY = RatioCircuit("supply", 0.0, 32.0, 0.0, 1.0)
#: Quantity -> its input. Full-scale pressures are common practice, no source.
INPUTS: dict[str, RatioCircuit] = {
    "coolant_temperature": _THERMISTOR,
    "oil_temperature": _THERMISTOR,
    "transmission_oil_temperature": _THERMISTOR,
    "fuel_temperature": _THERMISTOR,
    "ambient_temperature": _THERMISTOR,
    "air_inlet_temperature": _THERMISTOR,
    "intake_air_temperature": _THERMISTOR,
    "oil_pressure": _transducer(1.0e6),
    "fuel_delivery_pressure": _transducer(1.0e6),
    "coolant_pressure": _transducer(3.0e5),
    "boost_pressure": _transducer(3.0e5, -1.0e5),
    "intake_manifold_pressure": _transducer(4.0e5),
    "transmission_oil_pressure": _transducer(2.5e6),
    "crankcase_pressure": _transducer(2.0e4, -1.0e4),
    "exhaust_back_pressure": _transducer(4.0e5),
    "brake_primary_pressure": _transducer(1.2e6),
    # Measured inside the unit, on no wire that sensors share (the barometer: common practice).
    "barometric_pressure": RatioCircuit("inside", 0.0, 1.15e5),
    "battery_voltage": _SUPPLY,
    "keyswitch_voltage": _SUPPLY,
    "charging_voltage": _SUPPLY,
}


@dataclass(frozen=True, slots=True)
class Steps:
    """What a channel did at each jump of the leading channel.

    Attributes:
        name: quantity.
        level: shape (k,), its reading beside the jump, house unit.
        step: shape (k,), its step at the jump, house unit; NaN where it had no reading.
        noise: standard deviation of such a step when nothing happens.
    """

    name: str
    level: Floats
    step: Floats
    noise: float


def depths(lead: Steps, fault: Fault) -> Floats:
    """Return how deep the disturbance was at every jump, as a share of the reference."""
    circuit = INPUTS[lead.name]
    lever = sensitivity(circuit.share(lead.level), fault, circuit.kind)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(_share_step(circuit, lead.level, lead.step) / lever)


def expected_step(lead: Steps, other: Steps, fault: Fault) -> Floats:
    """Return the steps the other channel would make with generic sensors, house unit."""
    circuit = INPUTS[other.name]
    share = sensitivity(circuit.share(other.level), fault, circuit.kind) * depths(lead, fault)
    if circuit.kind != "thermistor":
        return np.asarray(share * circuit.span / (circuit.high - circuit.low))
    slope = (circuit.share(other.level + 0.5) - circuit.share(other.level - 0.5)) / 1.0
    return np.asarray(share / slope)


def signatures(lead: Steps, others: Sequence[Steps]) -> Mapping[str, float]:
    """Return the probability of every explanation of the jumps of *lead*, adding up to 1.

    Args:
        lead: the channel that jumps; its steps are the jumps.
        others: the other channels at the same instants.
    """
    circuit = INPUTS[lead.name]
    level, step = circuit.share(lead.level), _share_step(circuit, lead.level, lead.step)
    logs = {name: math.log(p) for name, p in PRIOR.items()}
    rows = []
    for other in others:
        own = INPUTS.get(other.name)
        good = np.isfinite(other.step) & np.isfinite(other.level)
        if own is None or not good.any():
            continue
        noise = np.abs(_share_step(own, other.level[good], np.full(good.sum(), other.noise)))
        rows.append(
            (own, good, own.share(other.level[good]),
             _share_step(own, other.level[good], other.step[good]), np.maximum(noise, 1e-5))
        )  # fmt: skip
    for fault in FAULTS:
        lever = sensitivity(level, fault, circuit.kind)
        if not np.all(np.abs(lever) > 1e-3):
            logs[fault] = -math.inf
            continue
        depth = step / lever
        logs[fault] += math.log(1.0 - _WRONG_WAY if np.median(depth) > 0.0 else _WRONG_WAY)
        logs[fault] += sum(_member(fault, depth, *row) for row in rows)
    for own, good, _, y, s in rows:
        still = _still(own, y, s)
        logs["own"] += still
        if own.kind == "supply":
            logs["loose"] += still
        else:
            loose = _log_density(y, 0.0 * y, s, _LOOSE * np.abs(step[good]))
            logs["loose"] += _mixed("loose", loose, still)
    top = max(logs.values())
    raw = {name: math.exp(max(value - top, -700.0)) for name, value in logs.items()}
    total = sum(raw.values())
    return {name: value / total for name, value in raw.items()}


def _share_step(circuit: RatioCircuit, level: Floats, step: Floats) -> Floats:
    if circuit.kind == "thermistor":
        return circuit.share(level + step) - circuit.share(level)
    return step * (circuit.high - circuit.low) / circuit.span


def _member(
    fault: Fault, depth: Floats, circuit: RatioCircuit, good: npt.NDArray[np.bool_],
    share: Floats, y: Floats, noise: Floats,
) -> float:  # fmt: skip
    """Return the log likelihood of a channel that may hang on the part that gives way."""
    expected = sensitivity(share, fault, circuit.kind) * depth[good]
    quiet = _still(circuit, y, noise)
    if not np.any(np.abs(expected) > 0.0):
        return quiet
    grid = np.linspace(-3.0, 3.0, 49)
    weight = np.exp(-0.5 * grid**2)
    gains = np.exp(_GAIN_SD * grid)[:, None] * expected[None, :]
    each = _log_density(y[None, :], gains, noise[None, :], _DEPTH_SHARE * np.abs(gains))
    top = float(each.max())
    return _mixed(
        fault, top + math.log(float(weight @ np.exp(each - top)) / float(weight.sum())), quiet
    )


def _mixed(fault: str, member: float | Floats, quiet: float) -> float:
    """A channel that hangs on the shared part, or one that does not."""
    share = _MEMBER[fault]
    return float(np.logaddexp(math.log(share) + member, math.log(1.0 - share) + quiet))


def _still(circuit: RatioCircuit, y: Floats, noise: Floats) -> float:
    """Return the log likelihood of steps that have nothing to do with a shared part.

    The supply voltage really steps when a load comes on; that speaks for no explanation here.
    """
    quiet = float(_log_density(y, 0.0 * y, noise, 0.0 * y))
    if circuit.kind != "supply":
        return quiet
    loaded = float(_log_density(y, 0.0 * y, noise, np.full(y.shape, _LOAD_STEP)))
    return float(np.logaddexp(quiet, loaded)) - math.log(2.0)


def _log_density(y: Floats, mean: Floats, noise: Floats, scatter: Floats) -> Floats:
    """Return the summed log density of steps (last axis), with a share of wild ones."""
    narrow = noise**2 + scatter**2
    wide = narrow + (_WILD_SIGMAS * noise) ** 2

    def normal(variance: Floats) -> Floats:
        return np.asarray(-0.5 * (np.log(2.0 * np.pi * variance) + (y - mean) ** 2 / variance))

    mixed = np.logaddexp(math.log(1.0 - _WILD) + normal(narrow), math.log(_WILD) + normal(wide))
    return np.asarray(mixed.sum(axis=-1))
