"""Narrow fixed peaks against broad road modes: truth made here, levels from their own spectrum."""

import numpy as np
import pytest
from scipy.signal import lfilter

from witnessmark.physics.vibration.orders.fixed_peaks import fixed_peaks
from witnessmark.physics.vibration.orders.line_selection import Sweep

RATE = 200.0


def mode(rng, n, hertz, damping, rms):
    r = np.exp(-2 * np.pi * hertz * damping / RATE)
    swing = 2 * r * np.cos(2 * np.pi * hertz * np.sqrt(1 - damping**2) / RATE)
    x = lfilter([1.0], [1.0, -swing, r * r], rng.standard_normal(n + 800))[800:]
    return rms * x / x.std()


def sweep(seed, *, peak=None, seconds=30.0):
    """Road noise of 0.4 m/s2 with broad modes; *peak* is (Hz, damping, rms of all axes)."""
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE)
    t = np.arange(n) / RATE
    x = np.stack(
        [
            sum(mode(rng, n, f, d, 0.1) for f, d in ((3.2, 0.15), (11.5, 0.07), (24.0, 0.06)))
            + 0.15 * rng.standard_normal(n)
            for _ in range(3)
        ],
        axis=1,
    )
    if peak:
        x += mode(rng, n, *peak)[:, None] * np.array([0.6, 0.0, 0.8])
    engine = np.cumsum(np.linspace(1100, 1700, n)) / 60 / RATE
    return Sweep(t, x, engine[:, None] * np.array([1.0, 3.0]), "10")


@pytest.mark.parametrize("hertz", [12.5, 18.0, 33.0])
def test_a_narrow_mode_is_found_with_its_level(hertz):
    best = fixed_peaks([sweep(1, peak=(hertz, 0.012, 0.2))], [])[0]
    assert best.frequency == pytest.approx(hertz, rel=0.04)
    assert best.rms == pytest.approx(0.2, rel=0.3)
    assert best.gain > 12
    assert best.swept == pytest.approx(0.45, abs=0.12)


def test_broad_modes_alone_gain_next_to_nothing():
    best = [fixed_peaks([sweep(seed)], [])[0] for seed in range(12)]
    assert max(peak.gain for peak in best) < 11
    assert max(peak.rms for peak in best) < 0.06


def test_too_short_or_silent_material_gives_nothing():
    assert fixed_peaks([], []) == ()
    quiet = sweep(2)
    assert fixed_peaks([Sweep(quiet.time, 0 * quiet.values, quiet.cycles, "10")], []) == ()
    assert fixed_peaks([sweep(3, seconds=4.0)], []) == ()
