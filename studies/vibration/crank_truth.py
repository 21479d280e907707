"""The truth for the damper study: a crank that is not the model the product fits.

Differences on purpose from ``witnessmark.physics``: every throw is two webs and a pin on their own
springs, the damper's silicone thins with shear rate and has a storage part, an accessory drive
hangs on the nose as a lightly damped mode of its own, the losses are at bearings and in the steel,
the gas torque changes with speed. Amplitudes and numbers as in docs/damper.md (assumed).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

FIRING = (1, 5, 3, 6, 2, 4)
ORDERS = np.arange(0.5, 12.01, 0.5)
#: Gas torque harmonics of one cylinder at full load [N m] (shared physics notes, B, assumed there).
GAS = {
    0.5: 1050, 1: 1524, 1.5: 1320, 2: 1251, 2.5: 1032, 3: 872, 3.5: 720, 4: 595, 4.5: 490, 5: 390,
    5.5: 310, 6: 248, 6.5: 193, 7: 150, 7.5: 117, 8: 93, 8.5: 74, 9: 58, 9.5: 45, 10: 35, 10.5: 27,
    11: 21, 11.5: 16, 12: 12,
}  # fmt: skip
#: Slip of a healthy ring at full load [rad/s rms] at which the coupling is the one drawn.
SHEAR = 3.0
STATES = {
    "healthy": 1.0, "third": 1 / 3, "tenth": 0.1, "empty": 0.01, "triple": 3.0, "tenfold": 10.0,
    "seized": 1e3, "injector": 1.0,
}  # fmt: skip


@dataclass
class Engine:
    """One engine with its damper."""

    inertia: np.ndarray
    springs: list[tuple[int, int, float]]
    throws: list[int]
    ring: int
    front: int
    coupling: float
    storage: float
    rate: float
    loss: float
    bearing: float
    nose: int
    wheel: int
    gas_slope: float
    gas_phase: dict[float, float] = field(default_factory=dict)
    gas_scale: dict[float, float] = field(default_factory=dict)
    deviation: np.ndarray = field(default_factory=lambda: np.zeros(6))


def engine(rng, *, unknown=True, front=1.0):
    """Draw an engine: crank as webs and pins, damper of unknown strength."""
    wide = 1.0 if unknown else 0.0

    def ln(sd):
        return float(np.exp(sd * wide * rng.standard_normal()))

    stiff, mass = ln(0.12), ln(0.08)
    inertia = [0.105 * mass]  # 0 nose and housing
    springs = []
    throws = []
    last, first_spring = 0, 3.6e6 * stiff * ln(0.05)
    for throw in range(6):
        base = len(inertia)
        part = 0.118 * mass * ln(0.03)
        inertia += [0.3 * part, 0.4 * part, 0.3 * part]
        # journal to web, web to pin, pin to web; together about one throw's stiffness
        into = first_spring if throw == 0 else 4.0e6 * stiff * ln(0.04)
        springs += [
            (last, base, into * 1.9),
            (base, base + 1, into * 4.2),
            (base + 1, base + 2, into * 4.2),
        ]
        throws.append(base + 1)
        last = base + 2
    wheel = len(inertia)
    inertia.append(2.15 * ln(0.2))
    springs.append((last, wheel, 5.2e6 * stiff * ln(0.05)))
    inertia += [0.55, 14.0]
    springs += [(wheel, wheel + 1, 2.2e4 * ln(0.3)), (wheel + 1, wheel + 2, 2.5e3)]
    ring = len(inertia)
    inertia.append(0.26 * mass * ln(0.1))
    accessory = len(inertia)
    inertia.append(0.02 * ln(0.3))
    hertz = rng.uniform(90, 330)
    springs.append((0, accessory, front * inertia[-1] * (2 * np.pi * hertz) ** 2))
    # Mostly sine about dead centre (compression and expansion), a little late (combustion).
    late = 0.08 + 0.04 * wide * rng.standard_normal()
    phase = {
        k: -(0.9 if k < 1 else 1.35) - late * k + 0.1 * wide * rng.standard_normal() for k in ORDERS
    }
    scale = {k: ln(0.07) for k in ORDERS}
    return Engine(
        np.asarray(inertia), springs, throws, ring, accessory, 260.0 * ln(0.3),
        float(rng.uniform(0.0, 0.4)) * wide, float(np.exp(rng.uniform(np.log(20), np.log(200)))),
        1 / (40 * ln(0.35)), 2.0 * ln(0.5), 0, wheel, float(rng.uniform(-0.2, 0.1)), phase, scale,
        0.04 * rng.standard_normal(6),
    )  # fmt: skip


def response(e, state, rpm, *, load=1.0, warm=1.0):
    """Twist at the nose and at the flywheel, (2, len(rpm), len(ORDERS)) complex [rad]."""
    n = len(e.inertia)
    k = np.zeros((n, n))
    for i, j, s in e.springs:
        k[i, i] += s
        k[j, j] += s
        k[i, j] -= s
        k[j, i] -= s
    loss = np.full(n, 0.0)
    loss[e.throws] = e.bearing
    out = np.zeros((2, len(rpm), len(ORDERS)), complex)
    factor = STATES[state] / warm
    angles = np.zeros(6)
    for place, cylinder in enumerate(FIRING):
        angles[cylinder - 1] = 4 * np.pi * place / 6
    pull = np.zeros(n)
    pull[0], pull[e.ring] = 1.0, -1.0
    for row, speed in enumerate(rpm):
        torque = np.zeros((len(ORDERS), n), complex)
        for column, order in enumerate(ORDERS):
            share = load if order >= 3 else 0.5 + 0.5 * load
            gas = GAS[float(order)] * e.gas_scale[order] * (0.33 + 0.67 * share)
            gas *= 1 + e.gas_slope * (speed - 1400) / 700
            one = gas * np.exp(1j * e.gas_phase[order]) * (1 + e.deviation)
            torque[column, e.throws] = one * np.exp(-1j * order * angles)
            if order in (1, 2, 3, 4):  # reciprocating masses
                mass = {1: 160, 2: 968, 3: 487, 4: 53}[int(order)] * (speed / 2100) ** 2
                torque[column, e.throws] += -1j * mass * np.exp(-1j * order * angles)
        w = 2 * np.pi * ORDERS * speed / 60
        dynamic = np.zeros((len(ORDERS), n, n), complex)
        dynamic += k * (1 + 1j * e.loss)
        dynamic[:, range(n), range(n)] += 1j * w[:, None] * loss - (w**2)[:, None] * e.inertia
        # The damper couples two inertias only: solve once without it, add it by its one vector.
        right = np.stack([torque, np.broadcast_to(pull, torque.shape)], axis=2)
        free = np.linalg.solve(dynamic, right)
        bare, lever = free[:, :, 0], free[:, :, 1]
        shear, twist = SHEAR, bare
        for _ in range(8):
            thin = (1.0 + (SHEAR / e.rate) ** 0.7) / (1.0 + (shear / e.rate) ** 0.7)
            ring = e.coupling * factor * thin * w * (1j + e.storage)
            gain = ring / (1.0 + ring * (lever @ pull))
            twist = bare - gain[:, None] * (bare @ pull)[:, None] * lever
            slip = np.abs(w * (twist @ pull))[ORDERS >= 2]
            shear = 0.5 * shear + 0.5 * float(np.sqrt(np.sum(slip**2) / 2))
        out[0, row], out[1, row] = twist[:, e.nose], twist[:, e.wheel]
    return out


def measured(rng, twist, places, noise, pattern=0.3 * np.pi / 180):
    """Add the noise of the timing and the wheel's own pattern (integer orders, constant)."""
    out = twist + noise * (rng.standard_normal(twist.shape) + 1j * rng.standard_normal(twist.shape))
    whole = np.abs(ORDERS - np.rint(ORDERS)) < 1e-9
    fixed = (
        pattern
        / np.sqrt(places / 2)
        * (rng.standard_normal(len(ORDERS)) + 1j * rng.standard_normal(len(ORDERS)))
    )
    return out + np.where(whole, fixed, 0.0)
