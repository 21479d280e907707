"""Sums over products of small tables, one variable after the other (variable elimination).

Exact, and all terms keep their sign: with tables of probabilities nothing cancels. Serves the
links between families, whose joint table would be too large to write down.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["eliminate"]

Floats = npt.NDArray[np.float64]
Factor = tuple[Floats, tuple[Hashable, ...]]

#: Largest intermediate table; beyond it the problem is not one of this trade.
LARGEST = 2**24


def eliminate(factors: Sequence[Factor], keep: Sequence[Hashable]) -> Floats:
    """Return the product of all factors summed over every variable that is not kept.

    Args:
        factors: tables with the names of their axes.
        keep: names of the axes of the result, in order.

    Raises:
        ValueError: an axis has two lengths, or a table on the way would be too large.
    """
    sizes: dict[Hashable, int] = {}
    for table, names in factors:
        for name, size in zip(names, table.shape, strict=True):
            if sizes.setdefault(name, size) != size:
                raise ValueError(f"the axis {name!r} has two lengths")
    left = list(factors)
    waiting = set(sizes) - set(keep)
    while waiting:
        target = min(waiting, key=lambda v: (_cost(v, left, sizes), repr(v)))
        touching = [f for f in left if target in f[1]]
        left = [f for f in left if target not in f[1]]
        left.append(_product(touching, sizes, drop=target))
        waiting.discard(target)
    table, names = _product(left, sizes, drop=None)
    wide = np.ones([sizes[k] for k in keep])
    order = [names.index(k) for k in keep if k in names]
    shape = [sizes[k] if k in names else 1 for k in keep]
    return np.asarray(wide * np.transpose(table, order).reshape(shape))


def _cost(name: Hashable, factors: Sequence[Factor], sizes: dict[Hashable, int]) -> float:
    touched = {n for _, names in factors if name in names for n in names}
    return float(np.prod([sizes[n] for n in touched], dtype=float))


def _product(
    factors: Sequence[Factor], sizes: dict[Hashable, int], drop: Hashable | None
) -> Factor:
    names = tuple(dict.fromkeys(n for _, axes in factors for n in axes))
    if np.prod([sizes[n] for n in names], dtype=float) > LARGEST:
        raise ValueError("too many things hang together to sum over them exactly")
    number = {n: i for i, n in enumerate(names)}
    table = np.ones([sizes[n] for n in names])
    for part, axes in factors:
        order = np.argsort([number[a] for a in axes])
        shape = [sizes[n] if n in axes else 1 for n in names]
        table *= np.transpose(part, order).reshape(shape)
    if drop is None:
        return table, names
    return np.asarray(table.sum(axis=number[drop])), tuple(n for n in names if n != drop)
