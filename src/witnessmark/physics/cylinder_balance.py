"""Which cylinder gives more or less than the others, from the low orders of the crank's speed.

An even six has no orders below 3 in its gas torque; what is there is the difference between
cylinders. With delta_j the share by which cylinder j differs,

    y_k = M_k sum_j exp(-i k phi_j) delta_j,   k = 0.5, 1, 1.5, 2, 2.5,   sum_j delta_j = 0.

M_k is what one whole cylinder would do: the gas torque's harmonic (``gas_harmonics``) over the
crank as one rigid body, scaled so that order 3 of all cylinders together is the one measured.
Without a phase reference the answer is known only up to which cylinder is meant.

Validity: even firing, below the twist mode, engine free or in a gear whose own modes lie away from
the orders used; generic combustion, so figures are good to about a third of their value
(studies/vibration).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.physics.crank_torsion import firing_phases

__all__ = ["Balance", "balance", "gas_harmonics"]

Complex = npt.NDArray[np.complex128]

ORDERS = (0.5, 1.0, 1.5, 2.0, 2.5)


@dataclass(frozen=True, slots=True)
class Balance:
    """Differences between cylinders.

    Attributes:
        deviation: shape (cylinders,), share above (+) or below (-) the mean [-]; by cylinder
            number with a reference, by place in the firing order from an arbitrary start without.
        error: standard deviation of each [-].
        named: the deviations stand under their cylinder's number.
        weakest: number (from 1) of the weakest cylinder or place.
        margin: by how much the weakest is below the next weakest [-].
        explained: part of the low orders' energy that the deviations explain [-].
    """

    deviation: Floats
    error: Floats
    named: bool
    weakest: int
    margin: float
    explained: float


def gas_harmonics(
    orders: Sequence[float],
    *,
    load: float = 1.0,
    bore: float = 0.137,
    stroke: float = 0.169,
    rod: float = 0.262,
    compression: float = 17.0,
) -> Complex:
    """Return the gas torque's harmonics of one cylinder, firing dead centre at angle 0 [N m].

    Torque = Re sum_k G_k exp(i k theta). Single zone: compression and expansion with exponents
    1.37 and 1.30, heat released by one Wiebe function from 5 degrees before dead centre over 50
    degrees.

    Args:
        orders: multiples of crank speed, multiples of 0.5 [-].
        load: 0 (idle, just carrying friction) to 1 (full).
        bore: [m].
        stroke: [m].
        rod: connecting rod length [m].
        compression: ratio [-].
    """
    n = 2880
    theta = np.arange(n) * 4 * np.pi / n - 2 * np.pi  # firing dead centre in the middle
    crank = stroke / 2
    root = np.sqrt(rod**2 - (crank * np.sin(theta)) ** 2)
    travel = crank + rod - crank * np.cos(theta) - root
    area = np.pi / 4 * bore**2
    volume = area * (stroke / (compression - 1) + travel)
    inlet = 1.0e5 * (1.0 + 2.0 * load)
    heat = 3.8e3 * (0.12 + 0.88 * load) * (bore**2 * stroke) / (0.137**2 * 0.169)
    progress = np.clip((theta + np.radians(5)) / np.radians(50), 0, None)
    burnt = 1.0 - np.exp(-6.9 * progress**1.8)
    pressure = np.full(n, inlet)
    closed = (theta > -np.pi) & (theta < np.radians(140))
    first = int(np.argmax(closed))
    for i in range(first + 1, n):
        if not closed[i]:
            break
        gamma = 1.37 if theta[i] < 0 else 1.30
        dv, dq = volume[i] - volume[i - 1], heat * (burnt[i] - burnt[i - 1])
        mean_v = 0.5 * (volume[i] + volume[i - 1])
        pressure[i] = (
            pressure[i - 1] * (1 - gamma * dv / (2 * mean_v)) + (gamma - 1) * dq / mean_v
        ) / (1 + gamma * dv / (2 * mean_v))
    slope = crank * np.sin(theta) + crank**2 * np.sin(theta) * np.cos(theta) / root
    torque = (pressure - 1.0e5) * area * slope
    spectrum = np.fft.fft(np.roll(torque, -n // 2)) * 2 / n
    return np.asarray([spectrum[round(2 * k)] for k in orders])


def balance(
    low: Complex,
    third: complex,
    rpm: float,
    error: float,
    firing_order: Sequence[int],
    *,
    load: float,
    dead_centre: float | None = None,
) -> Balance:
    """Return the differences between cylinders.

    Args:
        low: shape (5,), complex amplitudes of ``ORDERS`` at one speed and load [rad].
        third: complex amplitude of order 3 of the same [rad].
        rpm: engine speed [r/min].
        error: standard deviation of one component of an amplitude [rad].
        firing_order: cylinder numbers, first to last; six cylinders.
        load: 0..1, as far as known.
        dead_centre: crank angle (over 720 degrees) of cylinder 1's firing dead centre on the
            marks' own count [rad], good to 40 degrees or better; ``None`` when not known.
    """
    cylinders = len(firing_order)
    if cylinders != 6:
        raise ValueError("cylinder balance is worked out for even-firing six-cylinder engines")
    gas = gas_harmonics((*ORDERS, 3.0), load=load)
    # Reciprocating masses add to order 3: 487 N m a cylinder at 2100 r/min (shared physics notes).
    third_torque = gas[-1] - 1j * 487.0 * (rpm / 2100.0) ** 2
    orders = np.asarray(ORDERS)
    # The marks' count is turned by the unknown dead centre: order 3 fixes it but for the choice
    # between the cylinders, and the reference makes that choice.
    turned = -np.angle(third / -third_torque) / 3.0
    steps = turned + 2 * np.pi / 3 * np.arange(6)
    if dead_centre is not None:
        away = np.angle(np.exp(0.5j * (steps - dead_centre)))
        centre = float(steps[int(np.argmin(np.abs(away)))])
    else:
        centre = float(steps[0])
    size = abs(third) * 9.0 / (6.0 * abs(third_torque))
    unit = -size * gas[:-1] / orders**2 * np.exp(-1j * orders * centre)
    if dead_centre is not None:
        phases = firing_phases(firing_order)
    else:
        phases = 4 * np.pi * np.arange(cylinders) / cylinders
    design = unit[:, None] * np.exp(-1j * orders[:, None] * phases)
    # Orders 0.5 and 1 also shake the driveline: trusted less.
    doubt = np.array([0.5, 0.35, 0.25, 0.25, 0.25]) * np.abs(unit) * 0.3
    sigma = np.sqrt(error**2 + doubt**2)
    a = np.vstack([design.real / sigma[:, None], design.imag / sigma[:, None]])
    y = np.concatenate([low.real / sigma, low.imag / sigma])
    tie = np.full((1, cylinders), 1e4)
    prior = np.eye(cylinders) / 0.5
    whole = np.vstack([a, tie, prior])
    right = np.concatenate([y, np.zeros(1 + cylinders)])
    gram = whole.T @ whole
    deviation = np.linalg.solve(gram, whole.T @ right)
    left = y - a @ deviation
    spread = max(1.0, float(left @ left) / 5.0)
    variance = np.diag(np.linalg.inv(gram)) * spread
    order = np.argsort(deviation)
    return Balance(
        np.asarray(deviation),
        np.sqrt(variance),
        dead_centre is not None,
        int(order[0]) + 1,
        float(deviation[order[1]] - deviation[order[0]]),
        float(1.0 - left @ left / max(float(y @ y), 1e-30)),
    )
