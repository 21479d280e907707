"""The charging circuit: what keeps the current or the volts from the batteries, as a circuit.

Healthy sizes are of a 12-volt heavy diesel with lamps and blower on, from memory, with their
scatter; nothing was measured. The equations stand in ``physics.circuits.charging_network``.
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
from witnessmark.physics.circuits.charging_network import output_at, settle

__all__ = ["CIRCUIT"]

_SPOTS = (
    "alternator", "diode", "over", "belt", "positive", "ground", "sense", "excite", "battery",
    "load", "gauge",
)  # fmt: skip
_SCATTER = 15
#: A bad joint: middle [ohm] and scatter (log), positive side and ground.
_JOINT = {"positive": (6.5e-3, 0.65), "ground": (5.5e-3, 0.65)}
#: What is added where the loads are more than it gives at idle [A], and its scatter (log).
_ADDED, _ADDED_SPREAD = 100.0, 0.35


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]
    is_bad = {name: bad[:, n] for n, name in enumerate(_SPOTS)}
    own = {name: fault[:, n] for n, name in enumerate(_SPOTS)}
    most = 158.0 * np.exp(0.14 * z[:, 0])
    most = most * np.where(is_bad["alternator"], _left(own["alternator"]), 1.0)
    most = most * np.where(is_bad["diode"], 0.65 + 0.12 * np.tanh(own["diode"]), 1.0)
    most = most * np.where(is_bad["excite"], 1e-3, 1.0)
    slip = np.where(is_bad["belt"], _slip(own["belt"]), 0.0)
    ratio = 2.85 * np.exp(0.08 * z[:, 1])
    asked = 14.15 + 0.14 * z[:, 2] + np.where(is_bad["over"], 1.7 + 0.5 * own["over"], 0.0)
    off = np.where(is_bad["sense"], 1.2 * own["sense"], 0.0)
    plus = 0.8e-3 * np.exp(0.35 * z[:, 3]) + _joint(own, is_bad, "positive")
    minus = 0.45e-3 * np.exp(0.4 * z[:, 4]) + _joint(own, is_bad, "ground")
    loads = 72.0 * np.exp(0.25 * z[:, 5])
    loads = loads + np.where(is_bad["load"], _ADDED * np.exp(_ADDED_SPREAD * own["load"]), 0.0)
    rest = 12.62 + 0.1 * z[:, 6]
    rest = rest - np.where(is_bad["battery"], 1.3 * np.exp(0.35 * own["battery"]), 0.0)
    takes = 0.1 * np.exp(0.5 * z[:, 7])
    takes = takes * np.where(is_bad["battery"], np.exp(-1.7 + 0.5 * own["battery"]), 1.0)
    gives = 6e-3 * np.exp(0.3 * z[:, 7])
    senses = 1.0 / (1.0 + np.exp(-3.0 * z[:, 8]))
    droop = 0.0012 * np.exp(0.4 * z[:, 9])
    cut_in = 1150.0 * np.exp(0.12 * z[:, 10])
    bend = 850.0 * np.exp(0.2 * z[:, 11])

    def at(rpm: float) -> tuple[Floats, Floats, Floats]:
        # a belt slips less where less is asked of it
        slips = slip * (rpm / 1500.0) ** (0.8 * np.exp(0.4 * z[:, 14]))
        here = output_at(most, rpm * ratio * np.maximum(1.0 - slips, 0.0), cut_in, bend)
        return settle(here, asked - off, plus + minus, senses, droop, loads, rest, takes, gives)

    volts, current, battery = at(1500.0)
    ripple = 0.1 * np.exp(0.45 * z[:, 12]) * np.where(is_bad["battery"], 1.8, 1.0)
    ripple = ripple + np.where(is_bad["diode"], 0.75 * np.exp(0.45 * own["diode"]), 0.0)
    back = np.where(is_bad["diode"], 0.15 * np.exp(1.5 * own["diode"] + 0.6 * z[:, 13]), 0.003)
    shown = {
        "drop_positive": current * plus,
        "drop_ground": current * minus,
        "battery_amps": battery,
        "sense": off - 0.01,
        "excite": np.where(is_bad["excite"], 0.7, volts - 0.5),
        "ripple": ripple,
        "back": back,
        "slip": 100.0 * slip,
        "gauge": np.where(is_bad["gauge"], 1.3 * own["gauge"], 0.0) - 0.08,
    }
    found = []
    for o in observed:
        if o.channel.key in {"posts", "output"}:
            volts, current, _ = at(o.rpm)
            found.append(volts if o.channel.key == "posts" else current)
        else:
            found.append(shown[o.channel.key])
    return np.column_stack(found)


def _joint(own: dict[str, Floats], is_bad: dict[str, Bools], name: str) -> Floats:
    middle, spread = _JOINT[name]
    return np.where(is_bad[name], middle * np.exp(spread * own[name]), 0.0)


def _left(z: Floats) -> Floats:
    """Return what a worn alternator still gives, nothing to four fifths [-]."""
    return np.asarray(0.82 / (1.0 + np.exp(-0.1 - 2.2 * z)))


def _slip(z: Floats) -> Floats:
    """Return how much a belt slips, a twelfth to nearly all [-]."""
    return np.asarray(0.08 + 0.86 / (1.0 + np.exp(-0.8 - 1.6 * z)))


def _size(z: Floats, spot: str) -> Floats:
    """Return a joint's resistance [mohm], what an alternator gives [%], slip [%], load [A]."""
    if spot == "alternator":
        return 100.0 * _left(z)
    if spot == "belt":
        return 100.0 * _slip(z)
    if spot == "load":
        return _ADDED * np.exp(_ADDED_SPREAD * z)
    middle, spread = _JOINT[spot]
    return 1e3 * middle * np.exp(spread * z)


