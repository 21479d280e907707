"""A second crank for the damper and cylinder studies: bars with their own inertia, exact in order.

Not the equations of ``witnessmark.physics`` (lumped inertias, one dashpot) nor of ``crank_truth``
(webs and pins): every piece of shaft is a uniform torsion bar with distributed inertia (spectral
elements, K = k x/sin x [[cos x, -1], [-1, cos x]], x = w sqrt(J/k)), the silicone is a Maxwell
fluid, belts hang on the nose as branches with a complex stiffness k (1 + i loss), the gas torque
comes from a cycle with two-stage combustion and blow-by. Figures are assumed, drawn anew for every
engine. It imports nothing of the product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FIRING = (1, 5, 3, 6, 2, 4)
ORDERS = np.arange(0.5, 12.01, 0.5)
#: What is left of the healthy coupling.
STATES = {"healthy": 1.0, "tenth": 0.1, "empty": 0.01, "tenfold": 10.0, "seized": 1e3}
DEAD = ("tenth", "empty", "tenfold", "seized")


@dataclass
class Branch:
    """A belt drive on the nose: inertia [kg m2], its own frequency [Hz], loss of the belt [-]."""

    inertia: float
    hertz: float
    loss: float


@dataclass
class Crank:
    """One engine."""

    bars: list[tuple[float, float]]  # (stiffness, inertia) from node to node
    points: np.ndarray  # inertia at nodes: nose, six throws, flywheel, gearbox
    ring: float
    coupling: float
    relaxes: float
    steel: float
    bearing: float
    branches: list[Branch]
    gas: np.ndarray  # complex harmonics of one cylinder at full load [N m]
    mass: float
    weak: np.ndarray  # share of each cylinder's work that burns


def cycle(*, burn=1.0, boost=2.6, ratio=16.5, late=0.0, blow=0.0, orders=ORDERS):
    """Harmonics of one cylinder's gas torque [N m], dead centre of firing at 0.

    A zero-dimensional cycle in crank degrees, heat in two stages, a share *blow* of the charge lost
    on compression. 0.136 m bore, 0.162 m stroke, 0.26 m rod (assumed).
    """
    deg = np.arange(-360.0, 360.0, 0.5)
    th = np.radians(deg)
    r, rod, area = 0.081, 0.26, np.pi / 4 * 0.136**2
    x = r * (1 - np.cos(th)) + rod - np.sqrt(rod**2 - (r * np.sin(th)) ** 2)
    v = area * (x + 2 * r / (ratio - 1))
    s = np.clip((deg - late + 4) / 12, 0, None)
    m = np.clip((deg - late) / 55, 0, None)
    heat = 0.18 * (1 - np.exp(-5 * s**2)) + 0.82 * (1 - np.exp(-5 * m**1.6))
    total = burn * 10800.0 * (boost / 2.6)
    p = np.full(len(deg), boost * 1e5)
    for i in range(1, len(deg)):
        if not -150.0 < deg[i] < 135.0:
            p[i] = (boost if deg[i] < 0 else 1.15 * max(boost, 1.0)) * 1e5
            continue
        gamma = 1.36 if deg[i] < 5 else 1.29
        leak = 1.0 - blow * (v[-300] / v[i]) ** 0.3 * 0.5 / 150.0 if deg[i] < 40 else 1.0
        mean = 0.5 * (v[i] + v[i - 1])
        p[i] = p[i - 1] * leak * (v[i - 1] / v[i]) ** gamma
        p[i] += (gamma - 1) * total * (heat[i] - heat[i - 1]) / mean
    lever = r * np.sin(th) * (1 + r * np.cos(th) / np.sqrt(rod**2 - (r * np.sin(th)) ** 2))
    torque = (p - 1e5) * area * lever
    return np.array([2 * np.mean(torque * np.exp(-1j * k * th)) for k in orders])


def crank(rng, *, loss=None, branches=1, spread=1.0):
    """Draw an engine; *loss* of its belts, none drawn evenly from 0 to 0.35."""

    def ln(sd):
        return float(np.exp(sd * spread * rng.standard_normal()))

    stiff, heavy = ln(0.11), ln(0.08)
    bars = [(3.4e6 * stiff * ln(0.05), 0.012 * heavy)]
    bars += [(4.1e6 * stiff * ln(0.04), 0.055 * heavy) for _ in range(5)]
    bars += [(5.4e6 * stiff * ln(0.05), 0.03 * heavy), (2.3e4 * ln(0.3), 0.02)]
    points = np.array([0.095 * heavy, *(0.062 * heavy * ln(0.02) for _ in range(6)),
                       2.1 * ln(0.2), 0.9])  # fmt: skip
    made = [
        Branch(0.02 * ln(0.5), float(rng.uniform(90, 330)),
               float(rng.uniform(0, 0.35)) if loss is None else loss)
        for _ in range(branches)
    ]  # fmt: skip
    gas = cycle(boost=2.6 * ln(0.06), late=float(rng.normal(0, 1.5)))
    gas = gas * np.exp(0.05 * spread * rng.standard_normal(len(gas)))
    return Crank(bars, points, 0.26 * heavy * ln(0.1), 265.0 * ln(0.25),
                 float(rng.uniform(0.0, 4e-4)), 1 / (42 * ln(0.35)), 2.0 * ln(0.5), made, gas,
                 float(ln(0.08)), 1.0 + 0.03 * rng.standard_normal(6))  # fmt: skip


def twist(e, state, rpm, *, load=1.0, weak=None):
    """Twist at nose and flywheel, (2, len(rpm), len(ORDERS)) complex zero to peak [rad].

    *weak* is (cylinder, harmonics it makes instead).
    """
    nodes, rows = 9, len(rpm) * len(ORDERS)
    w = (2 * np.pi * np.asarray(rpm)[:, None] / 60 * ORDERS).reshape(rows)
    k = np.zeros((rows, nodes + 1, nodes + 1), complex)
    for i, (elastic, inertia) in enumerate(e.bars):
        # The clutch's springs rub; the rest is steel.
        stiff = elastic * (1 + 1j * (e.steel if i < len(e.bars) - 1 else 0.2))
        x = w * np.sqrt(inertia / stiff)
        own, over = stiff * x / np.tan(x), -stiff * x / np.sin(x)
        k[:, i, i] += own
        k[:, i + 1, i + 1] += own
        k[:, i, i + 1] += over
        k[:, i + 1, i] += over
    for i, inertia in enumerate(e.points):
        k[:, i, i] -= w**2 * inertia
    for i in range(1, 7):
        k[:, i, i] += 1j * w * e.bearing
    for b in e.branches:  # a branch seen from the nose: k(1+i loss) in series with its inertia
        spring = b.inertia * (2 * np.pi * b.hertz) ** 2 * (1 + 1j * b.loss)
        k[:, 0, 0] += spring * (-(w**2) * b.inertia) / (spring - w**2 * b.inertia)
    fluid = 1j * w * e.coupling * STATES[state] / (1 + 1j * w * e.relaxes)
    k[:, 0, 0] += fluid
    k[:, 0, nodes] -= fluid
    k[:, nodes, 0] -= fluid
    k[:, nodes, nodes] += fluid - w**2 * e.ring
    angle = np.zeros(6)
    for place, cylinder in enumerate(FIRING):
        angle[cylinder - 1] = 4 * np.pi * place / 6
    torque = np.zeros((len(rpm), len(ORDERS), nodes + 1), complex)
    base = e.gas if load >= 0.99 else e.gas * 0 + _part(load)
    for c in range(6):
        one = base * e.weak[c]
        if weak is not None and weak[0] == c + 1:
            one = weak[1]
        mass = np.zeros((len(rpm), len(ORDERS)), complex)
        # Of sin(order x angle), from -d/dangle of the masses' energy: only order 1 helps.
        for order, amount in ((1, 160), (2, -968), (3, -487), (4, -53)):
            column = int(2 * order) - 1
            mass[:, column] = -1j * amount * e.mass * (np.asarray(rpm) / 2100) ** 2
        torque[:, :, 1 + c] = (one + mass) * np.exp(-1j * ORDERS * angle[c])
    out = np.linalg.solve(k, torque.reshape(rows, nodes + 1, 1))[:, :, 0]
    out = out.reshape(len(rpm), len(ORDERS), nodes + 1)
    return np.stack([out[:, :, 0], out[:, :, 7]])


_CACHE: dict[float, np.ndarray] = {}


def _part(load):
    """Harmonics at part load: less boost, less heat."""
    key = round(float(load), 2)
    if key not in _CACHE:
        boost = 1.0 + 1.6 * key
        _CACHE[key] = cycle(boost=boost, burn=(0.07 + 0.93 * key) * 2.6 / boost)
    return _CACHE[key]


def measured(rng, values, places, noise, pattern=0.3 * np.pi / 180):
    """Add timing noise and the wheel's own uneven marks (whole orders, the same at any speed)."""
    size = values.shape
    out = values + noise * (rng.standard_normal(size) + 1j * rng.standard_normal(size))
    whole = np.abs(ORDERS - np.rint(ORDERS)) < 1e-9
    fixed = rng.standard_normal(len(ORDERS)) + 1j * rng.standard_normal(len(ORDERS))
    return out + np.where(whole, pattern / np.sqrt(places / 2) * fixed, 0.0)
