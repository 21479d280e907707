"""The simulator's own fuel supply: pump, relief, filter, gallery, regulator. US units inside.

Balance at one engine speed: theoretical delivery times fill, minus slip, minus what the relief
spills, equals what the injectors take plus what the regulator returns. Constants are invented
(a generic 15-litre engine); a truck of the demo has a regulator opening of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["FuelFaults", "FuelPoint", "fuel_point", "gallery_curve"]

Floats = npt.NDArray[np.float64]

_DISPLACED = 0.00212  # gal/min per r/min
_SLIP = 0.0017  # gal/min per psi
_CRACK_PSI, _PSI_PER_GPM = 60.0, 12.0
_FILTER = 0.33  # psi per (gal/min)^2, clean
_SUCTION = (1.2, 0.15)  # inHg per gal/min, per (gal/min)^2, clean
_STARVED_FROM_INHG, _STARVED_SLOPE = 9.5, 0.035
_NO_LOAD_GPM, _FULL_LOAD_GPM = 0.03, 0.30


@dataclass(frozen=True, slots=True)
class FuelFaults:
    """What is wrong; the defaults are health.

    Attributes:
        relief_open: leak of a relief held off its seat [gal/min per root psi].
        suction: factor on the resistance of the suction side.
        air: share of the pump's stroke that is air.
        slip: factor on the pump's slip.
        crack_psi: opening pressure of the return regulator.
        filter: factor on the resistance of the filter before the gallery.
    """

    relief_open: float = 0.0
    suction: float = 1.0
    air: float = 0.0
    slip: float = 1.0
    crack_psi: float = _CRACK_PSI
    filter: float = 1.0


@dataclass(frozen=True, slots=True)
class FuelPoint:
    """The circuit at one point: gallery and filter [psi], vacuum [inHg], return [gal/min]."""

    gallery_psi: float
    filter_drop_psi: float
    vacuum_inhg: float
    return_gpm: float


def fuel_point(rpm: float, load: float, faults: FuelFaults | None = None) -> FuelPoint:
    """Solve the circuit at *rpm* [r/min] and *load* 0..1 by bisection on the gallery pressure."""
    faults = faults or FuelFaults()
    burnt = _NO_LOAD_GPM * rpm / 1500 + _FULL_LOAD_GPM * load * rpm / 1800
    low, high = 0.0, 180.0
    for _ in range(36):
        middle = 0.5 * (low + high)
        if _net(rpm, middle, faults) - burnt > _returned(middle, faults):
            low = middle
        else:
            high = middle
    flow = max(0.0, _net(rpm, low, faults))
    return FuelPoint(
        low,
        _FILTER * faults.filter * flow**2,
        _vacuum(flow, faults),
        _returned(low, faults),
    )


def gallery_curve(rpm: Floats, load: Floats, faults: FuelFaults | None = None) -> Floats:
    """Return the gallery pressure [psi] along a drive, off a table of solved points."""
    speeds, loads = np.linspace(500, 2300, 25), np.linspace(0, 1, 6)
    table = np.array([[fuel_point(s, q, faults).gallery_psi for q in loads] for s in speeds])
    columns = [np.interp(rpm, speeds, table[:, k]) for k in range(loads.size)]
    place = np.clip(load, 0, 1) * (loads.size - 1)
    left = np.minimum(place.astype(np.intp), loads.size - 2)
    stacked, rows = np.stack(columns), np.arange(rpm.size)
    share = place - left
    values = (1 - share) * stacked[left, rows] + share * stacked[left + 1, rows]
    return np.asarray(np.where(rpm < 200, 0.0, values), dtype=np.float64)


def _net(rpm: float, gallery: float, faults: FuelFaults) -> float:
    """Return what leaves the pump for the filter [gal/min]; starving is solved for by iteration."""
    theoretical, flow = _DISPLACED * rpm, _DISPLACED * rpm
    for _ in range(24):
        starved = _STARVED_SLOPE * max(0.0, _vacuum(flow, faults) - _STARVED_FROM_INHG)
        fill = max(0.05, 1.0 - faults.air - starved)
        outlet = gallery + _FILTER * faults.filter * max(0.0, flow) ** 2
        spilled = faults.relief_open * outlet**0.5
        new = max(0.0, theoretical * fill - _SLIP * faults.slip * outlet - spilled)
        if abs(new - flow) < 1e-7:
            break
        flow = 0.5 * (flow + new)
    return flow


def _returned(gallery: float, faults: FuelFaults) -> float:
    return max(0.0, gallery - faults.crack_psi) / _PSI_PER_GPM


def _vacuum(flow: float, faults: FuelFaults) -> float:
    flow = max(0.0, flow)
    return faults.suction * (_SUCTION[0] * flow + _SUCTION[1] * flow**2)
