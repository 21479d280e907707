"""Numbers that the fuel circuit must give, from closed forms of the same laws."""

from __future__ import annotations

import math

import numpy as np

from witnessmark.inference.models import Example
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, Circuit, consumption, solve

__all__ = ["examples"]

_SPEED = 1400.0
_FLOW, _CRACK, _GAIN, _ORIFICE = 280.0 * L_PER_H, 50.0 * PSI, 3.0 * L_PER_H / PSI, 25.0


def examples() -> tuple[Example, ...]:
    """Return the gallery pressure of an ideal pump against one return valve, in two laws."""
    left = _FLOW - float(consumption(_SPEED, 0.0))
    constant = _ORIFICE * L_PER_H / math.sqrt(PSI)
    return (
        Example(
            "gallery pressure, ideal pump against a valve that opens in proportion",
            lambda: _gallery(return_linear=_GAIN, return_crack=_CRACK),
            _CRACK + left / _GAIN,
            0.01 * PSI,
            "exact",
            "what the pump delivers less what the injectors take, over the gain: p = pcr + Q/G",
        ),
        Example(
            "gallery pressure, ideal pump against a plain orifice",
            lambda: _gallery(return_leak=constant),
            (left / constant) ** 2,
            0.01 * PSI,
            "exact",
            "orifice law Q = K sqrt(p), solved for p",
        ),
    )


def _gallery(**fields: float) -> float:
    """Return the gallery pressure [Pa] of a circuit without any loss but those named."""
    plain = dict.fromkeys(Circuit.__slots__, 0.0)
    far = {"relief_crack": 290.0 * PSI, "return_crack": 290.0 * PSI}
    pump = {"displacement": _FLOW / _SPEED, "consumption": 1.0, "viscosity": 1.0}
    given = {**plain, **pump, **far, **fields}
    circuit = Circuit(**{name: np.array([value]) for name, value in given.items()})
    return float(solve(circuit, _SPEED).gallery[0])
