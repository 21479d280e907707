"""Narrow fixed peaks against broad road modes: truth made here, levels from their own spectrum."""

import numpy as np
import pytest
from scipy.signal import lfilter

from witnessmark.physics.vibration.orders import fixed_peaks as parts
from witnessmark.physics.vibration.orders.fixed_peaks import fixed_peaks
from witnessmark.physics.vibration.orders.line_selection import Sweep, choose_lines
from witnessmark.physics.vibration.vibration_family import decide

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


@pytest.mark.parametrize(("seconds", "family"), [(13.0, "not clear"), (17.0, "none")])
def test_nothing_abnormal_needs_time_enough_to_look_for_a_resonance(seconds, family):
    """Before: a resonance of 0.2 m/s2 in 13 s was "nothing abnormal" in one drive of four."""
    quiet = sweep(3, seconds=seconds)
    peaks = fixed_peaks([quiet], [])
    assert peaks[0].seconds == pytest.approx(seconds, abs=0.1)
    verdict = decide(choose_lines([quiet]), (), peaks, gears=2)
    assert verdict.family == family


# The parts, worked by hand.


def test_a_mode_is_an_oscillators_power_blurred_by_the_taper():
    """|2 z / (1 - r^2 + 2 i z r)|^2 over frequency, a sixth to either side, largest value one."""
    f = np.arange(4.0, 60.0, 0.25)
    for place, damping in ((20.0, 0.03), (33.0, 0.004), (11.0, 0.25)):
        r = f / place
        power = np.abs(2 * damping / (1 - r**2 + 2j * damping * r)) ** 2
        wide = np.r_[power[0], power, power[-1]]
        blurred = (wide[:-2] + 4 * wide[1:-1] + wide[2:]) / 6
        found = parts._mode(f, place, damping)
        assert found == pytest.approx(blurred / blurred.max(), rel=1e-9)
        assert found.max() == 1.0


def test_weights_of_parts_that_do_not_overlap_are_the_mean_power_over_them():
    """-log L = sum P/S + ln S is least at S = the mean: 2 and 4; 1/2 + 3/2 + 2/4 + 6/4 = 4."""
    atoms = np.array([[1.0, 1, 0, 0], [0, 0, 1, 1]])
    power = np.array([1.0, 3, 2, 6])
    weights, cost = parts._explain(atoms, power, np.array([0.0, 9.0]))
    assert weights == pytest.approx([2.0, 4.0], rel=1e-6)
    assert cost == pytest.approx(4 + 2 * np.log(2) + 2 * np.log(4), rel=1e-6)
    # A part with nothing in its place gets next to nothing, and no weight is below nothing.
    weights, _ = parts._explain(np.vstack([atoms, [1, 1, 1, 1]]), power, np.full(3, 1.0))
    assert (weights >= 0).all()
    assert weights @ np.vstack([atoms, [1, 1, 1, 1]]) == pytest.approx([2, 2, 4, 4], rel=1e-3)


def test_everything_broad_reaches_from_2_hz_to_a_third_above_the_band_every_four_per_cent():
    f = np.arange(4.0, 40.1, 0.25)
    found = parts._dictionary(f)
    count = int(np.ceil(np.log(1.3 * 40.0 / 2.0) / 0.04))
    assert len(found) == 5 * count + 4
    slope = f[0] / f
    assert found[-4:] == pytest.approx(np.stack([slope**0, slope, slope**2, slope**4]))
    assert found[:5] == pytest.approx(
        np.stack([parts._mode(f, 2.0, z) for z in (0.05, 0.08, 0.13, 0.25, 0.5)])
    )
    assert found[5] == pytest.approx(parts._mode(f, 2.0 * np.exp(0.04), 0.05))


def test_the_spectrum_of_a_pure_tone_holds_its_mean_square():
    """Over all bins: A^2 / 2, whatever taper and window; and each window of 4 s, 1.5 s apart."""
    t = np.arange(0, 20, 1 / RATE)
    x = np.stack([3.0 * np.sin(2 * np.pi * 20 * t), 0 * t, 4.0 * np.cos(2 * np.pi * 31 * t)], 1)
    turns = np.stack([20 * t + 0.25 * t**2], 1)  # 20 to 30 turns a second
    hertz, spectra, swept = parts._spectra([Sweep(t, x, turns)], [], 4.0, RATE)
    assert hertz[1] == 0.25
    assert len(spectra) == 12  # begins at 0, 1.5, ... 16.5 s; the last holds 85 % and more
    spectra = spectra[:-1]
    assert spectra.sum(axis=1).mean(axis=0) == pytest.approx([4.5, 0.0, 8.0], rel=0.01, abs=1e-9)
    assert hertz[spectra.mean(axis=0).argmax(axis=0)[[0, 2]]] == pytest.approx([20.0, 31.0])
    # Mean speed of the first window 21 turns a second, of the last 20 + 0.5 * 18.25 = 29.12.
    assert swept == pytest.approx(29.12 / 21 - 1, abs=0.01)
    _, _, unknown = parts._spectra([Sweep(t, x, turns[:, :0])], [], 4.0, RATE)
    assert unknown == 0.0


def test_the_most_promising_places_are_apart_and_where_the_power_is():
    f = np.arange(4.0, 60.0, 0.25)
    places = [float(p) for p in np.arange(8.0, 50.0, 0.5)]
    narrow = np.stack([parts._mode(f, p, 0.01) for p in places])
    base = np.full(f.size, 1.0)
    power = base + 8.0 * parts._mode(f, 20.0, 0.01) + 3.0 * parts._mode(f, 35.0, 0.01)
    chosen = [places[k] for k in parts._promising(narrow, base, power, places, 3)]
    assert chosen[:2] == [20.0, 35.0]
    assert len(chosen) == 3
    assert all(abs(a / b - 1) > 0.06 for i, a in enumerate(chosen) for b in chosen[:i])
    assert len(parts._promising(narrow, base, power, places, 1)) == 1


def test_level_share_and_gain_are_of_the_one_narrow_peak():
    """The same peak half as high: half the level, a smaller share, a smaller gain."""
    loud, soft = (fixed_peaks([sweep(4, peak=(18.0, 0.01, r))], [], most=2) for r in (0.3, 0.15))
    assert loud[0].frequency == soft[0].frequency == pytest.approx(18.0, rel=0.02)
    assert loud[0].rms == pytest.approx(2 * soft[0].rms, rel=0.15)
    assert 0.8 < loud[0].share <= 1.0
    assert soft[0].share < loud[0].share
    assert loud[0].gain > soft[0].gain
    assert [len(loud), loud[0].gain > loud[1].gain] == [2, True]
    assert loud[0].damping <= 0.02


def test_only_the_band_asked_for_is_searched():
    peak = sweep(5, peak=(18.0, 0.01, 0.3))
    for asked in ({"lowest": 22.0}, {"highest": 15.0}):
        found = fixed_peaks([peak], [], **asked)
        assert all(abs(p.frequency - 18.0) > 1.0 for p in found)
        assert all(asked.get("lowest", 8) <= p.frequency <= asked.get("highest", 60) for p in found)
