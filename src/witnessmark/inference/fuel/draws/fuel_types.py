"""From healthy readings of an engine type to what is known of the type; tables kept by type."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from threading import Lock

import numpy as np

from witnessmark.inference.fuel.draws.even_points import even_normals
from witnessmark.inference.fuel.draws.fuel_likelihood import log_likelihood
from witnessmark.inference.fuel.draws.fuel_prior import (
    DIMENSIONS,
    LearntType,
    TypePrior,
    UnknownType,
    draws,
)
from witnessmark.inference.fuel.draws.fuel_table import PriorTable, build_table, kept_table
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    QUANTITIES_READ,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
    predicted,
)
from witnessmark.model.fuel_baseline import FuelBaseline
from witnessmark.physics.fuel.supply_circuit import PSI, solve

__all__ = ["learn_type", "table_for"]

#: Healthy readings at this many different points make a type known; fewer only narrow it.
KNOWN_FROM = 4
#: Tables held at a time, up to 270 MB each: the unknown type's and those of the trucks in the bays.
_KEPT = 3
_tables: OrderedDict[str, PriorTable] = OrderedDict()
_lock = Lock()


def table_for(baseline: FuelBaseline | None) -> PriorTable:
    """Return the table of what is known of a type; built once per type and process."""
    prior = UnknownType() if baseline is None else learn_type(baseline)
    with _lock:
        if prior.key in _tables:
            _tables.move_to_end(prior.key)
            return _tables[prior.key]
    # One truck type after the other would fill the disk; the unknown one is asked for every day.
    table = kept_table(prior) if baseline is None else build_table(prior)
    with _lock:
        _tables[prior.key] = table
        while len(_tables) > _KEPT:
            _tables.popitem(last=False)
    return table


def learn_type(baseline: FuelBaseline) -> TypePrior:
    """Return what the shop's own healthy readings say of a type.

    Types are drawn from the unknown, each with the scatter of one truck, and weighed by the
    readings; what remains is described by one normal per layout. Readings of several trucks are
    averaged point by point, their scatter being that of the trucks.
    """
    observations = _observations(baseline)
    if not observations:
        return UnknownType()
    key = _key(baseline)
    z = even_normals(DIMENSIONS, 2**14, 7)
    _, units = draws(UnknownType(), z)
    states = {
        k: solve(units, k.rpm, k.load, throttled=k.throttled)
        for k in {o.key for o in observations if o.quantity != CHECK}
    }
    columns = [predicted(o, states.get(o.key), units) for o in observations]
    log_w = log_likelihood(np.column_stack(columns), observations)
    for power in (1.0, 0.7, 0.5, 0.3, 0.2, 0.1, 0.05, 0.0):
        weight = np.exp(power * (log_w - log_w.max()))
        weight /= weight.sum()
        if 1.0 / np.square(weight).sum() >= 120.0:
            break
    layout = UnknownType().values(z[:, :8]).layout
    shares, means, roots = np.full(3, 1e-3), np.zeros((3, 7)), np.zeros((3, 7, 7))
    for index in range(3):
        here = (layout == index) & (weight > 0)
        total = float(weight[here].sum())
        roots[index] = np.eye(7)
        if total < 1e-3:
            continue
        w = weight[here] / total
        some = z[here, 1:8]
        means[index] = w @ some
        centred = some - means[index]
        effective = 1.0 / float(np.square(w).sum())
        trust = effective / (effective + 15.0)
        cov = trust * (centred * w[:, None]).T @ centred + (1.0 - trust) * np.eye(7)
        shares[index] += total
        roots[index] = np.linalg.cholesky(cov + 1e-6 * np.eye(7))
    points = {(o.quantity, round(o.key.rpm / 100), round(o.key.load, 1)) for o in observations}
    return LearntType(key, shares / shares.sum(), means, roots, len(points) >= KNOWN_FROM)


def _observations(baseline: FuelBaseline) -> list[Observation]:
    grouped: dict[tuple[str, Key], list[float]] = {}
    for reading in baseline.readings:
        rpm = reading.point.rpm
        if reading.quantity not in QUANTITIES_READ or reading.quantity == CHECK or rpm is None:
            continue
        key = Key(float(rpm), float(reading.point.load or 0.0), reading.quantity == THROTTLED)
        near = next(
            (
                k
                for k in grouped
                if k[0] == reading.quantity
                and abs(k[1].rpm - key.rpm) <= 50
                and k[1].load == key.load
                and k[1].throttled == key.throttled
            ),
            (reading.quantity, key),
        )
        grouped.setdefault(near, []).append(reading.value)
    return [
        Observation(
            quantity=quantity,
            key=key,
            value=float(np.mean(values)),
            gauge="baseline",
            main=False,
            gauge_sd=0.0 if quantity in {FLOW, VACUUM} else 1.4 * PSI,
        )
        for (quantity, key), values in grouped.items()
    ]


def _key(baseline: FuelBaseline) -> str:
    text = repr(sorted((r.quantity, repr(r.point), r.value, r.truck) for r in baseline.readings))
    return f"{baseline.engine_type}:{hashlib.sha256(text.encode()).hexdigest()[:16]}"