_RUNS, _OFF = ("running", "idle"), ("off", "")


def _drop(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(key, quantity, ("running", ""), 0.02, 0.02, 3.0, uses, 0.08, "drop")


CIRCUIT = Circuit(
    id="charge",
    code="charging_circuit_model",
    spots=tuple(Spot(s, s != "gauge") for s in _SPOTS),
    groups=(
        Group(("ch_alt",), {"alternator": 1.0}),
        Group(("ch_diode",), {"diode": 1.0}),
        Group(("ch_over",), {"over": 1.0}),
        Group(("ch_belt",), {"belt": 1.0}),
        Group(("ch_pos", "ch_iso"), {"positive": 1.0}),
        Group(("ch_gnd",), {"ground": 1.0}),
        Group(("ch_sense",), {"sense": 1.0}),
        Group(("ch_excite",), {"excite": 1.0}),
        Group(("ch_batt",), {"battery": 1.0}),
        Group(("ch_loadbig",), {"load": 1.0}),
        Group(("ch_gauge",), {"gauge": 1.0}),
        Group(("ch_other",), {}),
    ),
    channels=(
        Channel("posts", "battery_voltage", _RUNS, 0.06, 0.004, 5.0, ("cht_volts", "cht_over"),
                0.01, "posts", at_speed=True),
        Channel("output", "charge_current", (*_RUNS, ""), 2.5, 0.03, 200.0, ("cht_load",), 0.07,
                "output", at_speed=True),
        _drop("drop_positive", "charge_drop_positive", "cht_posdrop"),
        _drop("drop_ground", "charge_drop_ground", "cht_gnddrop"),
        Channel("battery_amps", "charge_battery_current", ("running", ""), 3.0, 0.05, 150.0, (),
                0.1),
        Channel("sense", "charge_sense_offset", ("running", "idle", ""), 0.05, 0.02, 5.0,
                ("cht_sensev",), 0.06),
        Channel("excite", "charge_excite_voltage", ("running", "idle", ""), 0.45, 0.02, 13.0,
                ("cht_excite",)),
        Channel("ripple", "charge_ripple", ("running", ""), 0.03, 0.05, 3.0, ("cht_ripple",), 0.1),
        Channel("back", "alternator_back_current", _OFF, 0.012, 0.03, 5.0, ("cht_keyoff",), 0.05),
        Channel("slip", "charge_belt_slip", ("running", ""), 1.5, 0.02, 100.0, (), 0.05),
        Channel("gauge", "charge_gauge_difference", ("running", "idle", ""), 0.13, 0.02, 5.0,
                ("cht_compare",)),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType(
        {"alternator": "%", "belt": "% slip", "load": "A more", "positive": "mohm",
         "ground": "mohm"}
    ),
    alike=(
        frozenset({"alternator", "belt"}),
        frozenset({"alternator", "excite"}),
        frozenset({"alternator", "diode"}),
        frozenset({"positive", "ground"}),
        frozenset({"over", "sense"}),
        frozenset({"alternator", "belt", "excite"}),
        frozenset({"alternator", "belt", "diode", "excite"}),
        frozenset({"battery", "load"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({"idle": 680.0, "running": 1500.0, "": 1500.0}),
    first_look="cht_lookbelt",
)  # fmt: skip
