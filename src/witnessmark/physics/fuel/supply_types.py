"""Healthy fuel supply circuits: parameters with range and source, and types solved to fit.

A *type* is an engine type as built; a *unit* is one truck's own parts, a little off the type.
What the trade knows of a type are two pressures, idle and 1,500 r/min; the rest is drawn at
random within the ranges below and the return regulator and the relief valve are solved so that
the healthy type shows just these two. Three layouts are in use:

- ``relief_regulates``: a spring loaded return orifice at idle, the pump's relief valve above;
- ``relief_shut``: the same, relief valve a safety only; the return orifice sets both pressures;
- ``large_pump``: a pump of more than twice the flow, a return valve that opens in proportion,
  relief valve shut in health.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from witnessmark.physics.fuel.supply_circuit import (
    _RELIEF_WIDTH,
    ATMOSPHERE,
    L_PER_H,
    PSI,
    Circuit,
    consumption,
)

__all__ = ["LAYOUTS", "PARAMETERS", "Layout", "Parameter", "TypeValues", "nominal", "type_circuit"]

Floats = npt.NDArray[np.float64]
Layout = Literal["relief_regulates", "relief_shut", "large_pump"]
LAYOUTS: tuple[Layout, ...] = ("relief_regulates", "relief_shut", "large_pump")

_IDLE = {"relief_regulates": 650.0, "relief_shut": 650.0, "large_pump": 700.0}
_RATED = 1500.0
_MEMORY = "from memory, chosen"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of the model with what is assumed of it.

    Attributes:
        name: what it is.
        unit: unit of the figures.
        nominal: of the generic type.
        unit_spread: relative standard deviation from truck to truck of one type.
        type_range: over unknown types.
        fault_range: when the part is at fault.
        source: where the figures come from.
    """

    name: str
    unit: str
    nominal: float
    unit_spread: float
    type_range: str
    fault_range: str
    source: str


