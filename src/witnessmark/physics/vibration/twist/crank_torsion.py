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
    "critical_speeds",
    "firing_phases",
    "forced",
    "free_modes",
    "mode_damping",
    "phase_sum",
    "untuned_damper_optimum",
    "untuned_response",
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


def mode_damping(chain: Chain, *, near: float = 200.0) -> tuple[TorsionMode, ...]:
    """Return the damped modes: w_n = |s|, damping ratio -Re s / |s|, from the state matrix.

    A hysteretic loss (magnifier) is turned into the dashpots with the same loss at one frequency,
    so the result is good near that frequency only.

    Args:
        chain: the chain with its dashpots.
        near: frequency at which a hysteretic loss is matched [Hz].
    """
    j, c, k = chain.matrices()
    if chain.magnifier:
        c = c + k / (chain.magnifier * 2 * np.pi * near)
    n = len(chain.inertia)
    inverse = 1.0 / np.diag(j)[:, None]
    state = np.block([[np.zeros((n, n)), np.eye(n)], [-inverse * k, -inverse * c]])
    values, vectors = np.linalg.eig(state)
    modes = []
    for value, vector in zip(values, vectors.T, strict=True):
        if value.imag > 1e-3 * abs(value) and abs(value) > 1e-3:
            shape = vector[:n] / vector[0] if abs(vector[0]) > 0 else vector[:n]
            modes.append(
                TorsionMode(
                    float(abs(value) / (2 * np.pi)),
                    np.real(shape).astype(np.float64),
                    float(-value.real / abs(value)),
                )
            )
    return tuple(sorted(modes, key=lambda m: m.frequency))


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


def phase_sum(firing_order: Sequence[int], order: float, shape: Floats | None = None) -> complex:
    """Return the phase-vector sum of one order: sum_c shape_c exp(-i k a_c), a in crank angle.

    Args:
        firing_order: cylinder numbers, first to last.
        order: multiple of crankshaft speed [-].
        shape: weight of each cylinder [-], such as the mode shape at its throw; default 1.
    """
    angles = firing_phases(firing_order)
    weight = np.ones(len(angles)) if shape is None else np.asarray(shape, dtype=np.float64)
    return complex(np.sum(weight * np.exp(-1j * order * angles)))


def critical_speeds(frequency: float, orders: Sequence[float]) -> tuple[float, ...]:
    """Return the engine speeds at which the orders meet a mode [r/min]: 60 f / k.

    Args:
        frequency: of the mode [Hz].
        orders: multiples of crankshaft speed [-].
    """
    return tuple(60.0 * frequency / k for k in orders)


def untuned_damper_optimum(mu: float) -> tuple[float, float, float]:
    """Best untuned viscous damper on one inertia: damping, peak, and where the peak lies.

    zeta = c/(2 J1 wn) = mu / sqrt(2(1+mu)(2+mu)); peak |th k/T| = 1 + 2/mu at
    w/wn = sqrt(2/(2+mu)). (Referred to the ring, c/(2 Jd wn), it is 1/sqrt(2(1+mu)(2+mu)).)

    Args:
        mu: ring inertia over the inertia it damps [-], above 0.

    Source: Den Hartog, Mechanical Vibrations (formula; shared/checks T-unt-*).
    """
    zeta = mu / np.sqrt(2.0 * (1.0 + mu) * (2.0 + mu))
    return float(zeta), 1.0 + 2.0 / mu, float(np.sqrt(2.0 / (2.0 + mu)))


def untuned_response(mu: float, zeta: float, ratio: Floats) -> Floats:
    """Magnification |th k/T| of one inertia with an untuned viscous damper [-].

    Args:
        mu: ring inertia over main inertia [-].
        zeta: c/(2 J1 wn) [-].
        ratio: w/wn [-].
    """
    r = np.asarray(ratio, dtype=np.float64)
    drag = 2j * zeta * r
    # Eliminating the ring: it adds drag * (-mu r^2) / (-mu r^2 + drag) to the main inertia.
    ring = drag * (-mu * r**2) / (-mu * r**2 + drag)
    return np.asarray(np.abs(1.0 / (1.0 - r**2 + ring)))


def _coupling(n: int, links: Sequence[tuple[int, int, float]]) -> Floats:
    matrix = np.zeros((n, n))
    for i, j, value in links:
        matrix[i, i] += value
        if j >= 0:
            matrix[j, j] += value
            matrix[i, j] -= value
            matrix[j, i] -= value
    return matrix
