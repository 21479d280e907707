"""Which cylinder gives more or less than the others, from the low orders of the crank's speed.

An even six has no orders below 3 in its gas torque; what is there is the difference between
cylinders. With delta_j the share by which cylinder j differs,

    y_k = sum_j M_kj exp(-i k phi_j) (1 + delta_j),   k = 0.5, 1, 1.5, 2, 2.5,   sum_j delta_j = 0.

M_kj is what the whole of cylinder j would do: the gas torque's harmonic (``gas_harmonics``) on a
generic crank that twists (at the nose a far cylinder works through the whole crank), scaled so that
order 3 of all cylinders together is the one measured.
Without a phase reference the answer is known only up to which cylinder is meant.

Validity: even firing, below the twist mode, engine free or in a gear whose own modes lie away from
the orders used; generic combustion, so figures are good to about a third of their value
(studies/vibration).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.twist.crank_torsion import Chain, firing_phases, forced
from witnessmark.physics.vibration.twist.tooth_timing import Torsion

__all__ = ["Balance", "balance", "gas_harmonics", "low_orders"]

Complex = npt.NDArray[np.complex128]

ORDERS = (0.5, 1.0, 1.5, 2.0, 2.5)
_WHOLE = (1.0, 2.0)
#: Heat of one cylinder's cycle at full load [J], so that 2.5 L do the indicated work of a six with
#: 2500 N m at the flywheel (5.2 kJ, and friction); and the part of it that idling takes (from
#: memory: about 1 bar of mean pressure).
_HEAT, _IDLE = 9.6e3, 0.07
#: Uneven marks of a usual wheel, one component of an integer order times the root of the number of
#: marks [rad]: 0.3 degrees a mark (a real wheel with a gap shows 0.27, PROVENANCE.md).
_PATTERN = 0.3 * np.pi / 180


#: Below this the engine is cranked [r/min]; spread allowed for a cylinder's difference [-].
CRANKING_BELOW = 400.0
_WIDE = 1.0
#: Sound cylinders differ by this part of their whole gas torque (judgement; a compression test of a
#: sound engine spreads by a few per cent).
_NATURAL = 0.03


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
        shortfall: by how much the weakest gives less than the mean of the others [-].
        misfit: squared misfit left, in units of its doubt [-].
    """

    deviation: Floats
    error: Floats
    named: bool
    weakest: int
    margin: float
    explained: float
    shortfall: float
    misfit: float = 0.0


