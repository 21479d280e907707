"""The simulator's own cooling system: one lump, a thermostat, a radiator and a sensor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.demo.machines.drive_cycle import STEP_S, DriveCycle

__all__ = ["Cooling", "coolant_temperature"]

Floats = npt.NDArray[np.float64]

#: Step of this slow model [s].
_STEP_S = 0.1


@dataclass(frozen=True, slots=True)
class Cooling:
    """A cooling system; the defaults are a healthy 9- to 15-litre engine (invented).

    Attributes:
        heat_capacity: fast mass of coolant and wetted iron [kJ/K].
        opens: thermostat begins to open [degC].
        open: thermostat is fully open [degC].
        lag_s: lag of the wax [s].
        sticks: width of the dead band of a sticking thermostat [K]; 0 for a free one.
        ambient: air outside [degC].
        start: temperature at the start [degC].
        sensor_lag_s: lag of the sensor in the flow [s].
    """

    heat_capacity: float = 320.0
    opens: float = 84.0
    open: float = 95.0
    lag_s: float = 12.0
    sticks: float = 0.0
    ambient: float = 20.0
    start: float = 86.0
    sensor_lag_s: float = 5.0


def coolant_temperature(cooling: Cooling, drive: DriveCycle) -> tuple[Floats, Floats]:
    """Return the true coolant temperature and what the sensor's tip has [degC], along a drive.

    ``C dT/dt = heat(rpm, load) - opening * UA(rpm, road) * (T - ambient) - small losses``. A
    sticking thermostat snaps: it opens fully at the top of its dead band and shuts at the bottom.
    """
    every = round(_STEP_S / STEP_S)
    rpm, load, road = drive.rpm[::every], drive.load[::every], drive.road[::every]
    heat = np.where(rpm < 200, 0.0, 8.0 + 150.0 * load * rpm / 1600 + 0.004 * rpm)  # kW
    conductance = 0.4 + 0.0016 * rpm + 0.09 * road  # kW/K of the radiator, fan and ram air
    true, tip = np.empty_like(heat), np.empty_like(heat)
    now = wax = sensed = cooling.start
    lift = float(np.clip((now - cooling.opens) / (cooling.open - cooling.opens), 0, 1))
    if cooling.sticks:
        lift = 0.0
    for k in range(heat.size):
        wax += (now - wax) * _STEP_S / cooling.lag_s
        if cooling.sticks:
            middle = 0.5 * (cooling.opens + cooling.open)
            if wax > middle + cooling.sticks / 2:
                lift = 0.35
            elif wax < middle - cooling.sticks / 2:
                lift = 0.0
        else:
            lift = min(1.0, max(0.0, (wax - cooling.opens) / (cooling.open - cooling.opens)))
        away = lift * conductance[k] * (now - cooling.ambient) + 0.03 * (now - cooling.ambient)
        now += (heat[k] - away) / cooling.heat_capacity * _STEP_S
        sensed += (now - sensed) * _STEP_S / cooling.sensor_lag_s
        true[k], tip[k] = now, sensed
    at = drive.time[::every]
    return np.interp(drive.time, at, true), np.interp(drive.time, at, tip)
