"""Cooling on a steady pull: which side of the heat balance does not do its part, as a circuit.

All readings are of one steady pull with the fan told to run. Healthy sizes are of a heavy diesel,
from memory, with their scatter; nothing was measured. The equations stand in
``physics.circuits.heat_exchange``.
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
from witnessmark.physics.circuits.heat_exchange import AIR, air_flow, balance, fuel_power

__all__ = ["CIRCUIT"]

_SPOTS = ("outside", "inside", "fan", "flow", "heat", "display")
_SCATTER = 13
#: Charge air: kilograms for each litre of fuel, and how hot it comes above the air outside [K].
_CHARGE_AIR, _CHARGE_RISE = 20.5, 168.0
#: What a fan still turns of its full speed that drags along only.
_DRAGS = 0.2


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]
    is_bad = {name: bad[:, n] for n, name in enumerate(_SPOTS)}
    outside_air = 25.0 + 9.0 * z[:, 0]
    fuel = 1.8e-5 * np.exp(0.25 * z[:, 1])
    road = 14.0 * np.exp(0.28 * z[:, 2])
    share = 0.24 * np.exp(0.09 * z[:, 3])
    share = share * np.where(is_bad["heat"], 1.0 + 0.4 * np.exp(0.35 * fault[:, 4]), 1.0)
    pump = 6.3 * np.exp(0.12 * z[:, 4]) * np.where(is_bad["flow"], _left(fault[:, 3]), 1.0)
    ratio = 1.12 * np.exp(0.09 * z[:, 5])
    slips = np.where(is_bad["fan"], _DRAGS + 0.5 * _part(fault[:, 2]), 0.97)
    covered = np.where(is_bad["outside"], _covered(fault[:, 0]), 0.0)
    free = np.exp(0.15 * z[:, 6]) * (1.0 - 0.85 * covered)
    clean = 6000.0 * np.exp(0.13 * z[:, 7]) * (1.0 - 0.6 * covered)
    tubes = np.where(is_bad["inside"], 0.1 + 0.5 * _part(fault[:, 1]), 1.0)
    clean = clean * np.where(is_bad["inside"], np.minimum(tubes + 0.2, 1.0), 1.0)
    pump = pump * np.where(is_bad["inside"], 0.87, 1.0)
    opens = 82.5 + 1.5 * z[:, 8]
    cooler = 4.4 * np.exp(0.2 * z[:, 9]) * (1.0 - 0.6 * covered)
    rise = _CHARGE_RISE * np.exp(0.08 * z[:, 10])
    wind = 0.25 * np.exp(0.2 * z[:, 11]) * road
    display = 1.5 * z[:, 12] + np.where(is_bad["display"], 16.0 * fault[:, 5], 0.0)
    found = []
    solved: dict[float, dict[str, Floats]] = {}
    for o in observed:
        if o.rpm not in solved:
            fan = o.rpm * ratio * slips
            air = np.maximum(air_flow(6.6 * fan / 1700.0, wind) * free, 0.3)
            charge = fuel * 1e3 * _CHARGE_AIR * AIR
            through = cooler * np.sqrt(air / 6.5)
            charge_out = outside_air + rise * np.exp(-through)
            front = outside_air + charge * rise * -np.expm1(-through) / (air * AIR)
            heat = fuel_power(fuel) * share
            flow = pump * o.rpm / 1500.0
            top, bottom = balance(heat, front, air, flow, clean, tubes, opens)
            solved[o.rpm] = {
                "display": top + display,
                "top": top,
                "bottom": bottom,
                "outside_air": outside_air,
                "behind": front + heat / (air * AIR),
                "charge_out": charge_out,
                "fan": fan,
                "fuel": fuel,
                "road": road,
            }
        found.append(solved[o.rpm][o.channel.key])
    return np.column_stack(found)


def _part(z: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-1.3 * z)))


def _covered(z: Floats) -> Floats:
    """Return the share of the core that no air goes through, a fifth to four fifths [-]."""
    return np.asarray(0.2 + 0.6 * _part(z))


def _left(z: Floats) -> Floats:
    """Return the share of the coolant that still goes through the radiator [-]."""
    return np.asarray(0.08 + 0.5 * _part(z))


def _size(z: Floats, spot: str) -> Floats:
    """Return the share of a core that is covered, of the coolant or the fan's speed left [%]."""
    if spot == "outside":
        return 100.0 * _covered(z)
    if spot == "fan":
        return 100.0 * (_DRAGS + 0.5 * _part(z))
    return 100.0 * _left(z)


def _probe(key: str, quantity: str, noise: float, wide: float, *uses: str) -> Channel:
    return Channel(key, quantity, ("running", ""), noise, 0.0, wide, uses, 0.012, key)


CIRCUIT = Circuit(
    id="cooling",
    code="cooling_circuit_model",
    spots=tuple(Spot(s, s != "display") for s in _SPOTS),
    groups=(
        Group(("oh_rad_ext", "oh_front"), {"outside": 1.0}),
        Group(("oh_rad_int",), {"inside": 1.0}),
        Group(("oh_fan", "oh_fan_command"), {"fan": 1.0}),
        Group(("oh_thermostat", "oh_pump", "oh_hose"), {"flow": 1.0}),
        Group(("oh_low",), {"flow": 1.0}),
        Group(("oh_mix",), {"inside": 0.6, "flow": 0.4}),
        Group(("oh_heatload", "oh_egr"), {"heat": 1.0}),
        Group(("oh_gauge",), {"display": 1.0}),
        Group(("oh_gas", "oh_cap", "oh_other"), {}),
    ),
    channels=(
        _probe("display", "pull_display_temperature", 1.5, 60.0),
        _probe("top", "pull_top_hose_temperature", 1.5, 60.0, "o_flow"),
        _probe("bottom", "pull_bottom_hose_temperature", 1.5, 60.0, "o_flow"),
        _probe("outside_air", "pull_outside_air_temperature", 1.3, 50.0),
        Channel("behind", "pull_air_behind_temperature", ("running", ""), 3.0, 0.0, 80.0, (),
                0.04),
        Channel("charge_out", "pull_charge_air_temperature", ("running", ""), 2.0, 0.0, 80.0, (),
                0.04),
        Channel("fan", "pull_fan_speed", ("running", ""), 20.0, 0.03, 2500.0, ("o_fan",), 0.03),
        Channel("fuel", "pull_fuel_rate", ("running", ""), 2e-7, 0.04, 4e-5, ("o_load",)),
        Channel("road", "pull_road_speed", ("running", ""), 0.3, 0.03, 30.0),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType({"outside": "% covered", "fan": "% speed", "flow": "%"}),
    alike=(
        frozenset({"outside", "fan"}),
        frozenset({"outside", "inside"}),
        frozenset({"inside", "flow"}),
        frozenset({"inside", "heat"}),
        frozenset({"outside", "fan", "inside"}),
        frozenset({"outside", "inside", "heat"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({"running": 1500.0, "": 1500.0}),
    first_look="o_front",
)  # fmt: skip
