"""Edges of a wheel and a camshaft on an invented crankshaft, for the tests. Not a test itself."""

import numpy as np

from witnessmark.physics.vibration.twist.crank_torsion import (
    Chain,
    TorsionMode,
    firing_phases,
    forced,
)

FIRING = (1, 5, 3, 6, 2, 4)
ORDERS = np.arange(0.5, 12.01, 0.5)
#: Torque of a cylinder's moving masses at 2100 r/min, of sin(order x angle) [N m]; the sign is
#: worked out by hand in tests/physics/test_cylinder_balance.py.
MASSES = {1.0: 160.0, 2.0: -968.0, 3.0: -487.0, 4.0: -53.0}


def chain(damper, accessory=None):
    """Ten inertias and a ring as in the physics notes (assumed); *damper* in N m s/rad.

    *accessory* is (inertia [kg m2], its own frequency on a fixed nose [Hz], loss of its belt [-]).
    """
    inertia = (0.105, *(0.118,) * 6, 2.15, 0.55, 14.0, 0.26)
    stiff = (3.6e6, *(4.0e6,) * 5, 5.2e6, 2.2e4, 2.5e3)
    springs = tuple((i, i + 1, k) for i, k in enumerate(stiff))
    if accessory:
        inertia = (*inertia, accessory[0])
        belt = accessory[0] * (2 * np.pi * accessory[1]) ** 2
        springs = (*springs, (0, 11, belt))
        # The belt's loss as a dashpot with the same loss at its own frequency.
        if len(accessory) > 2:
            lost = (0, 11, accessory[2] * belt / (2 * np.pi * accessory[1]))
            return Chain(inertia, springs, ((0, 10, damper), lost), 40.0)
    return Chain(inertia, springs, ((0, 10, damper),), 40.0)


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


def sweep_edges(
    damper=278.0, *, seed=0, places=60, missing=(58, 59), seconds=25.0, low=800.0, high=2050.0,
    at="nose", timing=3e-6, weak=None, load=1.0, pattern=0.0, dead_centre=0.0,
    cam=False, accessory=None,
):  # fmt: skip
    """Return the times of the marks of a wheel over a sweep.

    The gas torque's harmonics at *load* (0 idle, 1 full) fall off as in the physics notes, the
    moving masses have their torque; *weak* is (cylinder, share of its heat that it lacks).
    *dead_centre* [rad] is where cylinder 1 fires on the wheel's count.
    """
    from witnessmark.physics.vibration.twist.cylinder_balance import gas_harmonics

    rng = np.random.default_rng(seed)
    gas = gas_harmonics(ORDERS, load=load)
    share = np.ones(6) + 0.02 * rng.standard_normal(6)
    lack = np.zeros((6, len(ORDERS)), complex)
    if weak:
        lack[weak[0] - 1] = weak[1] * (gas - gas_harmonics(ORDERS, load=load, burning=0.0))
    phases = firing_phases(FIRING)
    speeds = np.linspace(low, high, 60) if high > low else np.array([low, low + 1.0])
    twist = np.zeros((len(speeds), len(ORDERS)), complex)
    node = 0 if at == "nose" else 7
    for column, k in enumerate(ORDERS):
        pull = np.zeros((len(speeds), 12 if accessory else 11), complex)
        mass = -1j * MASSES.get(k, 0.0) * (speeds[:, None] / 2100.0) ** 2
        each = gas[column] * share - lack[:, column] + mass
        pull[:, 1:7] = each * np.exp(-1j * k * (phases + dead_centre))
        whole = forced(chain(damper, accessory), k * speeds / 60.0, pull)
        twist[:, column] = whole[:, node]
    t = np.arange(0, seconds, 2e-4)
    rpm = low + (high - low) * t / seconds
    turn = np.concatenate([[0], np.cumsum((rpm[1:] + rpm[:-1]) / 2 * 2e-4 / 60)])
    angle = 2 * np.pi * turn
    wave = np.zeros_like(angle)
    for column, k in enumerate(ORDERS):
        a = np.interp(rpm, speeds, twist[:, column].real) + 1j * np.interp(
            rpm, speeds, twist[:, column].imag
        )
        wave += np.real(a * np.exp(1j * k * angle))
    shaft = np.maximum.accumulate(angle + wave)
    number = np.arange(int(shaft[-1] / (2 * np.pi) * places))
    on = number % places
    error = np.zeros(places)
    if pattern:
        error = pattern * np.random.default_rng(99).standard_normal(places)
    keep = ~np.isin(on, missing)
    where = (2 * np.pi * number / places + error[on])[keep]
    inside = (where > shaft[10]) & (where < shaft[-1])
    times = np.interp(where[inside], shaft, t)
    edges = np.sort(times + timing * rng.standard_normal(len(times)))
    if not cam:
        return edges
    # One camshaft mark a cycle, half a radian before the wheel's own zero.
    return edges, np.interp(np.arange(4 * np.pi - 0.5, shaft[-1], 4 * np.pi), shaft, t)
