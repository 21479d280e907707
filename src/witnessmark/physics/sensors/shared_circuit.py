"""What a shared ground, a shared 5 V reference and the unit's own converter do to every input.

A control unit reads the share q = V / V_ref of its converter's reference. With the disturbance d
as a share of the nominal reference:

- two-wire thermistor, pulled up inside the unit: q = r / (pull-up + r) of the pull-up's supply,
  down to the sensor ground;
- three-wire transducer: q = its output share, between the sensor ground and its 5 V supply;
- supply voltage: a divider inside the unit, between its own ground and the battery;
- inside: a sensor on the unit's own board, fed from its rail and ground.

==========  ===========================================  ==========  ==========  ======  ======
gives way   physics                                      thermistor  transducer  supply  inside
==========  ===========================================  ==========  ==========  ======  ======
ground      the sensor ground rises by d                 1 - q       1 - q       0       0
reference   5 V beyond the splice falls by d; pull-ups   0           -q          0       0
            and converter stay
rail        the unit's 5 V rail falls by d; its          -q          -q          0       -q
            converter keeps a reference of its own
converter   the converter's reference falls by d; rail   +q          +q          +q      +q
            and pull-ups stay
==========  ===========================================  ==========  ==========  ======  ======

The columns are the change of q for each d, to first order. Where the converter measures against
the same rail that sags, thermistors and transducers do not move at all: their sag cancels, and
only inputs with a supply of their own (the supply voltage) read higher. A sag of that kind cannot
be seen on the sensors.

Sources: the voltage divider and the definition of a ratiometric converter; which of the
references a unit uses is in its maker's papers, if anywhere.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["FAULTS", "Fault", "Input", "disturbed", "sensitivity"]

Floats = npt.NDArray[np.float64]
Fault = Literal["ground", "reference", "rail", "converter"]
Input = Literal["thermistor", "transducer", "supply", "inside"]

FAULTS: tuple[Fault, ...] = ("ground", "reference", "rail", "converter")


def disturbed(share: Floats | float, fault: Fault, depth: Floats | float, kind: Input) -> Floats:
    """Return the share of its reference that the unit reads, exactly.

    Args:
        share: share of the healthy input, 0 to 1.
        fault: what gives way.
        depth: by how much, as a share of the nominal reference, 0 to below 1.
        kind: what hangs on the input.
    """
    q, d = np.asarray(share, np.float64), np.asarray(depth, np.float64)
    if not _reaches(fault, kind):
        return q + 0.0 * d
    if fault == "ground":
        return d + (1.0 - d) * q
    return q / (1.0 - d) if fault == "converter" else (1.0 - d) * q


def sensitivity(share: Floats | float, fault: Fault, kind: Input) -> Floats:
    """Return d(share read) / d(depth) at a small depth; see the table of the module."""
    q = np.asarray(share, np.float64)
    if not _reaches(fault, kind):
        return 0.0 * q
    if fault == "ground":
        return 1.0 - q
    return q if fault == "converter" else -q


def _reaches(fault: Fault, kind: Input) -> bool:
    return (
        kind
        in {
            "ground": {"thermistor", "transducer"},
            "reference": {"transducer"},
            "rail": {"thermistor", "transducer", "inside"},
            "converter": {"thermistor", "transducer", "inside", "supply"},
        }[fault]
    )
