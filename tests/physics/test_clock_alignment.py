"""Clock alignment from three throttle blips; a steady recording is refused."""

import numpy as np
import pytest

from witnessmark.physics.vibration.clock_alignment import align, blips
from witnessmark.physics.vibration.orders.order_tracking import turns


def recording(offset, rate=100.0, seed=0, steady=False):
    """A phone beside a bus: orders 0.5, 1.5 and 3 in road noise; phone clock = bus + offset."""
    rng = np.random.default_rng(seed)
    bus = np.arange(0, 30, 0.02)
    rpm = np.full_like(bus, 700.0)
    if not steady:
        for middle in (5.0, 8.5, 12.0):
            rpm += 700 * np.exp(-(((bus - middle) / 0.7) ** 2))
    rpm += 3 * np.sin(2 * np.pi * 0.3 * bus)
    seen = np.round(rpm / 0.125) * 0.125
    t = np.sort(np.arange(0, 29, 1 / rate) + 0.08 / rate * rng.standard_normal(int(29 * rate)))
    phase = turns(np.clip(t, 0, 29.9), bus, rpm)
    x = sum(
        a * np.cos(2 * np.pi * k * phase + p)
        for k, a, p in ((0.5, 0.08, 1), (1.5, 0.06, 2), (3, 0.15, 0.3))
    )
    x = x + 0.1 * rng.standard_normal(len(t)) + 0.2 * np.sin(2 * np.pi * 7.1 * t)
    # One of its axes stands upright: it holds the weight as well.
    axes = np.stack([x + 9.81, 0.3 * x + 0.05 * rng.standard_normal(len(t))], 1)
    return t + offset, axes, bus, seen


@pytest.mark.parametrize(("offset", "rate"), [(2.37, 100.0), (-4.1, 200.0), (0.0, 50.0)])
def test_three_blips_pin_the_clock(offset, rate):
    t, x, bus, rpm = recording(offset, rate, seed=int(rate))
    found = align(t, x, bus, rpm)
    assert found.blips == 3
    assert found.trusted, found.reason
    assert found.offset == pytest.approx(offset, abs=0.03)


def test_a_steady_recording_is_refused():
    t, x, bus, rpm = recording(1.0, steady=True)
    found = align(t, x, bus, rpm)
    assert not found.trusted
    assert "blips" in found.reason


def test_noise_alone_is_not_trusted():
    t, x, bus, rpm = recording(1.0)
    noise = np.random.default_rng(9).standard_normal(x.shape)
    assert not align(t, noise, bus, rpm).trusted


def test_a_pull_is_not_a_blip():
    time = np.arange(0, 60, 0.1)
    assert blips(time, np.interp(time, [0, 10, 40, 60], [600, 1100, 1700, 900])) == ()
