"""The switching filter against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.stats import multivariate_normal

from witnessmark.physics.sensors.switching_filter import (
    FilterMode,
    Hypothesis,
    Lanes,
    as_stretches,
    filter_stretches,
)

CALM = FilterMode("calm", 0.12, 6.0)


def evidence(values: np.ndarray, hypothesis: Hypothesis, *, variance: float = 0.12) -> float:
    time = np.arange(float(values.size))
    data, _ = as_stretches([(time, values, variance)], length=values.size, warm_up=0)
    return float(filter_stretches(data, hypothesis).evidence.sum())


def test_one_mode_is_the_exact_gaussian_likelihood_of_an_integrated_ornstein_uhlenbeck() -> None:
    # Closed form: cov of the integral of an OU process (sd s, memory m) from rest in law,
    # s^2 m^2 (2 min/m - 1 + e^-t/m + e^-u/m - e^-|t-u|/m); Gillespie 1996, Phys. Rev. E 54:2084.
    rng = np.random.default_rng(2)
    values = 80.0 + np.cumsum(rng.normal(0.0, 0.3, 40))
    t = np.arange(40.0)
    u, w = np.meshgrid(t, t)
    s, m = CALM.rate, CALM.memory
    moved = (
        s**2
        * m**2
        * (
            2 * np.minimum(u, w) / m
            - 1
            + np.exp(-u / m)
            + np.exp(-w / m)
            - np.exp(-np.abs(u - w) / m)
        )
    )
    cov = 9.0 + moved + 0.02**2 * np.minimum(u, w) + 0.12 * np.eye(40)
    mean = np.full(40, values[0])
    exact = multivariate_normal.logpdf(values, mean, cov)
    first = multivariate_normal.logpdf(values[:1], mean[:1], cov[:1, :1])
    assert evidence(values, Hypothesis("calm", (CALM,))) == pytest.approx(exact - first, abs=1e-6)


def test_a_first_order_lag_is_explained_by_a_sudden_change_not_by_an_offset() -> None:
    time = np.arange(60.0)
    lagged = 80.0 - np.where(time >= 30, 8.0 * (1 - np.exp(-(time - 29) / 4.0)), 0.0)
    square = np.where((time >= 30) & (time < 33), 72.0, 80.0)
    local = FilterMode("local", 0.3, 4.0, "new_rate", 2.5, begins=0.001, ends=0.1)
    offset = FilterMode("short", 0.12, 6.0, "new_offset", 7.0, begins=0.003, ends=0.3)
    real = Hypothesis("real", (CALM, local))
    contact = Hypothesis("contact", (CALM, offset))
    assert evidence(np.round(lagged), real) > evidence(np.round(lagged), contact) + 3.0
    assert evidence(square, contact) > evidence(square, real) + 10.0


def test_mode_changes_conserve_probability_over_any_interval() -> None:
    modes = (CALM, FilterMode("a", 0.1, 5.0, "new_rate", 1.0, begins=0.01, ends=0.2),
             FilterMode("b", 0.1, 5.0, "new_offset", 5.0, begins=0.02, ends=0.3))  # fmt: skip
    rates = Hypothesis("x", modes).generator()
    assert np.allclose(rates.sum(axis=1), 0.0)
    for interval in (0.1, 1.0, 30.0):
        change = expm(rates * interval)
        assert np.allclose(change.sum(axis=1), 1.0)
        assert (change >= -1e-12).all()


def test_stretches_count_every_sample_but_the_first_once() -> None:
    rng = np.random.default_rng(3)
    sizes = (500, 64, 65, 10, 129)
    pieces = [(np.arange(float(n)), rng.normal(80.0, 1.0, n), 0.12) for n in sizes]
    data, _ = as_stretches(pieces, length=64, warm_up=20)
    assert int(data.counted.sum()) == sum(n - 1 for n in sizes)


def test_cutting_into_stretches_hardly_changes_the_evidence() -> None:
    rng = np.random.default_rng(4)
    values = 80.0 + 2.0 * np.sin(np.arange(800.0) / 60.0) + rng.normal(0.0, 0.2, 800)
    hypothesis = Hypothesis("x", (CALM, FilterMode("brisk", 0.75, 5.0, begins=0.02, ends=0.05)))
    whole = evidence(values, hypothesis)
    data, _ = as_stretches([(np.arange(800.0), values, 0.12)], length=64, warm_up=20)
    cut = float(filter_stretches(data, hypothesis).evidence.sum())
    assert cut == pytest.approx(whole, abs=2.0)


def test_a_lane_is_the_same_alone_and_beside_longer_ones_with_more_modes() -> None:
    rng = np.random.default_rng(6)
    pieces = []
    for size in (130, 9, 64, 41):
        time = np.cumsum(rng.choice([0.1, 1.0, 2.5], size))
        pieces.append((time, 80.0 + np.cumsum(rng.normal(0.0, 0.4, size)), 0.12))
    data, origin = as_stretches(pieces, length=64, warm_up=20)
    local = FilterMode("local", 0.3, 4.0, "new_rate", 2.5, begins=0.001, ends=0.1)
    offset = FilterMode("short", 0.12, 6.0, "new_offset", 7.0, begins=0.003, ends=0.3)
    spike = FilterMode("spike", 0.12, 6.0, noise=15.0, begins=0.01, ends=3.0)
    rivals = [Hypothesis("few", (CALM,)), Hypothesis("more", (CALM, local)),
              Hypothesis("most", (CALM, spike, local, offset))]  # fmt: skip
    rows, which = np.divmod(np.arange(3 * len(origin)), 3)
    lanes = Lanes(data, rows, which, rivals)
    for number, (piece, first) in enumerate(origin):
        time, values, _ = pieces[piece]
        end = first + int(data.used[number].sum())
        one, _ = as_stretches([(time[first:end], values[first:end], 0.12)], length=99, warm_up=0)
        for hypothesis in (0, 1, 2):
            lane = 3 * number + hypothesis
            alone = filter_stretches(one, rivals[hypothesis])
            there = data.counted[number, : end - first]
            assert alone.modes is not None
            assert lanes.evidence[lane, : end - first] == pytest.approx(
                np.where(there, alone.evidence[0], 0.0), abs=1e-7
            )
            assert lanes.modes([lane])[0][: end - first] == pytest.approx(alone.modes[0], abs=1e-7)
            assert lanes.level[lane, : end - first] == pytest.approx(alone.level[0], abs=1e-7)
