"""A switching Kalman filter for one slow quantity, many stretches of it at once.

State of a stretch: true reading T, its rate v (an Ornstein-Uhlenbeck process: a rate that wanders
about zero) and an offset b that the circuit adds. A *mode* says how lively v is, whether b is
there, and how noisy the sample is; a *hypothesis* is a set of modes and how often they change.
Modes are merged after every sample (interacting multiple model: Blom and Bar-Shalom 1988, IEEE
Trans. Automatic Control 33:780); mode probabilities are smoothed backwards by Kim's rule (Kim
1994, J. Econometrics 60:1). The log evidence of two hypotheses on the same data gives their Bayes
factor.

All amounts are in units of the quantity's own scale (1 degC for coolant), times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.physics.sensors.filter_lanes import Lanes, spacing_bin
from witnessmark.physics.sensors.filter_modes import (
    FilterMode,
    Hypothesis,
    Stretches,
    as_stretches,
)

__all__ = [
    "FilterMode",
    "Hypothesis",
    "Lanes",
    "Stretches",
    "Track",
    "as_stretches",
    "filter_stretches",
    "spacing_bin",
]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Track:
    """What a filter makes of the stretches under one hypothesis.

    Attributes:
        evidence: shape (rows, steps), log probability of each sample given those before it;
            zero where nothing counts.
        modes: shape (rows, steps, m), smoothed probability of each mode; ``None`` when not
            asked for.
        level: shape (rows, steps), filtered true reading, merged over the modes.
    """

    evidence: Floats
    modes: Floats | None
    level: Floats


def filter_stretches(data: Stretches, hypothesis: Hypothesis, *, smooth: bool = True) -> Track:
    """Run the filter of one hypothesis over all stretches.

    Args:
        data: the stretches.
        hypothesis: the modes.
        smooth: also work out the smoothed mode probabilities.
    """
    rows = np.arange(data.values.shape[0])
    lanes = Lanes(data, rows, np.zeros_like(rows), [hypothesis], smooth=smooth)
    modes = np.stack(lanes.modes(rows.tolist())) if smooth else None
    return Track(lanes.evidence, modes, lanes.level)
