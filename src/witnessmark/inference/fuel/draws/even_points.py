"""Points that fill a space evenly, as standard normals (Sobol, scrambled)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.kept import keep_arrays, kept_arrays

__all__ = ["even_normals"]

Floats = npt.NDArray[np.float64]

#: Part of the key: another way of making them is another number.
_MADE = 1


def even_normals(width: int, count: int, seed: int) -> Floats:
    """Return standard normals from scrambled Sobol points, shape (count, width).

    The same for the same arguments. They are kept between runs, since the library that makes
    them takes longer to load than everything else here.

    Args:
        width: dimensions.
        count: points; a power of two fills the space best.
        seed: of the scrambling.
    """
    key = f"even_normals {_MADE} {np.__version__} {width} {count} {seed}"
    held = kept_arrays(key)
    if held is not None and held.get("points", np.empty(0)).shape == (count, width):
        return np.asarray(held["points"], dtype=np.float64)
    points = _made(width, count, seed)
    keep_arrays(key, {"points": points})
    return points


def _made(width: int, count: int, seed: int) -> Floats:
    from scipy.special import ndtri  # noqa: PLC0415  (heavy; only where nothing is kept)
    from scipy.stats import qmc  # noqa: PLC0415

    engine = qmc.Sobol(width, scramble=True, rng=np.random.default_rng(seed))
    points = ndtri(np.clip(engine.random(count), 1e-12, 1.0 - 1e-12))
    return np.asarray(points, dtype=np.float64)
