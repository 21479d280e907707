"""Torsion of the crankshaft: shared/checks section 4 (T-*), openTorsion, closed forms."""

import numpy as np
import opentorsion
import pytest

from analyses.crank_material import mode_damping
from witnessmark.physics.vibration.twist import crank_torsion as c

CRANK_J = (0.017, 0.009, 0.0467, 0.0327, 0.0467, 0.0467, 0.0327, 0.0487, 2.075)
CRANK_K = (1.106e6, 1.631e6, 1.253e6, 1.253e6, 1.678e6, 1.253e6, 1.253e6, 1.976e6)
ORDER = (1, 5, 3, 6, 2, 4)


def line(inertia, stiffness, dashpots=(), magnifier=0.0):
    springs = tuple((i, i + 1, k) for i, k in enumerate(stiffness))
    return c.Chain(tuple(inertia), springs, dashpots, magnifier)


@pytest.mark.parametrize(
    ("inertia", "stiffness", "hertz", "tolerance"),
    [
        # T-2disc, T-5disc (Friswell ex. 9.7.1, in openTorsion's tests), T-crank9 (two libraries)
        ((211.4, 8.3), (9.775e6,), (176.1,), 0.05),
        (
            (3.5e-3, 3.5e-3, 3.5e-3, 0.15, 0.05),
            (12e3, 12e3, 14e3, 10e3),
            (81.21, 141.21, 378.95, 536.36),
            0.006,
        ),
        (CRANK_J, CRANK_K, (216.584, 592.74, 984.923), 0.002),
    ],
)
def test_free_modes(inertia, stiffness, hertz, tolerance):
    modes = c.free_modes(line(inertia, stiffness))
    assert [m.frequency for m in modes][: len(hertz)] == pytest.approx(hertz, abs=tolerance)


def test_branched_train():  # T-gear, Friswell; 1:1 gear = one joined inertia
    joined = c.Chain(
        (400e-6, 50e-6, 700e-6, 700e-6), ((0, 1, 1e4), (1, 2, 5e3), (1, 3, 5e3)), (), 0.0
    )
    assert len(c.free_modes(joined)) == 3


def test_modes_against_opentorsion():
    """Independent library: the same train, damped, assembled by openTorsion."""
    damping = 60.0
    shafts = [opentorsion.Shaft(i, i + 1, k=k) for i, k in enumerate(CRANK_K)]
    discs = [opentorsion.Disk(i, j) for i, j in enumerate(CRANK_J)]
    shafts.append(opentorsion.Shaft(0, 9, k=1e-3, c=damping))
    discs.append(opentorsion.Disk(9, 0.15))
    assembly = opentorsion.Assembly(shaft_elements=shafts, disk_elements=discs)
    omegas, _, ratios = assembly.modal_analysis()
    chain = line(CRANK_J, CRANK_K)
    chain = c.Chain((*chain.inertia, 0.15), (*chain.springs, (0, 9, 1e-3)), ((0, 9, damping),), 0.0)
    ours = [m for m in mode_damping(chain) if m.frequency > 50][:3]
    theirs = sorted(
        {
            (round(float(abs(w)) / (2 * np.pi), 4), round(float(z), 6))
            for w, z in zip(omegas, ratios, strict=True)
            if abs(w) / (2 * np.pi) > 50 and z < 0.99  # the ring alone does not swing
        }
    )
    for mode, (hertz, ratio) in zip(ours, theirs[:3], strict=True):
        assert mode.frequency == pytest.approx(hertz, rel=1e-5)
        assert mode.damping == pytest.approx(ratio, abs=1e-5)


