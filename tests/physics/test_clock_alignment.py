"""Clock alignment from three throttle blips; a steady recording is refused."""

from pathlib import Path

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


@pytest.fixture(scope="module")
def shaker():
    """The second shaking truck of the studies: springs and pulses, no cosines."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parents[2] / "studies" / "vibration")
        import shaker
    return shaker


def shaken(shaker, kind, case, run):
    """A drive of studies/vibration/belts.md: recorder clock and values, bus rows, true offset."""
    rng = np.random.default_rng([2026112908, case, run])
    ratios = [rng.uniform(a, b) for a, b in ((0.6, 0.95), (1.1, 1.45), (2.1, 2.9), (3.1, 3.4))]
    ratio = float(rng.choice(ratios))
    rng.uniform(0.5, 1.5)
    t, x, rows = shaker.shake(rng, kind, ratio=ratio)
    offset = float(rng.uniform(-18, 18))
    clock, values = shaker.phone(rng, t, x, float(rng.choice([100.0, 200.0])), offset)
    return clock, values, rows["time"], rows["rpm"], offset


@pytest.mark.parametrize(("kind", "case", "run"), [("belt", 1, 0), ("shaft", 4, 1)])
def test_the_road_that_follows_is_not_taken_for_the_blips(shaker, kind, case, run):
    """Before: 14 s off, trusted and good to 0.02 s: "nothing abnormal", or a fixed 52 Hz."""
    *drive, offset = shaken(shaker, kind, case, run)
    found = align(*drive)
    assert found.trusted, found.reason
    assert found.checked
    assert found.offset == pytest.approx(offset, abs=0.06)


def test_three_places_that_fit_the_blips_are_refused(shaker):
    """Before: 14 s off. Half a second to both sides the blips fit nearly as well."""
    *drive, _ = shaken(shaker, "belt", 1, 1)
    found = align(*drive)
    assert not found.trusted
    assert "two offsets" in found.reason
