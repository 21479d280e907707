"""A truck at rest: which branch draws overnight, or what is wrong with the batteries themselves.

Currents by clamp, millivolts over fuses that stay in, and the arithmetic of a night. Every healthy
size is from memory, with its scatter; nothing was measured. The equations stand in
``physics.circuits.rest_current``.
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
from witnessmark.physics.circuits.rest_current import charge_left, fuse_ohms, rested_volts

__all__ = ["CIRCUIT"]

_SPOTS = (
    "added_big", "added_small", "cab", "module", "alternator", "battery", "charge", "film",
    "switch",
)  # fmt: skip
_SCATTER = 12
#: What draws: middle [A] and scatter (log).
_DRAWS = {
    "added_big": (2.0, 0.8), "added_small": (0.25, 0.6), "cab": (1.2, 0.9),
    "module": (1.0, 0.9), "alternator": (0.35, 1.0),
}  # fmt: skip
#: A battery that discharges itself: share a day, middle and scatter (log).
_OWN, _OWN_SPREAD = 0.09, 0.5
_LOST_SOUND = 0.003


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]
    is_bad = {name: bad[:, n] for n, name in enumerate(_SPOTS)}
    draws = {
        name: np.where(bad[:, n], _draw(fault[:, n], name), 0.0)
        for n, name in enumerate(_SPOTS)
        if name in _DRAWS
    }
    quiet = 0.042 * np.exp(0.5 * z[:, 0])
    quiet = quiet * np.where(is_bad["switch"], np.exp(1.3 + 0.3 * fault[:, 8]), 1.0)
    zero = 0.014 * z[:, 10]
    added = draws["added_big"] + draws["added_small"]
    total = quiet + sum(draws.values())
    small_tap, big_tap = _share(0.4 + 3.0 * z[:, 1]), _share(-1.2 + 3.0 * z[:, 2])
    cab_fuse = fuse_ohms(11.0 * np.exp(0.5 * z[:, 3]))
    module_fuse = fuse_ohms(15.0 * np.exp(0.5 * z[:, 4]))
    through_cab = draws["cab"] + small_tap * draws["added_small"] + big_tap * draws["added_big"]
    capacity = 280.0 * np.exp(0.25 * z[:, 5])
    capacity = capacity * np.where(is_bad["battery"], 0.6, 1.0)
    own = np.where(is_bad["battery"], _OWN * np.exp(_OWN_SPREAD * fault[:, 5]), _LOST_SOUND)
    begins = np.where(
        is_bad["charge"], 0.55 + 0.12 * fault[:, 6], np.minimum(0.94 + 0.04 * z[:, 6], 1.0)
    )
    hours = 12.0 * np.exp(0.2 * z[:, 9])
    morning = charge_left(begins, total, hours, capacity) - own * hours / 24.0
    film = 0.045 * np.exp(0.7 * fault[:, 7])
    alone = 3.0 * own + np.where(is_bad["film"], 72.0 * film / capacity, 0.0)
    # a poor charge holds low volts on the road; bad batteries and diodes pull them down a little
    runs = 13.97 + 0.25 * z[:, 8]
    runs = runs - np.where(is_bad["charge"], 1.05 * np.exp(0.3 * fault[:, 6]), 0.0)
    runs = runs - np.where(is_bad["battery"], 0.2, 0.0) - np.where(is_bad["alternator"], 0.3, 0.0)
    volts = rested_volts(begins) + 0.05 * z[:, 7]
    shown = {
        "total": total + zero,
        "added_off": total - added + zero,
        "cab_fuse": through_cab * cab_fuse,
        "module_fuse": draws["module"] * module_fuse + 0.02 * module_fuse,
        "alternator": draws["alternator"] + zero,
        "case": np.where(is_bad["film"], 2.2 * np.exp(0.6 * fault[:, 7]), 0.1),
        "behind_switch": np.where(is_bad["switch"], volts - 0.12, 0.03 * np.exp(z[:, 11])),
        "self_loss": rested_volts(np.full(len(z), 0.97)) - rested_volts(0.97 - alone),
        "running_volts": runs,
        "after_night": rested_volts(morning) + 0.05 * z[:, 7],
    }
    return np.column_stack([shown[o.channel.key] for o in observed])


def _share(z: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-z)))


def _draw(z: Floats, name: str) -> Floats:
    middle, spread = _DRAWS[name]
    return np.asarray(middle * np.exp(spread * z))


def _size(z: Floats, spot: str) -> Floats:
    """Return how much is drawn [A], or what a battery loses by itself [% a day]."""
    if spot in _DRAWS:
        return _draw(z, spot)
    return 100.0 * _OWN * np.exp(_OWN_SPREAD * z)


_OFF = ("off", "")


def _clamp(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(key, quantity, _OFF, 0.012, 0.02, 8.0, uses, 0.04, "clamp")


def _fuse(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(key, quantity, _OFF, 1.2e-4, 0.08, 0.1, uses, 0.1)


CIRCUIT = Circuit(
    id="rest",
    code="rest_circuit_model",
    spots=tuple(Spot(s) for s in _SPOTS),
    groups=(
        Group(("bd_inverter",), {"added_big": 1.0}),
        Group(("bd_wiring",), {"added_small": 1.0}),
        Group(("bd_lamp", "bd_relay"), {"cab": 1.0}),
        Group(("bd_module",), {"module": 1.0}),
        Group(("bd_diode",), {"alternator": 1.0}),
        Group(("bd_batt",), {"battery": 1.0}),
        Group(("bd_charge",), {"charge": 1.0}),
        Group(("bd_post",), {"film": 1.0}),
        Group(("bd_disconnect",), {"switch": 1.0}),
        Group(("bd_other",), {}),
    ),
    channels=(
        _clamp("total", "rest_current", "bdt_clamp", "bdt_sleep"),
        _clamp("added_off", "rest_current_added_off", "bdt_addoff"),
        _fuse("cab_fuse", "fuse_drop_cab", "bdt_fuse"),
        _fuse("module_fuse", "fuse_drop_module", "bdt_fuse"),
        _clamp("alternator", "alternator_back_current", "bdt_altoff"),
        Channel("case", "battery_case_voltage", _OFF, 0.15, 0.05, 12.0, ("bdt_film",), 0.1),
        Channel("behind_switch", "voltage_behind_switch", _OFF, 0.06, 0.01, 13.0, ("bdt_discv",)),
        Channel("self_loss", "battery_self_loss", _OFF, 0.025, 0.05, 2.0, ("bdt_self",), 0.1),
        Channel("running_volts", "battery_voltage", ("running",), 0.05, 0.003, 4.0,
                ("bdt_chargev",)),
        Channel("after_night", "battery_after_night", _OFF, 0.04, 0.003, 4.0),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType({**dict.fromkeys(_DRAWS, "A"), "battery": "% a day"}),
    alike=(
        frozenset({"cab", "module"}),
        frozenset({"added_big", "added_small"}),
        frozenset({"added_small", "cab"}),
        frozenset({"battery", "charge"}),
        frozenset({"battery", "film"}),
        frozenset({"added_big", "added_small", "cab"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({"running": 1500.0}),
    first_look="bdt_walk",
)  # fmt: skip