@pytest.mark.parametrize(
    ("mu", "zeta", "peak", "place"),
    [  # T-unt-0.1, T-unt-0.5, T-unt-1.0 (read on a textbook page for mu = 1)
        (0.1, 0.04652421052, 21.0, 0.9759000729),
        (0.5, 0.1825741858, 5.0, 0.894427191),
        (1.0, 0.2886751346, 3.0, 0.8164965809),
    ],
)
def test_untuned_damper(mu, zeta, peak, place):
    """One inertia on a spring to a heavy wall, the ring on it by a dashpot alone."""
    ratio = np.linspace(0.5, 1.5, 2001)
    wn = 2 * np.pi * 200.0

    def magnified(damping):
        chain = c.Chain((1.0, 1e9, mu), ((0, 1, wn**2),), ((0, 2, 2 * damping * wn),), 0.0)
        twist = c.forced(chain, 200.0 * ratio, np.array([1.0, 0, 0], dtype=complex))[:, 0]
        return np.abs(twist) * wn**2

    curve = magnified(zeta)
    assert curve.max() == pytest.approx(peak, rel=1e-4)
    assert ratio[np.argmax(curve)] == pytest.approx(place, abs=1e-3)
    # No other damping gives a lower peak.
    for other in (0.8 * zeta, 1.25 * zeta):
        assert magnified(other).max() > peak * 1.005


def test_star_diagrams_of_a_six_by_hand():
    """Phase-vector (star) diagrams of 1-5-3-6-2-4, worked by hand.

    Firing angles every 120 degrees of crank: 1 at 0, 5 at 120, 3 at 240, 6 at 360, 2 at 480, 4 at
    600. The star of order k turns each by k times its angle:

        k    1     2     3     4     5     6        of the vectors (degrees)
        1/2  0    240   120   300    60   180       six rays 60 degrees apart, 6 against 1
        1    0    120   240   240   120     0       pairs 1-6, 2-5, 3-4 on three rays
        3/2  0      0     0   180   180   180       1-2-3 against 4-5-6
        2    0    240   120   120   240     0       pairs again, turned the other way
        5/2  0    120   240    60   300   180       six rays, the other way round
        3    0      0     0     0     0     0       all along one ray

    With the mode shape of the notes (nose = 1: .86 .70 .52 .31 .09 -.13 at the throws):

        order 3    .86 + .70 + .52 + .31 + .09 - .13                         = 2.35
        order 3/2  (.86 + .70 + .52) - (.31 + .09 - .13)                     = 1.81
        order 1/2  x: .86 - .70/2 - .52/2 + .31/2 + .09/2 + .13              =  .58
                   y: (-.70 + .52 - .31 + .09) sqrt(3)/2                     = -.35
                   sqrt(.58^2 + .35^2)                                       =  .68
        order 1    x: .86 - .13 - (.70 + .09)/2 - (.52 + .31)/2              = -.08
                   y: (.70 + .09 - .52 - .31) sqrt(3)/2                      = -.03
                   sqrt(.08^2 + .03^2)                                       =  .09
    """
    stars = {
        0.5: (0, 240, 120, 300, 60, 180),
        1.0: (0, 120, 240, 240, 120, 0),
        1.5: (0, 0, 0, 180, 180, 180),
        2.0: (0, 240, 120, 120, 240, 0),
        2.5: (0, 120, 240, 60, 300, 180),
        3.0: (0, 0, 0, 0, 0, 0),
    }
    firing = np.degrees(c.firing_phases(ORDER))
    for order, star in stars.items():
        turned = np.round(order * firing) % 360
        assert turned.tolist() == list(star), order
    shape = np.array([0.86, 0.70, 0.52, 0.31, 0.09, -0.13])
    for order, by_hand in ((3.0, 2.35), (1.5, 1.81), (0.5, 0.68), (1.0, 0.09)):
        rays = shape * np.exp(-1j * order * c.firing_phases(ORDER))
        assert abs(rays.sum()) == pytest.approx(by_hand, abs=0.006)


def test_a_locked_ring_lowers_the_mode_and_an_empty_case_raises_it():
    base = line((0.105, *(0.118,) * 6, 2.7), (3.6e6, *(4.0e6,) * 5, 5.2e6))
    hertz = []
    for coupling in (1e-3, 1e6):
        chain = c.Chain((*base.inertia, 0.26), base.springs, ((0, 8, coupling),), 0.0)
        hertz.append(next(m.frequency for m in mode_damping(chain) if m.frequency > 50))
    assert hertz[0] > 1.15 * hertz[1]
