"""What the practice trucks' gauges show and their recorders hold, by the simulator's own machines.

Each hidden cause stands for one setting of a machine; the settings are invented. A cause that no
machine can show (a sender that lies, a leak outside) leaves the machine healthy: gauges and
recordings are then in order, and the looks must find it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from witnessmark.demo.machines.demo_circuit import FuelFaults, fuel_point
from witnessmark.demo.machines.demo_recordings import (
    cycling_recording,
    fuel_recording,
    scene_recording,
)

__all__ = ["FUEL", "GROUND", "MACHINES", "STICKS", "PracticeMachine"]

#: Families whose trucks have gauges or a recorder.
MACHINES = ("fuel_low", "cool_unstable", "electrical", "overheat")
FUEL: Mapping[str, FuelFaults] = {
    "secondary_filter": FuelFaults(filter=26.0),
    "primary_filter": FuelFaults(suction=4.6),
    "suction_line": FuelFaults(suction=5.4),
    "tank_vent_fuel": FuelFaults(suction=4.9),
    "supply_restrict": FuelFaults(suction=4.2),
    "air_ingress": FuelFaults(air=0.30),
    "comb_gas_fuel": FuelFaults(air=0.26),
    "pump_relief": FuelFaults(relief_open=0.165),
    "gallery_leak": FuelFaults(relief_open=0.12),
    "pump_worn": FuelFaults(slip=7.0),
    "pump_drive": FuelFaults(slip=9.0),
    "return_regulator": FuelFaults(crack_psi=38.0),
}
#: A thermostat that snaps [K of dead band].
STICKS: Mapping[str, float] = {"ct_thermostat": 7.0, "oh_thermostat": 6.0}
#: A ground or wire that lifts what several sensors read [V].
GROUND: Mapping[str, float] = {
    "ct_shared": 0.23, "ct_splice": 0.20, "ct_connector": 0.17, "ct_chafe": 0.19,
    "el_ground": 0.24, "el_splice": 0.21, "el_term": 0.18, "el_chafe": 0.2,
}  # fmt: skip
#: Scatter of the practice gauges, a standard deviation in the unit shown.
_SCATTER = {"psi": 0.8, "inHg": 0.15, "gal/min": 0.02}
_QUANTITIES = {
    "fuel_gallery_pressure": "psi",
    "fuel_suction_vacuum": "inHg",
    "fuel_return_flow": "gal/min",
    "fuel_prefilter_pressure": "psi",
}


class PracticeMachine:
    """Answers for a truck whose fault is known to it alone."""

    def gauges(self, family: str) -> tuple[str, ...] | None:
        """Return the quantities that can be read; ``None``: no machine shows that family."""
        if family not in MACHINES:
            return None
        return tuple(_QUANTITIES) if family == MACHINES[0] else ()

    def reading(self, cause: str, quantity: str, rpm: float, load: float, seed: int) -> str | None:
        """Return what a gauge shows, with its unit; ``None``: there is no such gauge.

        Args:
            cause: what is wrong, empty once it was put right.
            quantity: quantity name.
            rpm: engine speed [r/min].
            load: 0 to 1.
            seed: of the gauge's scatter.
        """
        unit = _QUANTITIES.get(quantity)
        if unit is None:
            return None
        point = fuel_point(rpm, load, FUEL.get(cause, FuelFaults()))
        told = {
            "fuel_gallery_pressure": point.gallery_psi,
            "fuel_suction_vacuum": point.vacuum_inhg,
            "fuel_return_flow": point.return_gpm,
            "fuel_prefilter_pressure": point.gallery_psi + point.filter_drop_psi,
        }[quantity]
        chance = np.random.default_rng(seed)
        shown = max(0.0, told + _SCATTER[unit] * float(chance.standard_normal()))
        return f"{shown:.2f} {unit}" if unit == "gal/min" else f"{shown:.1f} {unit}"

    def recording(self, family: str, cause: str, seed: int) -> tuple[str, bytes] | None:
        """Return (file name, content) of a drive or a while at a scene, ``None``: no recorder.

        Args:
            family: of the complaint.
            cause: what is wrong, empty once it was put right.
            seed: of all its scatter.
        """
        name = f"practice-{seed % 100_000:05d}.candump.log.gz"
        if family == "fuel_low":
            return name, fuel_recording(seed, FUEL.get(cause, FuelFaults()))
        if family == "electrical" or cause in GROUND:
            return name, scene_recording(seed, lifted_volt=GROUND.get(cause, 0.0), minutes=12.0)
        if family in MACHINES:
            return name, cycling_recording(seed, sticks=STICKS.get(cause, 0.0), minutes=20.0)
        return None
