"""The air system: which side leaks or gives too little, as a circuit.

Wet tank, primary and secondary tank behind check valves, a trailer's tank. Every healthy size is
from memory, with its scatter; nothing was measured. The equations stand in
``physics.circuits.air_tanks``.
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
from witnessmark.physics.circuits.air_tanks import (
    ATMOSPHERE,
    REFERENCE,
    compressor_flow,
    fill_time,
    hole_conductance,
)

__all__ = ["CIRCUIT"]

PSI, LITRE = 6894.757, 1e-3
#: The pressure a minute begins at is not written, and a leaking truck has lost some before it: that
#: is in the share of the reading's error.
#: The leak somebody complains of: diameter [m], and its scatter (log). From memory.
_HOLE, _HOLE_SPREAD = 0.65e-3, 0.55
#: What a sound joint leaks beside it, and its scatter (log).
_SOUND, _SOUND_SPREAD = 0.06, 0.7
#: Pressure at the start of a leak-down: absolute, with its scatter [Pa].
_START, _START_SD = 133.0 * PSI, 5.0 * PSI
_AFTER_PEDAL = 8.0 * PSI
#: What leaves cools the tank: between isothermal (1) and adiabatic (1.4).
_COOLING, _COOLING_SPREAD = 1.2, 0.08
_SCATTER = 15
#: What a worn compressor lets back through rings and reeds beside what it does not take in.
_SLIP = 0.5 * hole_conductance(1.0e-3)
_SPOTS = (
    "primary", "primary_pedal", "secondary", "secondary_pedal", "trailer", "supply", "purge",
    "outlet_check", "service_check", "compressor", "passage", "governor", "gauge",
)  # fmt: skip
_LEAKS = _SPOTS[:9]
#: A hole of a valve seat against the leak of a joint, at fault and sound.
_SEAT = {"purge": (6.0, 0.15), "outlet_check": (1.3, 0.15), "service_check": (4.0, 0.15)}


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    volume = [
        21.0 * LITRE * np.exp(0.25 * z[:, 0]),
        39.0 * LITRE * np.exp(0.2 * z[:, 1]),
        39.0 * LITRE * np.exp(0.2 * z[:, 2]),
        50.0 * LITRE * np.exp(0.15 * z[:, 3]),
    ]
    swept = 3.1e-4 * np.exp(0.2 * z[:, 4])
    breathing = 0.8 + 0.04 * z[:, 5]
    clearance = 0.08 * np.exp(0.3 * z[:, 6])
    offset = 1.3 * PSI * z[:, 7]
    scale = 1.0 + 0.012 * z[:, 8]
    cut_out = (125.0 + 4.0 * z[:, 9]) * PSI
    span = (22.0 + 3.5 * z[:, 10]) * PSI
    passage = 1.7e9 * np.exp(0.5 * z[:, 11])
    cooling = _COOLING * np.exp(_COOLING_SPREAD * z[:, 12])
    start = _START + _START_SD * z[:, 13]
    fault = z[:, _SCATTER:]
    hole = {name: _holes(name, fault[:, n], bad[:, n]) for n, name in enumerate(_LEAKS)}
    worn = np.where(bad[:, 9], _share(fault[:, 9]), 1.0)
    back = np.where(bad[:, 9], _SLIP * np.exp(0.9 * z[:, 14]), 0.0)
    passage = passage * np.where(bad[:, 10], np.exp(4.1 + 0.6 * fault[:, 10]), 1.0)
    cut_out = cut_out + np.where(bad[:, 11], 27.0 * PSI * fault[:, 11], 0.0)
    offset = offset + np.where(bad[:, 12], 13.0 * PSI * fault[:, 12], 0.0)
    wet = hole["supply"] + hole["outlet_check"]
    low = cooling * REFERENCE

    def rates(pedal: bool) -> tuple[Floats, Floats, Floats]:
        one, two = hole["primary"], hole["secondary"]
        v_one, v_two = volume[1], volume[2]
        if pedal:
            one, two = one + hole["primary_pedal"], two + hole["secondary_pedal"]
            v_one, v_two = v_one + 4.1 * LITRE, v_two + 2.1 * LITRE
        parts = (
            wet / volume[0],
            (wet + one) / (volume[0] + v_one),
            (wet + two) / (volume[0] + v_two),
            (wet + one + two) / (volume[0] + v_one + v_two),
        )
        # the wet tank feeds whichever service tank is lower: it falls with the fastest company
        fast = np.maximum.reduce(parts)
        return fast, np.minimum(np.maximum(one / v_one, _joined(one / v_one, fast)), fast), (
            np.minimum(np.maximum(two / v_two, _joined(two / v_two, fast)), fast)
        )  # fmt: skip

    def lost(rate: Floats, seconds: float, pressure: Floats) -> Floats:
        return np.asarray(pressure * (1.0 - np.exp(-low * rate * seconds)) * scale)

    def given(pressure: Floats, rpm: float) -> Floats:
        flow = np.zeros(len(z))
        for _ in range(4):
            head = pressure + passage * flow**2
            fresh = worn * compressor_flow(swept * rpm / 60.0, breathing, clearance, head)
            fresh = np.maximum(fresh - (hole["purge"] + back) * head, 0.0)
            flow = 0.5 * (flow + fresh)
        return flow

    def build(rpm: float) -> Floats:
        leaks = wet - hole["outlet_check"] + hole["primary"] + hole["secondary"]
        shown = [((needle * PSI - offset) / scale) + ATMOSPHERE for needle in (85.0, 92.5, 100.0)]
        net = tuple(given(p, rpm) - leaks * p for p in shown)
        whole = volume[0] + volume[1] + volume[2]
        time = fill_time(whole, 0.0, 15.0 * PSI, (net[0], net[1], net[2]))
        return np.asarray(time / scale / 1.1)

    released = pedalled = None
    found = []
    for o in observed:
        key = o.channel.key
        if key.startswith("build"):
            found.append(build(o.rpm))
            continue
        if key == "cut_out":
            found.append(cut_out * scale + offset)
            continue
        if key == "cut_in":
            found.append((cut_out - span) * scale + offset)
            continue
        if key == "gauge":
            found.append(offset + (scale - 1.0) * 100.0 * PSI)
            continue
        released = released or rates(False)
        if key in {"released", "primary_released", "secondary_released"}:
            found.append(lost(_of(released, key), 60.0, start))
        elif key in {"applied", "primary_applied", "secondary_applied"}:
            pedalled = pedalled or rates(True)
            found.append(lost(_of(pedalled, key), 60.0, start - _AFTER_PEDAL))
        elif key == "wet":
            found.append(lost(released[0], 60.0, start))
        elif key == "hooked":
            # the trailer hangs on the service tanks; an emptying wet tank takes nothing from it
            own = hole["primary"] + hole["secondary"] + hole["trailer"]
            service = volume[1] + volume[2] + volume[3]
            joined = np.minimum(own / service, (own + wet) / (service + volume[0]))
            found.append(lost(np.maximum.reduce([joined, released[1], released[2]]), 60.0, start))
        elif key == "wet_empty":
            sides = [hole["primary"] / volume[1], hole["secondary"] / volume[2]]
            seat = hole["service_check"] / np.minimum(volume[1], volume[2])
            found.append(lost(np.maximum(*sides) + seat, 120.0, start))
        elif key == "volume":
            found.append((volume[0] + volume[1] + volume[2]) / LITRE)
        else:  # purge interval
            out, again = cut_out + ATMOSPHERE, cut_out - span + ATMOSPHERE
            fall = np.log(out / again) / np.maximum(low * released[0], 1e-6)
            whole = volume[0] + volume[1] + volume[2]
            rise = whole * span / REFERENCE / np.maximum(given(0.5 * (out + again), 700.0), 1e-5)
            found.append(np.minimum(fall, 6000.0) + np.minimum(rise, 900.0))
    return np.column_stack(found)


def _joined(own: Floats, fast: Floats) -> Floats:
    """Return how fast a service tank falls that is the wet tank's company, else its own."""
    return np.where(own >= fast, fast, own)


