"""Torsional vibration of a crankshaft as a chain of inertias and springs, with a viscous damper.

Equation of motion J th'' + C th' + K th = T(t); everything linear, so each order is one complex
linear system. Validity: twist only (no bending, no axial motion), constant inertia of the cranks
(the mean over a turn), clutch closed or open as the chain says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats

__all__ = [
    "Chain",
    "TorsionMode",
    "firing_phases",
    "forced",
    "free_modes",
]

Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Chain:
    """Inertias coupled by springs and dashpots, in a line or with branches and a gear.

    Attributes:
        inertia: shape (n,) [kg m2].
        springs: (i, j, stiffness [N m/rad]); a ratio of 1 only.
        dashpots: (i, j, coefficient [N m s/rad]); j = -1 for a dashpot to ground.
        magnifier: dynamic magnifier of the springs [-], loss factor 1/magnifier at the
            frequency looked at (hysteretic); 0: none.
    """

    inertia: tuple[float, ...]
    springs: tuple[tuple[int, int, float], ...]
    dashpots: tuple[tuple[int, int, float], ...] = ()
    magnifier: float = 0.0

    def matrices(self) -> tuple[Floats, Floats, Floats]:
        """Return J [kg m2], C [N m s/rad] and K [N m/rad], each (n, n)."""
        n = len(self.inertia)
        return (
            np.diag(np.asarray(self.inertia, dtype=np.float64)),
            _coupling(n, self.dashpots),
            _coupling(n, self.springs),
        )


@dataclass(frozen=True, slots=True)
class TorsionMode:
    """A free mode.

    Attributes:
        frequency: [Hz].
        shape: shape (n,), 1 at the first inertia where that moves.
        damping: damping ratio [-].
    """

    frequency: float
    shape: Floats
    damping: float = 0.0


def free_modes(chain: Chain) -> tuple[TorsionMode, ...]:
    """Return the undamped modes, lowest first; rigid rotation (0 Hz) is left out.

    Solves K x = w^2 J x.

    Args:
        chain: the chain; its damping is not used.
    """
    j, _, k = chain.matrices()
    root = 1.0 / np.sqrt(np.diag(j))
    values, vectors = np.linalg.eigh(root[:, None] * k * root[None, :])
    modes: list[TorsionMode] = []
    rigid = 1e-9 * float(values[-1])
    for value, vector in zip(values, vectors.T, strict=True):
        if value <= rigid:
            continue
        shape = root * vector
        lead = shape[0] if abs(shape[0]) > 1e-9 * np.max(np.abs(shape)) else np.max(np.abs(shape))
        modes.append(TorsionMode(float(np.sqrt(value) / (2 * np.pi)), shape / lead))
    return tuple(modes)


def forced(chain: Chain, frequency: Floats, torque: Complex) -> Complex:
    """Return the steady complex twist [rad] at every inertia, shape (m, n).

    (K(1 + i/M) + i w C - w^2 J) th = T.

    Args:
        chain: the chain.
        frequency: shape (m,) [Hz], above zero.
        torque: shape (m, n) or (n,), complex torque amplitudes [N m].
    """
    j, c, k = chain.matrices()
    w = 2 * np.pi * np.asarray(frequency, dtype=np.float64)[:, None, None]
    loss = 1.0 + (1j / chain.magnifier if chain.magnifier else 0.0)
    dynamic = k * loss + 1j * w * c - w**2 * j
    load = np.broadcast_to(torque, (len(w), len(chain.inertia)))
    return np.asarray(np.linalg.solve(dynamic, load[:, :, None])[:, :, 0])


def firing_phases(firing_order: Sequence[int]) -> Floats:
    """Return the firing angle of each cylinder over the 720 degree cycle [rad], by cylinder.

    Even firing: the m-th cylinder to fire stands at m 4 pi / cylinders.

    Args:
        firing_order: cylinder numbers, first to last.
    """
    n = len(firing_order)
    angles = np.zeros(n)
    for position, cylinder in enumerate(firing_order):
        angles[cylinder - 1] = 4.0 * np.pi * position / n
    return angles


def _coupling(n: int, links: Sequence[tuple[int, int, float]]) -> Floats:
    matrix = np.zeros((n, n))
    for i, j, value in links:
        matrix[i, i] += value
        if j >= 0:
            matrix[j, j] += value
            matrix[i, j] -= value
            matrix[j, i] -= value
    return matrix
