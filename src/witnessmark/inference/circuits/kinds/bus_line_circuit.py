"""The two wires of a data bus, as a meter sees them: terminators, opens, shorts, rotten joints.

Two terminators of 120 ohm (SAE J1939-11); every other size is from memory, with its scatter.
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
from witnessmark.physics.circuits.parallel_ohms import parallel

__all__ = ["CIRCUIT"]

_SPOTS = (
    "elsewhere", "one_open", "both_open", "third", "short_pair", "high_ground", "low_ground",
    "high_plus", "low_plus", "corroded",
)  # fmt: skip
_SCATTER = 9
_END, _OPEN = 120.0, 1e7


def _predict(z: Floats, bad: Bools, observed: Sequence[Observed]) -> Floats:
    fault = z[:, _SCATTER:]
    is_bad = {name: bad[:, n] for n, name in enumerate(_SPOTS)}
    touch = {name: 3.0 * np.exp(1.2 * fault[:, n]) for n, name in enumerate(_SPOTS)}
    rotten = 60.0 * np.exp(0.9 * fault[:, 9])
    units = 4000.0 * np.exp(0.5 * z[:, 0])
    first = np.where(is_bad["both_open"], _OPEN, _END * (1.0 + 0.012 * z[:, 1]))
    gone = is_bad["one_open"] | is_bad["both_open"]
    second = np.where(gone, _OPEN, _END * (1.0 + 0.012 * z[:, 2]) + 0.8)
    second = second + np.where(is_bad["corroded"], rotten, 0.0)
    third = np.where(is_bad["third"], _END, _OPEN)
    short = np.where(is_bad["short_pair"], touch["short_pair"], _OPEN)
    pair = parallel(first, second, third, units, short) + 0.4
    apart = 25e3 * np.exp(0.7 * z[:, 3])
    high = np.where(is_bad["high_ground"], touch["high_ground"], apart)
    low = np.where(is_bad["low_ground"], touch["low_ground"], apart)
    # with the batteries off a supply lies at ground through everything it feeds
    fed = 700.0 * np.exp(1.2 * z[:, 6])
    high = np.where(is_bad["high_plus"], parallel(high, fed + touch["high_plus"]), high)
    low = np.where(is_bad["low_plus"], parallel(low, fed + touch["low_plus"]), low)
    # a wire is grounded by itself, or over the pair and the other wire
    high, low = parallel(high, low + pair), parallel(low, high + pair)
    # behind an open line little of the traffic arrives, and the rest volts hang on fewer units
    lift = 0.22 * np.exp(0.35 * z[:, 4]) * np.where(gone, np.exp(-0.6 + 0.9 * z[:, 7]), 1.0)
    middle = 2.4 + 0.17 * z[:, 5] - np.where(gone, 0.1 + 0.15 * z[:, 8], 0.0)
    at_high, at_low = middle + lift, middle - lift
    both = is_bad["short_pair"]
    at_high, at_low = np.where(both, middle, at_high), np.where(both, middle, at_low)
    for name, own, volts in (("high_ground", True, 0.1), ("low_ground", False, 0.1),
                             ("high_plus", True, 12.2), ("low_plus", False, 12.2)):  # fmt: skip
        # what sends pulls the other wire off by what the ends and its own ohms let it
        pulled = 0.3 * np.exp(0.7 * z[:, 7])
        near, far = volts, volts + (pulled if volts < 1.0 else -4.0 * pulled)
        at_high = np.where(is_bad[name], near if own else far, at_high)
        at_low = np.where(is_bad[name], far if own else near, at_low)
    shown = {
        "pair": pair, "high_ground": high, "low_ground": low,
        "high_volts": at_high, "low_volts": at_low,
    }  # fmt: skip
    return np.column_stack([shown[o.channel.key] for o in observed])


def _size(z: Floats, spot: str) -> Floats:
    """Return how many ohms a rotten joint, or a touch, has [ohm]."""
    return 60.0 * np.exp(0.9 * z) if spot == "corroded" else 3.0 * np.exp(1.2 * z)


CIRCUIT = Circuit(
    id="bus_line",
    code="bus_line_model",
    spots=tuple(Spot(s, s != "elsewhere") for s in _SPOTS),
    groups=(
        Group(("bf_term",), {"one_open": 0.7, "third": 0.25, "both_open": 0.05}),
        Group(("bf_open",), {"one_open": 0.6, "both_open": 0.1, "corroded": 0.3}),
        Group(
            ("bf_short",),
            {"short_pair": 0.35, "high_ground": 0.2, "low_ground": 0.2, "high_plus": 0.125,
             "low_plus": 0.125},
        ),
        Group(
            ("bf_conn",),
            {"corroded": 0.35, "one_open": 0.2, "short_pair": 0.1, "high_ground": 0.05,
             "low_ground": 0.05, "elsewhere": 0.25},
        ),
        Group(("bf_added",), {"third": 0.3, "elsewhere": 0.7}),
        Group(
            ("bf_power", "bf_ground", "bf_module", "bf_gateway", "bf_lowv"), {"elsewhere": 1.0}
        ),
        Group(("bf_other",), {}),
    ),
    channels=(
        Channel("pair", "bus_resistance", (), 0.8, 0.01, 20000.0, ("bft_ohm",), 0.015),
        Channel("high_ground", "bus_high_to_ground", (), 0.8, 0.05, 5e4, ("bft_toground",), 0.25,
                "ground"),
        Channel("low_ground", "bus_low_to_ground", (), 0.8, 0.05, 5e4, ("bft_toground",), 0.25,
                "ground"),
        Channel("high_volts", "bus_high_voltage", (), 0.06, 0.01, 12.0, ("bft_volts",), 0.03),
        Channel("low_volts", "bus_low_voltage", (), 0.06, 0.01, 12.0, ("bft_volts",), 0.03),
    ),
    scatter=_SCATTER,
    predict=_predict,
    size=_size,
    size_unit=MappingProxyType({"corroded": "ohm"}),
    alike=(
        frozenset({"high_ground", "low_ground"}),
        frozenset({"high_plus", "low_plus"}),
        frozenset({"one_open", "corroded"}),
    ),
    never_alone=MappingProxyType({}),
    default_rpm=MappingProxyType({}),
    first_look="bft_looks",
    nothing=0.02,  # a sound line is "elsewhere" already
)  # fmt: skip