def gas_harmonics(
    orders: Sequence[float],
    *,
    load: float = 1.0,
    bore: float = 0.137,
    stroke: float = 0.169,
    rod: float = 0.262,
    compression: float = 17.0,
    burning: float = 1.0,
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
        burning: share of the heat that is released; 0 for a cylinder that is only turned over [-].
    """
    n = 2880
    theta = np.arange(n) * 4 * np.pi / n - 2 * np.pi  # firing dead centre in the middle
    crank = stroke / 2
    root = np.sqrt(rod**2 - (crank * np.sin(theta)) ** 2)
    travel = crank + rod - crank * np.cos(theta) - root
    area = np.pi / 4 * bore**2
    volume = area * (stroke / (compression - 1) + travel)
    inlet = 1.0e5 * (1.0 + 2.0 * load)
    heat = _HEAT * (_IDLE + (1 - _IDLE) * load) * (bore**2 * stroke) / (0.137**2 * 0.169)
    heat *= burning
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


def low_orders(torsion: Torsion, near: float, *, width: float = 50.0) -> tuple[Complex, Floats]:
    """Return the amplitudes of ``ORDERS`` and 3 at one speed with their errors.

    A wheel whose marks are unevenly spaced shows the same false twist at every speed, in integer
    orders only; so orders 1 and 2 are trusted less, by what a usual wheel shows.

    Args:
        torsion: orders of the recording.
        near: speed wanted [r/min].
        width: windows whose speed lies in this range around it are averaged [r/min].

    Returns:
        Six amplitudes [rad] and the standard deviation of a component of each [rad].

    Raises:
        ValueError: no window at that speed.
    """
    here = np.abs(torsion.rpm - near) <= width / 2
    if not here.any():
        raise ValueError("no window at that speed")
    noise = float(np.median(torsion.error[here]) / np.sqrt(np.count_nonzero(here)))
    pattern = _PATTERN / np.sqrt(torsion.places)
    values = [complex(torsion.order(order)[here].mean()) for order in (*ORDERS, 3.0)]
    errors = [float(np.hypot(noise, pattern)) if k in _WHOLE else noise for k in (*ORDERS, 3.0)]
    return np.asarray(values), np.asarray(errors)


#: Generic crank of a large six (shared physics notes, B, assumed there): nose, six throws and
#: flywheel [kg m2], the damper's ring, and the springs between them [N m/rad].
_CRANK = Chain(
    (0.105, *(0.118,) * 6, 2.15, 0.26),
    (*((i, i + 1, k) for i, k in enumerate((3.6e6, *(4.0e6,) * 5, 5.2e6))),),
    ((0, 8, 270.0),),
    40.0,
)


def _levers(orders: Sequence[float], rpm: float, place: str) -> Complex:
    """Twist at the wheel for a unit torque on each throw, shape (orders, 6) [rad/(N m)]."""
    node = 0 if place == "nose" else 7
    frequency = np.asarray(orders) * rpm / 60.0
    rows = []
    for throw in range(1, 7):
        torque = np.zeros(9, complex)
        torque[throw] = 1.0
        rows.append(forced(_CRANK, frequency, torque)[:, node])
    return np.asarray(rows).T


def balance(
    low: Complex,
    third: complex,
    rpm: float,
    error: float | Floats,
    firing_order: Sequence[int],
    *,
    load: float,
    dead_centre: float | None = None,
    place: Literal["nose", "flywheel"] = "flywheel",
    part: Literal["combustion", "compression"] = "combustion",
) -> Balance:
    """Return the differences between cylinders.

    Args:
        low: shape (5,), complex amplitudes of ``ORDERS`` at one speed and load [rad].
        third: complex amplitude of order 3 of the same [rad].
        rpm: engine speed [r/min].
        error: standard deviation of one component of an amplitude, one for all or for each of
            ``ORDERS`` [rad].
        firing_order: cylinder numbers, first to last; six cylinders.
        load: 0..1, as far as known.
        dead_centre: crank angle (over 720 degrees) of cylinder 1's firing dead centre on the
            marks' own count [rad], good to 40 degrees or better; ``None`` when not known.
        place: where on the crankshaft the wheel sits.
        part: what a weak cylinder is taken to lack: the work of its combustion, or its compression
            (and with it the same part of its combustion).
    """
    cylinders = len(firing_order)
    if cylinders != 6:
        raise ValueError("cylinder balance is worked out for even-firing six-cylinder engines")
    gas = gas_harmonics((*ORDERS, 3.0), load=load)
    squeezed = gas_harmonics((*ORDERS, 3.0), load=load, burning=0.0)
    lost = squeezed if part == "compression" else gas - squeezed
    if part == "compression":
        # Nothing burns while it is cranked; else what is lost on compression burns less as well.
        gas = squeezed if rpm < CRANKING_BELOW else gas
        lost = squeezed if rpm < CRANKING_BELOW else gas
    # Reciprocating masses take from order 3, 487 N m a cylinder at 2100 r/min (shared physics
    # notes): pressure drives the crank past dead centre while the masses still hold it back.
    third_torque = gas[-1] + 1j * 487.0 * (rpm / 2100.0) ** 2
    orders = np.asarray(ORDERS)
    lever = _levers((*ORDERS, 3.0), rpm, place)
    phases = firing_phases(firing_order)
    in_line = 4 * np.pi * np.arange(cylinders) / cylinders
    whole = third_torque * np.sum(lever[-1] * np.exp(-3j * phases))
    # The marks' count is turned by the unknown dead centre: order 3 fixes it but for the choice
    # between the cylinders, and the reference makes that choice.
    turned = -np.angle(third / whole) / 3.0
    steps = turned + 2 * np.pi / 3 * np.arange(6)
    if dead_centre is not None:
        away = np.angle(np.exp(0.5j * (steps - dead_centre)))
        centre = float(steps[int(np.argmin(np.abs(away)))])
    else:
        centre = float(steps[0])
    scale = abs(third) / abs(whole)
    each = scale * lost[:-1, None] * lever[:-1]
    # Even cylinders do not cancel out where they work through springs of different length.
    turn = np.exp(-1j * orders[:, None] * (phases + centre))
    even = np.sum(scale * gas[:-1, None] * lever[:-1] * turn, axis=1)
    if dead_centre is None:
        # Which throw a place in the firing order belongs to is not known: the mean of all.
        each = np.repeat(each.mean(axis=1, keepdims=True), cylinders, axis=1)
        turn = np.exp(-1j * orders[:, None] * (in_line + centre))
        even = np.zeros_like(even)
    design = each * turn
    unit = each.mean(axis=1)
    # Orders 0.5 and 1 also shake the driveline: trusted less.
    doubt = np.array([0.5, 0.35, 0.25, 0.25, 0.25]) * np.abs(unit) * 0.3
    sigma = np.sqrt(np.asarray(error) ** 2 + doubt**2 + (0.3 * np.abs(even)) ** 2)
    low = low - even
    a = np.vstack([design.real / sigma[:, None], design.imag / sigma[:, None]])
    y = np.concatenate([low.real / sigma, low.imag / sigma])
    tie = np.full((1, cylinders), 1e4)
    prior = np.eye(cylinders) / _WIDE
    whole = np.vstack([a, tie, prior])
    right = np.concatenate([y, np.zeros(1 + cylinders)])
    gram = whole.T @ whole
    deviation = np.linalg.solve(gram, whole.T @ right)
    left = y - a @ deviation
    spread = max(1.0, float(left @ left) / 5.0)
    # Sound cylinders squeeze and burn a little differently; beside a small combustion that is much.
    natural = _NATURAL * float(np.median(np.abs(gas[:-1]) / np.abs(lost[:-1])))
    variance = np.diag(np.linalg.inv(gram)) * spread + natural**2
    order = np.argsort(deviation)
    worst = float(deviation[order[0]])
    return Balance(
        np.asarray(deviation),
        np.sqrt(variance),
        dead_centre is not None,
        int(order[0]) + 1,
        float(deviation[order[1]] - deviation[order[0]]),
        float(1.0 - left @ left / max(float(y @ y), 1e-30)),
        float(1.0 - (1.0 + worst) / max(1.0 - worst / (cylinders - 1), 0.1)),
        float(left @ left),
    )