def _of(rates: tuple[Floats, Floats, Floats], key: str) -> Floats:
    _, one, two = rates
    if key.startswith("primary"):
        return one
    return two if key.startswith("secondary") else np.maximum(one, two)


def _holes(name: str, z: Floats, bad: Bools) -> Floats:
    fault, sound = _SEAT.get(name, (1.0, 1.0))
    middle = hole_conductance(_HOLE)
    size = np.exp(2.0 * _HOLE_SPREAD * z)
    return np.asarray(
        middle * np.where(bad, fault * size, sound * _SOUND * np.exp(_SOUND_SPREAD * z))
    )


def _share(z: Floats) -> Floats:
    """Return what a worn compressor still gives, 0.05 to 0.95 and mostly about a half."""
    return np.asarray(0.05 + 0.9 / (1.0 + np.exp(-0.8 * z)))


def _size(z: Floats, spot: str) -> Floats:
    """Return how big a fault is: a hole's diameter [mm], what is left of the delivery [%]."""
    if spot in _LEAKS:
        fault, _ = _SEAT.get(spot, (1.0, 1.0))
        return np.asarray(_HOLE * 1e3 * np.sqrt(fault * np.exp(2.0 * _HOLE_SPREAD * z)))
    if spot == "compressor":
        return 100.0 * _share(z)
    return (27.0 if spot == "governor" else 13.0) * z


