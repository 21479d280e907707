"""The starting circuit: which joint takes the volts, or what turns too hard, as a circuit.

Healthy sizes are of a 12-volt heavy diesel, from memory, with their scatter; nothing was measured.
The equations stand in ``physics.circuits.start_network``.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

import numpy as np

from witnessmark.inference.circuits.circuit import (
    Bools,
    Channel,
    Circuit,
    Floats,
    Group,
    Observed,
    Spot,
)
from witnessmark.physics.circuits.start_network import cranking

__all__ = ["CIRCUIT"]

_SPOTS = (
    "worn_battery", "flat_battery", "positive", "ground_engine", "ground_battery", "solenoid",
    "starter_open", "hard", "no_command",
)  # fmt: skip
_SCATTER = 8
#: A bad joint or contact: middle [ohm] and scatter (log).
_JOINT, _JOINT_SPREAD = 3.0e-3, 0.8


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]

    flat, worn = bad[:, 1], bad[:, 0]
    volts = 12.66 + 0.07 * z[:, 0] + np.where(flat, -0.66 + 0.24 * fault[:, 1], 0.0)
    volts = volts - np.where(worn, 0.12, 0.0)
    inner = 2.2e-3 * np.exp(0.35 * z[:, 1])
    inner = inner * np.where(worn, np.exp(1.25 + 0.45 * fault[:, 0]), 1.0)
    inner = inner * np.where(flat, np.exp(0.35 + 0.2 * fault[:, 1]), 1.0)
    bad_joint = [_JOINT * np.exp(_JOINT_SPREAD * fault[:, n]) for n in range(len(_SPOTS))]
    joint = {
        name: np.where(bad[:, n], bad_joint[n], 0.0) + middle * np.exp(spread * z[:, k])
        for name, n, middle, spread, k in (
            ("positive", 2, 0.3e-3, 0.3, 2), ("ground_engine", 3, 0.12e-3, 0.35, 3),
            ("ground_battery", 4, 0.17e-3, 0.3, 4), ("solenoid", 5, 0.12e-3, 0.4, 5),
        )
    }  # fmt: skip
    motor = 3.0e-3 * np.exp(0.3 * z[:, 6])
    motor = motor + np.where(bad[:, 6], 7.0e-3 * np.exp(0.7 * fault[:, 6]), 0.0)
    dry = 330.0 * np.exp(0.4 * z[:, 7]) * np.where(bad[:, 7], np.exp(1.15 + 0.5 * fault[:, 7]), 1.0)
    back = 0.067 * np.exp(0.2 * np.where(bad[:, 7], 0.0, fault[:, 7]))
    slope = 2.2 * np.exp(0.25 * np.where(bad[:, 6], 0.0, fault[:, 6]))
    series = inner + motor + sum(joint.values())
    brush = np.full(len(z), 0.8)
    current, speed = cranking(volts, series, brush, back, dry, slope)
    dead = bad[:, 8]
    current = np.where(dead, 3.0 + 1.5 * np.tanh(fault[:, 8]), current)
    speed = np.where(dead, 0.0, speed)
    post = volts - current * inner
    ground = joint["ground_engine"] + joint["ground_battery"]
    shown = {
        "rested": volts,
        "cranking": post,
        "positive": current * joint["positive"],
        "ground": current * ground,
        "ground_engine": current * joint["ground_engine"],
        "ground_battery": current * joint["ground_battery"],
        "solenoid": np.where(dead, post, current * joint["solenoid"]),
        "current": current,
        "speed": speed,
        "command": np.where(dead, 0.2, post - current * (joint["positive"] + ground) * 0.5 - 0.6),
    }
    return np.column_stack([shown[o.channel.key] for o in observed])


def _size(z: Floats, spot: str) -> Floats:
    """Return how big a fault is: a joint's resistance [mohm], the load against a sound one [-]."""
    if spot == "starter_open":
        return 7.0 * np.exp(0.7 * z)
    if spot == "hard":
        return np.exp(1.15 + 0.5 * z)
    if spot == "worn_battery":
        return 2.2 * np.exp(1.25 + 0.45 * z)
    if spot == "flat_battery":
        return 12.0 + 0.24 * z
    return 1e3 * _JOINT * np.exp(_JOINT_SPREAD * z)


_CRANK, _OFF = ("cranking",), ("off", "key_on")


def _drop(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(key, quantity, ("cranking", ""), 0.04, 0.04, 12.0, uses, 0.06, "drop")


CIRCUIT = Circuit(
    id="start",
    code="starting_circuit_model",
    spots=tuple(Spot(s, s != "no_command") for s in _SPOTS),
    groups=(
        Group(("nc_batt",), {"worn_battery": 1.0}),
        Group(("nc_flat",), {"flat_battery": 1.0}),
        Group(("nc_cable",), {"positive": 0.8, "ground_battery": 0.2}),
        Group(("nc_ground",), {"ground_engine": 0.6, "ground_battery": 0.4}),
        Group(("nc_starter",), {"starter_open": 0.5, "hard": 0.5}),
        Group(("nc_sol",), {"solenoid": 1.0}),
        Group(("nc_relay", "nc_neutral", "nc_key", "nc_inhibit"), {"no_command": 1.0}),
        Group(("nc_liquid", "nc_locked", "nc_driven", "nc_ringgear"), {"hard": 1.0}),
        Group(("nc_other",), {}),
    ),
    channels=(
        Channel("rested", "battery_voltage", _OFF, 0.04, 0.003, 4.0, ("nct_volt",)),
        Channel("cranking", "battery_voltage", _CRANK, 0.05, 0.01, 10.0, ("nct_crankv",), 0.03),
        _drop("positive", "crank_drop_positive", "nct_dropp"),
        _drop("ground", "crank_drop_ground", "nct_dropg"),
        _drop("ground_engine", "crank_drop_engine_to_frame", "nct_dropg"),
        _drop("ground_battery", "crank_drop_frame_to_battery", "nct_dropg"),
        _drop("solenoid", "crank_drop_solenoid", "nct_solv"),
        Channel("current", "crank_current", ("cranking", ""), 15.0, 0.05, 2500.0, ("nct_amps",),
                0.08),
        Channel("speed", "engine_speed", _CRANK, 8.0, 0.05, 200.0, (), 0.12),
        Channel("command", "start_command_voltage", ("cranking", "key_on", ""), 0.5, 0.03, 13.0,
                ("nct_sterm",), 0.05),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType(
        {
            **dict.fromkeys(("positive", "ground_engine", "ground_battery", "solenoid"), "mohm"),
            "starter_open": "mohm", "worn_battery": "mohm", "flat_battery": "V", "hard": "x",
        }
    ),
    alike=(
        frozenset({"worn_battery", "flat_battery"}),
        frozenset({"ground_engine", "ground_battery"}),
        frozenset({"starter_open", "solenoid"}),
        frozenset({"worn_battery", "hard"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({}),
    first_look="nct_lookcab",
)  # fmt: skip
