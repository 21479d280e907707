"""What a gauge would show next: after a repair, or at a measurement not yet taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_posterior import FuelPosterior
from witnessmark.inference.fuel.draws.fuel_prior import RENEWAL_DIMENSIONS, renew
from witnessmark.inference.fuel.draws.fuel_samples import WRONG_PART
from witnessmark.inference.fuel.draws.normal_law import share_below
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    GALLERY,
    Key,
    Observation,
    covariance,
    shape_error,
)
from witnessmark.inference.fuel.fuel_observations import predicted as predicted_reading
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.step import Forecast
from witnessmark.physics.fuel.supply_circuit import PSI, Circuit, CircuitState, solve
from witnessmark.units import QUANTITIES, display_unit, from_house
from witnessmark.words.numbers import chance_words
from witnessmark.words.say import fuel as say

__all__ = ["Band", "gallery_points", "predict_readings", "repair_forecasts", "resample"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Band = tuple[float | None, float | None]


def resample(posterior: FuelPosterior, count: int, seed: int = 5) -> Ints:
    """Return *count* equally weighted draws (systematic resampling)."""
    rng = np.random.default_rng(seed)
    edges = np.cumsum(posterior.weight)
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + rng.random()) / count).astype(np.intp)


def predict_readings(
    posterior: FuelPosterior,
    wanted: Sequence[Observation],
    circuits: Circuit,
    index: Ints,
    seed: int = 6,
    solved: dict[Key, CircuitState] | None = None,
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
        solved: solutions of these circuits so far; new ones are added.
    """
    states = {} if solved is None else solved
    for o in wanted:
        if o.quantity != CHECK and o.key not in states:
            states[o.key] = solve(
                circuits, o.key.rpm, o.key.load, throttled=o.key.throttled,
                viscosity=o.key.viscosity,
            )  # fmt: skip
    mean = np.column_stack([predicted_reading(o, states.get(o.key), circuits) for o in wanted])
    return np.asarray(mean + _carried(posterior, wanted, index, seed))


def repair_forecasts(
    posterior: FuelPosterior,
    causes: Mapping[str, tuple[int, float]],
    points: Sequence[Observation],
    bands: Mapping[Key, Band],
    *,
    count: int = 500,
) -> dict[str, tuple[Forecast, ...]]:
    """Return what the gallery would read after each repair.

    Args:
        posterior: the posterior now.
        causes: cause -> (its group, P(it is the faulty one | the group is at fault)).
        points: the gallery readings wanted.
        bands: healthy band by operating point [Pa].
        count: draws used.
    """
    index = resample(posterior, count)
    types, now = posterior.batch.types.take(index), posterior.batch.circuits.take(index)
    rng = np.random.default_rng(17)
    groups = sorted({group for group, _ in causes.values()})
    states = [now]
    states += [
        renew(now, types, group, rng.standard_normal((count, RENEWAL_DIMENSIONS)))
        for group in groups
    ]
    joined = Circuit(
        *(np.concatenate([getattr(c, f) for c in states]) for f in Circuit.__slots__)
    )  # fmt: skip
    carried = _carried(posterior, points, index, 6)
    off, loose = _off_the_model(posterior, points, index)
    luck = rng.random(count)
    true: list[Floats] = []
    shown: list[Floats] = []
    for o in points:
        gallery = solve(joined, o.key.rpm, o.key.load, viscosity=o.key.viscosity)
        reading = predicted_reading(o, gallery, joined)
        true.append(gallery.gallery.reshape(len(states), count))
        shown.append(reading.reshape(len(states), count))
    found: dict[str, tuple[Forecast, ...]] = {}
    for cause, (group, share) in causes.items():
        row = 1 + groups.index(group)
        faulty = (posterior.batch.labels[-1][index] >> group) & 1 == 1
        kept = faulty & (luck > share * (1.0 - WRONG_PART))
        made = []
        for column, o in enumerate(points):
            draws = np.where(kept, shown[column][0], shown[column][row]) + carried[:, column]
            low, middle, high = np.quantile(draws, [0.05, 0.5, 0.95])
            band = bands.get(o.key)
            after = np.where(kept, true[column][0], true[column][row]) + off[:, column]
            in_band = None if band is None else _inside(after, band, float(loose[column]))
            made.append(_forecast(o, float(middle), float(low), float(high), in_band))
        found[cause] = tuple(made)
    return found


def _carried(
    posterior: FuelPosterior, wanted: Sequence[Observation], index: Ints, seed: int
) -> Floats:
    """Draw the errors of wanted readings, given those of the readings taken, (draws, wanted)."""
    old = list(posterior.observations)
    cov = covariance([*old, *wanted])
    m = len(old)
    own = cov[m:, m:]
    shift: Floats = np.zeros((len(index), len(wanted)))
    if m:
        gain = np.linalg.solve(cov[:m, :m], cov[:m, m:]).T
        left = np.array([o.value for o in old]) - posterior.batch.predictions[index]
        shift = left @ gain.T
        own = own - gain @ cov[:m, m:]
    root = np.linalg.cholesky(own + 1e-6 * np.diag(np.diag(own)))
    noise = np.random.default_rng(seed).standard_normal((len(index), len(wanted)))
    return np.asarray(shift + noise @ root.T)


def _off_the_model(
    posterior: FuelPosterior, wanted: Sequence[Observation], index: Ints
) -> tuple[Floats, Floats]:
    """Return what the true pressures are off from the model's by the readings taken.

    Returns:
        The expected difference, (draws, wanted), and its standard deviation, (wanted,) [Pa]: the
        error in shape, and 1 psi that the model leaves out.
    """
    old = list(posterior.observations)
    m = len(old)
    shape = shape_error([*old, *wanted])
    own = shape[m:, m:]
    shift: Floats = np.zeros((len(index), len(wanted)))
    if m:
        gain = np.linalg.solve(covariance(old), shape[:m, m:]).T
        shift = (np.array([o.value for o in old]) - posterior.batch.predictions[index]) @ gain.T
        own = own - gain @ shape[:m, m:]
    return shift, np.sqrt(np.maximum(np.diag(own), 0.0) + PSI**2)


def _inside(true: Floats, band: Band, loose: float) -> float:
    """Return the chance of the true pressure to be inside; *loose*: what is left open [Pa]."""
    low = -np.inf if band[0] is None else band[0]
    high = np.inf if band[1] is None else band[1]
    return float(np.mean(share_below((high - true) / loose) - share_below((low - true) / loose)))


def _forecast(
    o: Observation, middle: float, low: float, high: float, in_band: float | None
) -> Forecast:
    row = QUANTITIES[o.quantity]
    symbol = display_unit(o.quantity)
    shown = [f"{from_house(o.quantity, v, symbol):.0f}" for v in (middle, low, high)]
    point = OperatingPoint(rpm=o.key.rpm, load=o.key.load)
    chance = "" if in_band is None else chance_words(in_band)
    words = say.forecast(shown[0], shown[1], shown[2], symbol, point.words(), chance)
    return Forecast(o.quantity, point, middle, low, high, row.house, in_band, words)


def gallery_points(posterior: FuelPosterior) -> tuple[Observation, ...]:
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