_OFF = ("off", "key_on")
_LOSS = {"noise": 0.8 * PSI, "share": 0.07, "wide": 40.0 * PSI, "shape": 0.1}


def _loss(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(
        key, quantity, (*_OFF, ""), _LOSS["noise"], _LOSS["share"], _LOSS["wide"], uses,
        _LOSS["shape"], "loss",
    )  # fmt: skip


CIRCUIT = Circuit(
    id="air",
    code="air_system_model",
    spots=tuple(Spot(s, s != "gauge") for s in _SPOTS),
    groups=(
        Group(("as_comp", "as_inlet"), {"compressor": 1.0}),
        Group(("as_disc", "as_cart", "as_ice"), {"passage": 1.0}),
        Group(("as_purge",), {"purge": 1.0}),
        Group(("as_dcheck",), {"outlet_check": 1.0}),
        Group(("as_check",), {"service_check": 1.0}),
        Group(
            ("as_line", "as_acc"),
            {"primary": 0.28, "secondary": 0.28, "primary_pedal": 0.1, "secondary_pedal": 0.08,
             "supply": 0.26},
        ),
        Group(
            ("as_valve", "as_chamber"),
            {"primary": 0.25, "secondary": 0.2, "primary_pedal": 0.33, "secondary_pedal": 0.22},
        ),
        Group(("as_parkv",), {"primary": 0.5, "secondary": 0.5}),
        Group(("as_trail",), {"trailer": 1.0}),
        Group(("as_gov",), {"governor": 0.75, "supply": 0.25}),
        Group(("as_gauge",), {"gauge": 1.0}),
        Group(("as_other",), {}),
    ),
    channels=(
        _loss("released", "air_loss_released", "a_static"),
        _loss("applied", "air_loss_applied", "a_applied"),
        _loss("primary_released", "air_loss_primary_released", "a_static"),
        _loss("secondary_released", "air_loss_secondary_released", "a_static"),
        _loss("primary_applied", "air_loss_primary_applied", "a_applied"),
        _loss("secondary_applied", "air_loss_secondary_applied", "a_applied"),
        _loss("hooked", "air_loss_hooked", "a_split"),
        _loss("wet", "air_loss_wet_tank"),
        _loss("wet_empty", "air_loss_wet_tank_empty", "a_hold"),
        Channel("build", "air_build_time", ("idle", "running"), 1.5, 0.03, 200.0, ("a_build",),
                0.12, "build", at_speed=True),
        Channel("cut_out", "air_cut_out_pressure", (), 1.5 * PSI, 0.0, 60.0 * PSI, ("a_cut",)),
        Channel("cut_in", "air_cut_in_pressure", (), 1.5 * PSI, 0.0, 60.0 * PSI, ("a_cut",)),
        Channel("purge", "air_purge_interval", (), 4.0, 0.04, 1500.0, ("a_count",), 0.15, "purge"),
        Channel("gauge", "air_gauge_difference", (), 1.2 * PSI, 0.0, 40.0 * PSI, ("a_gauge",)),
        Channel("volume", "air_tank_volume", (), 1.5, 0.02, 100.0),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType(
        {**dict.fromkeys(_LEAKS, "mm"), "compressor": "%", "governor": "psi", "gauge": "psi"}
    ),
    alike=(
        frozenset({"compressor", "passage"}),
        frozenset({"compressor", "purge"}),
        frozenset({"compressor", "passage", "purge"}),
        frozenset({"primary", "primary_pedal"}),
        frozenset({"secondary", "secondary_pedal"}),
        frozenset({"supply", "outlet_check"}),
        frozenset({"primary", "secondary"}),
        frozenset({"primary_pedal", "secondary_pedal"}),
        frozenset({"primary", "secondary", "supply"}),
    ),
    never_alone=MappingProxyType({"purge": "compressor"}),
    default_rpm=MappingProxyType({"idle": 680.0, "running": 1900.0}),
    first_look="a_walk",
)  # fmt: skip
