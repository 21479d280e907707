"""A truck at rest: what a current takes out of its batteries, and how a fuse shows it.

Rested volts follow the charge in a straight line between the trade's usual table (12.65 V full,
11.89 V empty, at 25 degC; common practice, no source).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["charge_left", "fuse_ohms", "peukert_hours", "rested_volts"]

Floats = npt.NDArray[np.float64]

_EMPTY, _SPAN = 11.89, 0.76


def rested_volts(charge: Floats) -> Floats:
    """Return the rested volts of a 12-volt bank [V].

    Args:
        charge: state of charge, 0 to 1 [-].
    """
    return np.asarray(_EMPTY + _SPAN * np.clip(charge, 0.0, 1.0))


def charge_left(charge: Floats, current: Floats, hours: Floats, capacity: Floats) -> Floats:
    """Return the state of charge after a steady current [-]: q - I t / C, not below nothing.

    Args:
        charge: at the beginning [-].
        current: drawn [A].
        hours: how long [h].
        capacity: of the bank, at such a small current [Ah].
    """
    return np.asarray(np.maximum(charge - current * hours / capacity, 0.0))


def peukert_hours(capacity: float, rated_hours: float, current: float, exponent: float) -> float:
    """Return how long a battery lasts [h]: t = H (C / (I H))^k (W. Peukert 1897).

    Args:
        capacity: at the rated discharge [Ah].
        rated_hours: of the rating, usually 20 [h].
        current: drawn [A].
        exponent: 1.1 to 1.3 of lead-acid batteries, from memory [-].
    """
    return float(rated_hours * (capacity / (current * rated_hours)) ** exponent)


def fuse_ohms(rating: Floats) -> Floats:
    """Return the cold resistance of a blade fuse [ohm]: it loses about 0.08 V at its rating.

    From memory of makers' tables (10 A: 7 to 8 mohm, 20 A: 3 to 4); the chart of the fuse's own
    kind comes first.

    Args:
        rating: rated current [A].
    """
    return np.asarray(0.08 / rating)
