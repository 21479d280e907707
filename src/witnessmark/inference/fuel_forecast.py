"""What a gauge would show next: after a repair, or at a measurement not yet taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from witnessmark.inference.fuel_groups import OTHER
from witnessmark.inference.fuel_observations import CHECK, GALLERY, Key, Observation, covariance
from witnessmark.inference.fuel_observations import predicted as predicted_reading
from witnessmark.inference.fuel_posterior import Posterior
from witnessmark.inference.fuel_prior import RENEWAL_DIMENSIONS, renew
from witnessmark.inference.fuel_samples import WRONG_PART
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.step import Forecast
from witnessmark.physics.fuel_supply import PSI, Circuit, solve
from witnessmark.units import QUANTITIES, display_unit, from_house

__all__ = ["Band", "gallery_points", "predict_readings", "repair_forecast", "resample"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Band = tuple[float | None, float | None]


def resample(posterior: Posterior, count: int, seed: int = 5) -> Ints:
    """Return *count* equally weighted draws (systematic resampling)."""
    rng = np.random.default_rng(seed)
    edges = np.cumsum(posterior.weight)
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + rng.random()) / count).astype(np.intp)


def predict_readings(
    posterior: Posterior,
    wanted: Sequence[Observation],
    circuits: Circuit,
    index: Ints,
    seed: int = 6,
) -> Floats:
    """Draw what the wanted readings would show, shape (draws, wanted).

    The gauge's small error and what the model leaves out at a point are carried over from the
    readings already taken with the same gauge at the same point.

    Args:
        posterior: the posterior.
        wanted: the readings; their values are only used for error sizes.
        circuits: the circuits at *index*, with any repair already done.
        index: draws of the posterior.
        seed: of the readings' own errors.
    """
    n, old = len(index), list(posterior.observations)
    states = {}
    for o in wanted:
        if o.quantity != CHECK and o.key not in states:
            states[o.key] = solve(
                circuits, o.key.rpm, o.key.load, throttled=o.key.throttled,
                viscosity=o.key.viscosity,
            )  # fmt: skip
    mean = np.column_stack([predicted_reading(o, states.get(o.key), circuits) for o in wanted])
    cov = covariance([*old, *wanted])
    m = len(old)
    own = cov[m:, m:]
    if m:
        gain = np.linalg.solve(cov[:m, :m], cov[:m, m:]).T
        left = np.array([o.value for o in old]) - posterior.batch.predictions[index]
        mean = mean + left @ gain.T
        own = own - gain @ cov[:m, m:]
    root = np.linalg.cholesky(own + 1e-6 * np.diag(np.diag(own)))
    noise = np.random.default_rng(seed).standard_normal((n, len(wanted))) @ root.T
    return np.asarray(mean + noise)


def repair_forecast(
    posterior: Posterior,
    group: int,
    share: float,
    points: Sequence[Observation],
    bands: Mapping[Key, Band],
    *,
    count: int = 700,
) -> tuple[Forecast, ...]:
    """Return what the gallery would read after a part of *group* was renewed.

    Args:
        posterior: the posterior now.
        group: the group; "other" has no forecast.
        share: P(the renewed cause is the faulty one | the group is at fault).
        points: the gallery readings wanted.
        bands: healthy band by operating point [Pa].
        count: draws used.
    """
    if group == OTHER or not points:
        return ()
    index = resample(posterior, count)
    types, circuit = posterior.batch.types.take(index), posterior.batch.circuits.take(index)
    rng = np.random.default_rng(17 + group)
    fresh = renew(circuit, types, group, rng.standard_normal((count, RENEWAL_DIMENSIONS)))
    faulty = (posterior.batch.labels[-1][index] >> group) & 1 == 1
    kept = faulty & (rng.random(count) > share * (1.0 - WRONG_PART))
    after = Circuit(
        *(
            np.where(kept, getattr(circuit, f), getattr(fresh, f)) for f in Circuit.__slots__
        )
    )  # fmt: skip
    draws = predict_readings(posterior, points, after, index)
    true = {}
    found = []
    for column, o in enumerate(points):
        low, middle, high = np.quantile(draws[:, column], [0.05, 0.5, 0.95])
        in_band = None
        band = bands.get(o.key)
        if band is not None:
            if o.key not in true:
                true[o.key] = solve(after, o.key.rpm, o.key.load, viscosity=o.key.viscosity).gallery
            in_band = _inside(true[o.key], band)
        found.append(_forecast(o, float(middle), float(low), float(high), in_band))
    return tuple(found)


def _inside(true: Floats, band: Band) -> float:
    """Return the chance of the true pressure to be inside, 1 psi of the model left open."""
    low = -np.inf if band[0] is None else band[0]
    high = np.inf if band[1] is None else band[1]
    return float(np.mean(ndtr((high - true) / PSI) - ndtr((low - true) / PSI)))


def _forecast(
    o: Observation, middle: float, low: float, high: float, in_band: float | None
) -> Forecast:
    row = QUANTITIES[o.quantity]
    symbol = display_unit(o.quantity)
    shown = [f"{from_house(o.quantity, v, symbol):.0f}" for v in (middle, low, high)]
    point = OperatingPoint(rpm=o.key.rpm, load=o.key.load)
    words = f"would read {shown[0]} ({shown[1]} to {shown[2]}) {symbol} at {point.words()}"
    if in_band is not None:
        words += f"; chance to be in band {100 * in_band:.0f} %"
    return Forecast(o.quantity, point, middle, low, high, row.house, in_band, words)


def gallery_points(posterior: Posterior) -> tuple[Observation, ...]:
    """Return where a repair is forecast: the gallery points already read, else idle and 1,500."""
    seen: dict[tuple[float, float], Observation] = {}
    for o in posterior.observations:
        if o.quantity == GALLERY and o.main:
            seen[(round(o.key.rpm / 50), round(o.key.load, 1))] = o
    if seen:
        return tuple(seen.values())
    return (
        Observation(GALLERY, Key(650.0), 75 * PSI),
        Observation(GALLERY, Key(1500.0), 95 * PSI),
    )
