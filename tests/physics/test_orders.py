"""Orders: closed-form run-up of shared/checks P-order (and P-rota), coverage, references."""

import numpy as np
import pytest
from scipy import signal

from witnessmark.physics.vibration.orders.order_blocks import block_orders
from witnessmark.physics.vibration.orders.order_tracking import (
    fit_orders,
    level,
    order_windows,
    turns,
)

ORDERS = np.array([0.5, 1.0, 3.0, 6.0])
TRUE = np.array([0.3, 0.5, 2.0, 0.7])


def run_up(rate=5120.0, seconds=40.0, low=600.0, high=2100.0, jitter=0.0, seed=1):
    """P-order: 600 to 2100 rpm in 40 s is 900 turns; phases of the orders 0, 1, 2, 3 rad."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate)) / rate
    t = np.sort(t + jitter / rate * rng.standard_normal(len(t)))
    turn = low / 60 * t + (high - low) / 60 / seconds / 2 * t**2
    x = sum(
        a * np.cos(2 * np.pi * k * turn + p) for a, k, p in zip(TRUE, ORDERS, range(4), strict=True)
    )
    bus = np.linspace(0, seconds, 41)
    return t, x, turn, bus, low + (high - low) * bus / seconds


def test_turns_of_the_run_up():  # P-rev: 900 turns
    _, _, _, bus, rpm = run_up()
    assert turns(np.array([40.0]), bus, rpm)[0] == pytest.approx(900.0, abs=1e-9)
    assert np.isnan(turns(np.array([40.1, -0.1]), bus, rpm)).all()


def test_direct_fit_on_irregular_samples_recovers_amplitude_and_phase():
    t, x, turn, bus, rpm = run_up(rate=400.0, jitter=0.2)
    inside = (t > bus[0]) & (t < bus[-1])
    cycles = turns(t, bus, rpm)[:, None] * ORDERS
    assert np.max(np.abs(turns(t[inside], bus, rpm) - turn[inside])) < 1e-9
    w = order_windows(t, x[:, None], cycles)
    assert np.abs(w.amplitude[:, :, 0]) == pytest.approx(
        np.broadcast_to(TRUE, w.amplitude.shape[:2]), rel=1e-6
    )
    phase = np.angle(w.amplitude[:, :, 0])
    assert phase == pytest.approx(np.broadcast_to([0, 1, 2, 3], phase.shape), abs=1e-5)


def test_blocks_agree_with_the_truth_and_with_the_direct_fit():
    t, x, _, bus, rpm = run_up()
    rng = np.random.default_rng(5)
    noisy = x + 0.2 * rng.standard_normal(len(x))
    w = block_orders(np.vstack([x, noisy]), 5120.0, bus, rpm, ORDERS)
    assert len(w.time) == 20
    assert np.abs(w.amplitude[:, :, 0]) == pytest.approx(np.broadcast_to(TRUE, (20, 4)), abs=3e-3)
    assert np.angle(w.amplitude[:, :, 0]) == pytest.approx(
        np.broadcast_to([0, 1, 2, 3], (20, 4)), abs=1e-2
    )
    direct = order_windows(t, noisy[:, None], turns(t, bus, rpm)[:, None] * ORDERS)
    assert np.abs(w.amplitude[:, :, 1] - direct.amplitude[:, :, 0]).max() < 0.01
    # White noise of variance s^2 puts 4 s^2/N of squared amplitude into a line.
    expected = 4 * 0.04 / 10240
    assert w.floor[:, :, 1].mean() == pytest.approx(expected, rel=0.25)
    assert direct.floor.mean() == pytest.approx(expected, rel=0.25)
    assert w.residual[:, 1].mean() == pytest.approx(0.04, rel=0.05)


def test_blocks_when_sampling_locks_to_the_engine():
    """1875 rpm at 4 kHz is 256 samples a cycle exactly: every sample sits alike in its cell."""
    t = np.arange(80000) / 4000.0 + 1e-5
    bus, rpm = np.array([0.0, 30.0]), np.array([1875.0, 1875.0])
    x = np.cos(2 * np.pi * 12 * 31.25 * t) + 0.5 * np.cos(2 * np.pi * 0.5 * 31.25 * t + 1)
    w = block_orders(x[None], 4000.0, bus, rpm, [0.5, 3, 12], start=1e-5)
    assert np.abs(w.amplitude[:, :, 0]) == pytest.approx(
        np.broadcast_to([0.5, 0, 1], w.amplitude.shape[:2]), abs=2e-3
    )
    assert np.angle(w.amplitude[:, 2, 0]) == pytest.approx(0, abs=5e-3)


def test_against_resampling_and_vold_free_references():
    """scipy: cubic resampling in angle then Welch (P-order), and Lomb-Scargle in angle."""
    t, x, turn, _, _ = run_up()
    grid = np.arange(0, 900, 1 / 64)
    from scipy.interpolate import CubicSpline

    even = CubicSpline(turn, x)(grid)
    orders, power = signal.welch(
        even, 64, "boxcar", nperseg=64 * 20, noverlap=0, scaling="spectrum"
    )
    resampled = [np.sqrt(2 * power[np.argmin(np.abs(orders - k))]) for k in ORDERS]
    lomb = np.sqrt(signal.lombscargle(turn[::20], x[::20], 2 * np.pi * ORDERS) * 4 / len(x[::20]))
    ours = np.abs(fit_orders(t, x, turn[:, None] * ORDERS))
    assert ours == pytest.approx(TRUE, rel=1e-6)
    assert resampled == pytest.approx(ours, rel=5e-3)
    assert lomb == pytest.approx(ours, rel=0.05)


def test_against_an_order_tracking_package():
    """P-rota: rota-order 0.3.0 on the same run-up, median of the middle 80 %."""
    import rota

    t, x, _, bus, rpm = run_up()
    tracked = rota.extract.tracked_harmonics(
        x[: len(x) // 2], 5120.0, np.interp(t, bus, rpm)[: len(x) // 2], ORDERS
    )
    tenth = len(t) // 20
    theirs = np.median(np.abs(tracked.envelopes[tenth:-tenth]), axis=0)
    half = block_orders(x[None, : len(x) // 2], 5120.0, bus, rpm, ORDERS)
    ours = np.abs(half.amplitude[:, :, 0]).mean(axis=0)
    assert ours == pytest.approx(theirs, rel=0.02)
    assert theirs == pytest.approx(TRUE, rel=0.02)


def test_local_floor_takes_road_noise_off_a_low_order():
    """Coloured noise: without its floor an absent half order would read far from zero."""
    rng = np.random.default_rng(3)
    t = np.arange(0, 120, 0.01)
    b, a = signal.iirpeak(7.0, 3.0, fs=100)
    road = signal.lfilter(b, a, rng.standard_normal(len(t)))
    road *= 0.3 / road.std()
    turn = 10.0 * t + 0.033 * t**2  # order 0.5 goes from 5 to 9 Hz, over the peak
    w = order_windows(t, road[:, None], turn[:, None] * np.array([0.5]))
    raw = np.sqrt(np.mean(np.abs(w.amplitude) ** 2))
    assert raw > 0.05
    assert level(w.power()[:, 0]).low == 0.0


@pytest.mark.parametrize(("true", "floor_of_coverage"), [(0.15, 0.88), (0.05, 0.85)])
def test_interval_covers(true, floor_of_coverage):
    """Nominal 95 %; 10 windows of 2 s, order 0.5 in noise (compare shared/physics A3)."""
    rng = np.random.default_rng(11)
    t = np.arange(0, 20, 0.01)
    turn = 15 * t + 0.2 * t**2
    hits = 0
    for _ in range(150):
        x = true * np.cos(np.pi * turn + rng.uniform(0, 6)) + 0.25 * rng.standard_normal(len(t))
        w = order_windows(t, x[:, None], turn[:, None] * np.array([0.5]))
        got = level(w.power()[:, 0])
        hits += got.low <= true <= got.high
    assert hits / 150 >= floor_of_coverage


def test_a_level_of_no_window_or_of_one_claims_nothing():
    for power in (np.zeros(0), np.array([4.0])):
        found = level(power)
        assert (found.low, found.high) == (0.0, float("inf"))
        assert found.amplitude == (2.0 if len(power) else 0.0)


def test_what_cannot_be_fitted_gives_no_window():
    t = np.arange(0, 5, 0.1)
    w = order_windows(t, np.ones((len(t), 1)), np.outer(t, [1.0, 2.0, 3.0, 4.0]))
    assert len(w.time) == 0
    assert level(w.power()[:, 0]).windows == 0
    with pytest.raises(ValueError, match="one half"):
        block_orders(np.zeros((1, 9000)), 1000, np.array([0, 9.0]), np.array([900, 900.0]), [0.7])
