"""The starting circuit as a network: battery, joints, a motor with its load.

Ohm's and Kirchhoff's laws; the motor is linear (volts of its own in proportion to speed, current
in proportion to torque), its load a dry part and one in proportion to speed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["cranking"]

Floats = npt.NDArray[np.float64]


def cranking(
    volts: Floats, series: Floats, brush: Floats, back: Floats, dry: Floats, slope: Floats
) -> tuple[Floats, Floats]:
    """Return current [A] and engine speed [r/min] while the starter is on.

    E - brush = I R + k n and I = I_dry + b n; where the current does not overcome the dry part,
    nothing turns and I = (E - brush) / R.

    Args:
        volts: open-circuit volts of the battery [V].
        series: all resistance in series: battery, cables, joints, contacts, windings [ohm].
        brush: volts that brushes take whatever the current [V].
        back: volts the motor makes for each r/min of the engine [V min].
        dry: current that the dry part of the load takes [A].
        slope: current for each r/min [A min].
    """
    turning = (volts - brush + back / slope * dry) / (series + back / slope)
    locked = (volts - brush) / series
    turns = turning > dry
    current = np.where(turns, turning, locked)
    return current, np.where(turns, (turning - dry) / slope, 0.0)
