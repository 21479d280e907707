"""What load and time explain of a temperature's course, channel by channel.

On an even grid of ten seconds a warm engine's temperature is taken apart by least squares,

    x(t) = level + sum_j b_j (load behind a first-order lag tau_j) + air(t) + p(t) + rest,

with lags of 10, 60 and 240 s and p a cubic in time, which holds what neither explains: the course
of the sensor, or a real slow change.

Validity: ten warm minutes or more in which the load changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.late import late
from witnessmark.model.recording import Floats

if TYPE_CHECKING:
    from scipy import signal
else:
    signal = late("scipy.signal")

__all__ = ["GRID_S", "Course", "course"]

GRID_S = 10.0
_LAGS_S = (10.0, 60.0, 240.0)


@dataclass(frozen=True, slots=True)
class Course:
    """A temperature taken apart.

    Attributes:
        level: its median [degC].
        change: what neither load nor air explains, from the first fifth to the last [degC].
        error: standard deviation of that [degC].
        quick: swing with the load within half a minute, from its 5 % to its 95 % point [degC].
        slow: the same behind minutes [degC].
        rest: standard deviation of what is left [degC].
    """

    level: float
    change: float
    error: float
    quick: float
    slow: float
    rest: float


def course(values: Floats, load: Floats, air: Floats | None = None) -> Course | None:
    """Take a temperature apart; ``None`` where there is too little.

    Args:
        values: shape (n,), warm, every ten seconds [degC].
        load: shape (n,), engine load over the same time [%].
        air: shape (n,), a temperature it stands upon by its whole course, such as the air outside
            for the air in the manifold [degC].
    """
    n = values.size
    if n < 60:
        return None
    base = values if air is None else values - air
    time = np.linspace(-1.0, 1.0, n)
    lagged = [_behind(load / 100.0, lag) for lag in _LAGS_S]
    if air is not None:
        # A charge cooler takes less of the heat the more air goes through it: the answer is bent.
        lagged.append(_behind((load / 100.0) ** 2, _LAGS_S[0]))
    columns = [np.ones(n), *lagged, time, time**2, time**3]
    basis = np.column_stack(columns)
    # A weak pull keeps each term of a size that is real.
    pull = np.array([0.0, *[1 / 40.0] * len(lagged), *[1 / 20.0] * 3])
    scale = 0.5
    gram = basis.T @ basis / scale**2 + np.diag(pull**2)
    weights = np.linalg.solve(gram, basis.T @ base / scale**2)
    left = base - basis @ weights
    rest = float(np.std(left))
    # Neighbours go together: the sum over n samples is known as one over fewer.
    along = float(left[1:] @ left[:-1] / max(float(left @ left), 1e-12))
    fewer = (1.0 + max(along, 0.0)) / max(1.0 - max(along, 0.0), 0.05)
    fifth = max(n // 5, 1)
    ends = np.zeros(basis.shape[1])
    ends[-3:] = basis[-fifth:, -3:].mean(axis=0) - basis[:fifth, -3:].mean(axis=0)
    spread = max(rest, 0.3)
    covariance = np.linalg.inv(basis.T @ basis / spread**2 + np.diag(pull**2))
    error = float(np.sqrt(ends @ covariance @ ends * fewer))
    parts = [
        np.percentile(basis[:, 1 + j] * weights[1 + j], [5.0, 95.0]) for j in range(len(_LAGS_S))
    ]
    signs = np.sign(weights[1:4])
    swing = [float((p[1] - p[0]) * s) for p, s in zip(parts, signs, strict=True)]
    return Course(
        float(np.median(values)), float(ends @ weights), error, swing[0], sum(swing[1:]), rest
    )


def _behind(values: Floats, lag: float) -> Floats:
    keep = float(np.exp(-GRID_S / lag))
    start = np.array([keep * float(np.mean(values[: max(int(lag / GRID_S), 1)]))])
    return np.asarray(signal.lfilter([1.0 - keep], [1.0, -keep], values, zi=start)[0])