#: Every parameter. Figures tuned to two trade pressures, ``idle_psi`` and ``rated_psi``
#: (common practice, no source).
PARAMETERS: dict[str, Parameter] = {
    p.name: p
    for p in (
        Parameter("displacement", "L/h per r/min", 0.20, 0.02, "18 % (1 sd); large pump 0.48",
                  "-6 to -50 %", _MEMORY),
        Parameter("slip", "share of idle delivery", 0.10, 0.25, "0.04 to 0.16",
                  "times 2.5 to 12", _MEMORY),
        Parameter("relief_crack", "psi", 83.7, 0.025,
                  "solved from rated_psi, or 3 to 30 psi above it", "-8 to -45 %", _MEMORY),
        Parameter("relief_slope", "psi per 150 L/h", 16.5, 0.10, "8 to 25; large pump 4 to 10",
                  "-", _MEMORY),
        Parameter("relief_leak", "share of idle delivery", 0.0, 0.0, "-",
                  "0.08 to 0.60, one in ten up to 1.2", _MEMORY),
        Parameter("return_crack", "psi", 52.0, 0.025, "45 to 94 % of idle pressure",
                  "-5 to -40 psi", _MEMORY),
        Parameter("return_orifice", "L/h per sqrt(psi)", 23.8, 0.03,
                  "solved from idle_psi at 650 or 700 rpm", "-", _MEMORY),
        Parameter("return_leak", "share of idle conductance", 0.0, 0.0, "-",
                  "0.08 to 0.70, one in ten up to 2.0", _MEMORY),
        Parameter("filter_drop", "psi at rated pump flow, 85 % laminar", 3.8, 0.35, "1.5 to 6",
                  "times 4 to 40", _MEMORY),
        Parameter("suction_drop", "psi at rated pump flow, half laminar", 1.2, 0.35,
                  "0.4 to 2; large pump 1 to 3",
                  "times 4 to 40", _MEMORY),
        Parameter("lift", "psi", 0.4, 0.0, "held at 0.4", "-", _MEMORY),
        Parameter("air", "volume share", 0.002, 0.7, "-", "0.03 to 0.40", _MEMORY),
        Parameter("release", "-", 0.03, 0.0, "held at 0.03", "-",
                  "order of air dissolved in fuel (Henry's law); " + _MEMORY),
        Parameter("injector_leak", "share of idle conductance", 0.0, 0.0, "-",
                  "0.08 to 0.60, any share of it into the return", _MEMORY),
        Parameter("viscosity", "ratio to warm fuel", 1.0, 0.15, "0.74 to 1.35 (2 sd); cold 1.8",
                  "-", _MEMORY),
        Parameter("consumption", "ratio", 1.0, 0.0, "held at 1", "-", _MEMORY),
        Parameter("gauge_bias", "psi", 0.0, 1.6, "1 % of a 160 psi span",
                  "4 to 18 psi, 70 % of them reading low",
                  "accuracy classes of ASME B40.100 (from memory)"),
        Parameter("gauge_gain", "-", 0.0, 0.005, "-", "5 to 18 %", _MEMORY),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TypeValues:
    """What has to be known of a type before the rest can be solved; shape (n,) each.

    Attributes:
        layout: index into ``LAYOUTS``.
        displacement: pump delivery [L/h per r/min].
        slip_share: slip as a share of idle delivery [-].
        crack_share: return cracking pressure over idle pressure; used by ``relief_regulates``.
        relief_slope: override [psi per 150 L/h].
        relief_margin: cracking pressure above the rated pressure where the valve is shut [psi].
        filter_drop: at rated pump flow [psi].
        suction_drop: at rated pump flow [psi].
        idle_psi: healthy gallery pressure at idle [psi].
        rated_psi: healthy gallery pressure at 1,500 r/min, no load [psi].
    """

    layout: npt.NDArray[np.intp]
    displacement: Floats
    slip_share: Floats
    crack_share: Floats
    relief_slope: Floats
    relief_margin: Floats
    filter_drop: Floats
    suction_drop: Floats
    idle_psi: Floats
    rated_psi: Floats


def nominal(layout: Layout = "relief_regulates") -> TypeValues:
    """Return the generic type of a layout (one circuit)."""
    large = layout == "large_pump"

    def one(value: float) -> Floats:
        return np.array([value])

    return TypeValues(
        layout=np.array([LAYOUTS.index(layout)], dtype=np.intp),
        displacement=one(0.4815 if large else 0.20),
        slip_share=one(0.10),
        crack_share=one(52.0 / 75.0),
        relief_slope=one(6.0 if large else 16.5),
        relief_margin=one(17.0 if large else 15.0),
        filter_drop=one(3.5 if large else 3.8),
        suction_drop=one(2.4 if large else 1.2),
        idle_psi=one(76.0 if large else 75.0),
        rated_psi=one(95.0),
    )


def type_circuit(t: TypeValues) -> Circuit:
    """Return the healthy circuits of these types: two pressures given, two valves solved.

    A type whose pump is too small for its relief valve to regulate gets a relief flow of at
    least 2 % of the delivery, so its rated pressure falls a little short; where the relief valve
    would stand open at idle, its override is made steeper than asked for.
    """
    idle = np.array([_IDLE[name] for name in LAYOUTS])[t.layout]
    d = t.displacement * L_PER_H
    rated_flow = d * _RATED
    filter_, suction = t.filter_drop * PSI, t.suction_drop * PSI
    rf, kf = 0.85 * filter_ / rated_flow, 0.15 * filter_ / rated_flow**2
    rs, ks = 0.5 * suction / rated_flow, 0.5 * suction / rated_flow**2
    lift = np.full_like(d, PARAMETERS["lift"].nominal * PSI)
    air = np.full_like(d, PARAMETERS["air"].nominal)
    release = np.full_like(d, PARAMETERS["release"].nominal)
    gain = 150.0 * L_PER_H / (t.relief_slope * PSI)
    p1, p2 = t.idle_psi * PSI, t.rated_psi * PSI
    c1 = np.array([consumption(float(n), 0.0) for n in _IDLE.values()])[t.layout]
    c2 = np.full_like(d, consumption(_RATED, 0.0))

    def fill(out: Floats) -> Floats:
        inlet = ATMOSPHERE - lift - (rs + ks * out) * out
        return np.asarray(inlet / (inlet + air * ATMOSPHERE + release * (ATMOSPHERE - inlet)))

    slip = t.slip_share * d * idle / p1
    relief_1 = np.zeros_like(d)
    out_1, out_2 = d * idle * 0.9, rated_flow * 0.5
    regulates = t.layout == 0
    orifice = np.zeros_like(d)
    linear = np.zeros_like(d)
    crack = t.crack_share * p1
    relief_crack = np.full_like(d, 200.0 * PSI)
    for _ in range(12):
        po_1 = p1 + (rf + kf * out_1) * out_1
        out_1 = np.maximum(d * idle * fill(out_1) - slip * po_1 - relief_1, 1.2 * c1)
        back_1 = out_1 - c1
        # without help of the relief valve the return takes everything at 1,500
        po_2 = p2 + (rf + kf * out_2) * out_2
        alone = rated_flow * fill(out_2) - slip * po_2
        back_2 = np.maximum(alone - c2, 1.05 * back_1)
        ratio = (back_2 / back_1) ** 2
        crack_root = (ratio * p1 - p2) / (ratio - 1.0)
        crack_line = p1 - (p2 - p1) * back_1 / (back_2 - back_1)
        crack = np.where(
            regulates, t.crack_share * p1, np.where(t.layout == 1, crack_root, crack_line)
        )
        crack = np.clip(crack, 0.0, 0.985 * p1)
        x1 = p1 - crack
        orifice = np.where(t.layout == 2, 0.0, back_1 / np.sqrt(x1))
        linear = np.where(t.layout == 2, back_1 / x1, 0.0)
        out_2 = orifice * np.sqrt(p2 - crack) + linear * (p2 - crack) + c2
        po_2 = p2 + (rf + kf * out_2) * out_2
        spill = np.maximum(rated_flow * fill(out_2) - slip * po_2 - out_2, 0.02 * rated_flow)
        # a valve that would stand open at idle is not built: its override is made steeper
        gain = np.maximum(gain, np.where(regulates, spill / np.maximum(po_2 - po_1, PSI), 0.0))
        y = np.minimum(spill / gain / _RELIEF_WIDTH, 300.0)
        solved = po_2 - _RELIEF_WIDTH * (y + np.log(-np.expm1(-y)))
        relief_crack = np.where(regulates, solved, po_2 + t.relief_margin * PSI)
        z = np.clip((po_1 - relief_crack) / _RELIEF_WIDTH, -40.0, 40.0)
        relief_1 = 0.5 * relief_1 + 0.5 * gain * _RELIEF_WIDTH * np.log1p(np.exp(z))
    zero, one = np.zeros_like(d), np.ones_like(d)
    return Circuit(
        displacement=d, slip=slip, relief_crack=relief_crack, relief_gain=gain, relief_leak=zero,
        filter_laminar=rf, filter_turbulent=kf, suction_laminar=rs, suction_turbulent=ks,
        lift=lift, air=air, release=release, return_crack=crack, return_orifice=orifice,
        return_linear=linear, return_leak=zero, injector_leak=zero, leak_to_return=zero,
        consumption=one, viscosity=one, gauge_bias=zero, gauge_gain=zero,
    )  # fmt: skip
