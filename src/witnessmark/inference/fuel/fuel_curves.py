"""Curves of the gallery pressure for the picture of a case: healthy, and the best explanations."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_posterior import FuelPosterior
from witnessmark.inference.fuel.draws.fuel_table import PriorTable
from witnessmark.inference.fuel.fuel_groups import GROUPS
from witnessmark.inference.fuel.fuel_observations import GALLERY
from witnessmark.physics.fuel.supply_circuit import Circuit, consumption, solve

__all__ = ["RPM", "picture_data"]

Floats = npt.NDArray[np.float64]

#: Engine speeds of the curves [r/min].
RPM = tuple(float(n) for n in (600, 700, 800, 900, 1000, 1100, 1200, 1400, 1600, 1800, 2000))
_AT = 1400.0  #: speed that all of them are solved at together [r/min]; see ``_at_speeds``
#: Draws of one curve, healthy engines of the band, and curves at most.
_DRAWS, _HEALTHY, _CURVES = 100, 300, 3


def picture_data(table: PriorTable, posterior: FuelPosterior) -> dict[str, object]:
    """Return plain numbers for the picture: band, curves and readings, in Pa and r/min.

    The healthy band holds 95 % of the healthy engines of the type (or of unknown types). A curve
    is the middle of what the gauge would show under one explanation, no load.
    """
    count = int(table.starts[1])
    some = np.linspace(0, count - 1, _HEALTHY).astype(np.intp)
    parts, names = [table.circuits.take(some)], []
    for label in _leading(posterior):
        parts.append(posterior.batch.circuits.take(_of(posterior, label)))
        names.append(" and ".join(GROUPS[g].name for g in range(9) if label >> g & 1) or "healthy")
    joined = Circuit(
        *(np.concatenate([getattr(p, f) for p in parts]) for f in Circuit.__slots__)
    )  # fmt: skip
    low, high = [], []
    curves: list[list[float]] = [[] for _ in names]
    for gallery in _at_speeds(joined):
        shown = gallery * (1.0 + joined.gauge_gain) + joined.gauge_bias
        ends = np.quantile(gallery[:_HEALTHY], [0.025, 0.975])
        low.append(round(float(ends[0])))
        high.append(round(float(ends[1])))
        for number, curve in enumerate(curves):
            start = _HEALTHY + _DRAWS * number
            curve.append(round(float(np.median(shown[start : start + _DRAWS]))))
    chances = _chances(posterior)
    last = len(posterior.batch.labels) - 1
    return {
        "rpm": list(RPM),
        "healthy_low": low,
        "healthy_high": high,
        "curves": [
            {"name": name, "probability": round(chances[label], 3), "pressure": curve}
            for name, label, curve in zip(names, _leading(posterior), curves, strict=True)
        ],
        "readings": [
            {"rpm": o.key.rpm, "load": o.key.load, "pressure": round(o.value),
             "now": o.stage == last}
            for o in posterior.observations if o.quantity == GALLERY
        ],
    }  # fmt: skip


def _at_speeds(circuits: Circuit) -> Floats:
    """Return the gallery pressure at every speed of ``RPM``, no load, shape (speeds, n).

    The speed enters the balance only through the pump's delivery and what the injectors take, so
    all speeds are solved at once as circuits with other pumps at one speed.
    """
    n = len(circuits.displacement)
    many = circuits.take(np.tile(np.arange(n), len(RPM)))
    speed = np.repeat(np.asarray(RPM), n)
    taken = np.repeat([consumption(rpm, 0.0) / consumption(_AT, 0.0) for rpm in RPM], n)
    same = many.with_(
        displacement=many.displacement * speed / _AT, consumption=many.consumption * taken
    )
    return solve(same, _AT).gallery.reshape(len(RPM), n)


def _chances(posterior: FuelPosterior) -> dict[int, float]:
    mass = np.bincount(posterior.batch.labels[-1], weights=posterior.weight)
    return {int(v): float(mass[v]) for v in np.flatnonzero(mass > 0)}


def _leading(posterior: FuelPosterior) -> list[int]:
    chances = _chances(posterior)
    return sorted((v for v in chances if v < 1 << 8), key=lambda v: -chances[v])[:_CURVES]


def _of(posterior: FuelPosterior, label: int) -> npt.NDArray[np.intp]:
    """Return draws of one explanation, as often as they weigh."""
    here = np.flatnonzero(posterior.batch.labels[-1] == label)
    weight = posterior.weight[here]
    edges = np.cumsum(weight / weight.sum())
    edges[-1] = 1.0
    return here[np.searchsorted(edges, (np.arange(_DRAWS) + 0.5) / _DRAWS)].astype(np.intp)
