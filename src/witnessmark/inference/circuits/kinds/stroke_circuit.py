"""The push rod's stroke of one wheel against its mate: clearance, what gives, what arrives.

Readings are of the worse wheel of one axle and of its mate, at 90 psi in the tanks unless the
quantity says otherwise. The limit of a chamber is the law's and stands in the inspection's list;
here it is asked why a stroke is what it is. Healthy sizes are of a drum brake with clamp-type
chambers, from memory, with their scatter; nothing was measured. The equations stand in
``physics.circuits.push_rod``.
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
from witnessmark.physics.circuits.push_rod import FULL, effective_area, stroke_at

__all__ = ["CIRCUIT"]

INCH = 0.0254
_SPOTS = ("misadjusted", "adjuster", "foundation", "seized", "pressure", "arm", "chamber")
_SCATTER = 9
#: Way until the linings touch, and what the parts give at 90 psi [m].
_FREE, _GIVES, _BEND = 0.5 * INCH, 1.05 * INCH, 0.62
_RING, _ARM = 8.09 * INCH, 6.0 * INCH
_LIGHT = FULL / 3.0
_LONGER, _LONGER_SPREAD = 1.0, 0.35
_SOFTER, _SOFTER_SPREAD = 0.8 * INCH, 0.4


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]
    is_bad = {name: bad[:, n] for n, name in enumerate(_SPOTS)}
    own = {name: fault[:, n] for n, name in enumerate(_SPOTS)}
    gives = _GIVES * np.exp(0.2 * z[:, 0])
    bend = _BEND * np.exp(0.15 * z[:, 1])
    mate_free = _FREE * np.exp(0.15 * z[:, 2])
    right_free = _FREE * np.exp(0.15 * z[:, 3])
    mate = stroke_at(np.full(len(z), FULL), mate_free, gives * np.exp(0.04 * z[:, 4]), bend,
                     np.ones(len(z)), np.ones(len(z)))  # fmt: skip
    seized = np.where(is_bad["seized"], 0.35 / (1.0 + np.exp(-1.5 * own["seized"])), 1.0)
    free = right_free * seized
    longer = 1.0 + _LONGER * np.exp(_LONGER_SPREAD * own["misadjusted"])
    left = 1.0 + _LONGER * np.exp(_LONGER_SPREAD * own["adjuster"])
    free = free * np.where(is_bad["misadjusted"], longer, 1.0)
    free = free * np.where(is_bad["adjuster"], left, 1.0)
    # after it was set and trodden ten times: a good adjuster keeps it, a bad one lets go again
    kept = right_free * seized * np.where(is_bad["adjuster"], left * (0.88 + 0.07 * z[:, 5]), 1.0)
    held = np.where(is_bad["seized"], 0.72 * np.exp(0.15 * z[:, 6]), 1.0)
    own_gives = gives * held
    soft = np.where(is_bad["foundation"], _SOFTER * np.exp(_SOFTER_SPREAD * own["foundation"]), 0.0)
    lost = np.where(is_bad["pressure"], _arriving(own["pressure"]), 1.0)
    arm = 1.0 + np.where(is_bad["arm"], 0.8 * INCH * own["arm"], 0.0) / _ARM
    arm = np.maximum(arm, 0.3)
    ring = np.where(is_bad["chamber"], 1.1 * INCH * own["chamber"], 0.0)
    area = effective_area(_RING + ring) / effective_area(np.asarray(_RING))

    def at(pressure: float, way: Floats) -> Floats:
        # worn bushings are taken up by half the light pressure already
        taken = soft * min(1.0, 0.55 + 0.45 * pressure / FULL)
        return stroke_at(pressure * lost, way + taken, own_gives, bend, area, arm)

    shown = {
        "applied": at(FULL, free),
        "mate": mate,
        "free": arm * free,
        "light": at(_LIGHT, free),
        "set": at(FULL, kept),
        "arrives": FULL * lost,
        "arm": (arm - 1.0) * _ARM,
        "ring": ring,
    }
    return np.column_stack([shown[o.channel.key] for o in observed])


def _arriving(z: Floats) -> Floats:
    """Return the share of the pressure that still arrives at the chamber [-]."""
    return np.asarray(0.15 + 0.7 / (1.0 + np.exp(-1.3 * z)))


def _size(z: Floats, spot: str) -> Floats:
    """Return how far worn parts give [in], the clearance against a right one, pressure left [%]."""
    if spot == "foundation":
        return _SOFTER / INCH * np.exp(_SOFTER_SPREAD * z)
    if spot == "pressure":
        return 100.0 * _arriving(z)
    return 1.0 + _LONGER * np.exp(_LONGER_SPREAD * z)


_STANDS = ("off", "key_on", "")


def _rule(key: str, quantity: str, *uses: str) -> Channel:
    return Channel(key, quantity, _STANDS, INCH / 22.0, 0.01, 2.0 * INCH, uses, 0.04, "rod")


CIRCUIT = Circuit(
    id="stroke",
    code="brake_stroke_model",
    spots=tuple(Spot(s) for s in _SPOTS),
    groups=(
        Group(("br_adj",), {"misadjusted": 0.86, "arm": 0.07, "chamber": 0.07}),
        Group(("br_slack",), {"adjuster": 0.93, "arm": 0.07}),
        Group(("br_cam", "br_drum"), {"foundation": 1.0}),
        Group(("br_seized", "br_frozen"), {"seized": 1.0}),
        Group(("br_hose", "br_relvalve", "br_foot"), {"pressure": 1.0}),
        Group(
            ("br_lining", "br_oil", "br_spring", "br_trailer", "br_use", "br_air", "br_other"), {}
        ),
    ),
    channels=(
        _rule("applied", "stroke_applied", "r_stroke"),
        _rule("mate", "stroke_applied_mate"),
        _rule("free", "stroke_free"),
        _rule("light", "stroke_light"),
        _rule("set", "stroke_after_setting", "r_adj"),
        Channel("arrives", "chamber_pressure_applied", _STANDS, 2.0 * 6894.757, 0.01,
                90.0 * 6894.757, ("r_air2",), 0.01),
        Channel("arm", "slack_arm_difference", _STANDS, INCH / 16.0, 0.02, 4.0 * INCH),
        Channel("ring", "chamber_ring_difference", _STANDS, INCH / 16.0, 0.02, 4.0 * INCH),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType(
        {"foundation": "in", "pressure": "%", "misadjusted": "clearance", "adjuster": "clearance"}
    ),
    alike=(
        frozenset({"misadjusted", "adjuster"}),
        frozenset({"seized", "pressure"}),
        frozenset({"misadjusted", "adjuster", "foundation"}),
        frozenset({"seized", "pressure", "chamber"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({}),
    first_look="r_drumout",
)  # fmt: skip
