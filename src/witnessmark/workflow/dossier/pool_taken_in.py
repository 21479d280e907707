"""What many shops know together, where the owner of this shop took it in: one file of the shop."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.model.digest import digest, hold
from witnessmark.model.pool import Pool, PooledComeback, PooledShares, PooledTest, PooledTime

__all__ = ["POOL_FILE", "pool_json", "pool_of", "read_pool"]

POOL_FILE = Path("experience") / "pool.json"
_SCHEMA = "witnessmark-pool/1"
_LARGEST = 16 * 2**20


def pool_of(folder: Path) -> Pool | None:
    """Return the pool of a shop's folder, ``None`` where none was taken in."""
    path = folder / POOL_FILE
    try:
        state = path.stat()
    except OSError:
        return None
    return _held(path, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=8)
def _held(path: Path, changed: int, size: int) -> Pool:  # noqa: ARG001  (a changed file is another)
    pool = read_pool(path)
    hold(pool, digest(pool))  # hashed once, not for every case that asks
    return pool


def pool_json(pool: Pool, *, files: int, bound: float, epsilon: str) -> dict[str, Any]:
    """Return the pool as the text that is exchanged.

    Args:
        pool: the shares.
        files: files behind it.
        bound: what one shop could move a share by.
        epsilon: the dearest budget among its files.
    """
    return {
        "schema": _SCHEMA,
        "quarter": pool.quarter,
        "files": files,
        "no_shop_moves_a_share_by_more_than": bound,
        "largest_epsilon": epsilon,
        "families": {
            family: {"shares": dict(s.shares), "weight": s.weight, "shops": s.shops}
            for family, s in pool.families.items()
        },
        "tests": {
            family: {
                test: {
                    "outcomes": list(t.outcomes),
                    "weight": t.weight,
                    "shops": t.shops,
                    "rows": {cause: list(row) for cause, row in t.rows.items()},
                }
                for test, t in tests.items()
            }
            for family, tests in pool.tests.items()
        },
        "minutes": {cause: asdict(t) for cause, t in pool.minutes.items()},
        "comebacks": {cause: asdict(t) for cause, t in pool.comebacks.items()},
    }


def read_pool(path: Path) -> Pool:
    """Read a pool.

    Raises:
        InputRefused: it cannot be read, or is none.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise _refused(path, "The file is larger than any pool.")
        told = json.loads(path.read_text(encoding="utf-8"))
    except OSError:
        raise _refused(path, "The file cannot be read.") from None
    except (ValueError, RecursionError):
        raise _refused(path, "The file is no JSON text.") from None
    if not isinstance(told, dict) or told.get("schema") != _SCHEMA:
        raise _refused(path, "The file is no pool of many shops' experience.")
    try:
        families = {str(f): _shares(s) for f, s in told["families"].items()}
        return Pool(
            families,
            str(told["quarter"]),
            {
                str(f): {str(t): _test(row) for t, row in tests.items()}
                for f, tests in told.get("tests", {}).items()
            },
            {str(c): _time(row) for c, row in told.get("minutes", {}).items()},
            {str(c): _comeback(row) for c, row in told.get("comebacks", {}).items()},
        )
    except (KeyError, ValueError, TypeError, AttributeError, OverflowError):
        raise _refused(path, "The file lacks what a pool holds.") from None


def _shares(told: dict[str, Any]) -> PooledShares:
    shares = {str(c): float(p) for c, p in told["shares"].items()}
    right = all(0.0 < p <= 1.0 for p in shares.values()) and abs(sum(shares.values()) - 1.0) < 1e-6
    if not right:
        raise ValueError("shares")
    return PooledShares(shares, *_behind(told))


def _test(told: dict[str, Any]) -> PooledTest:
    outcomes = tuple(map(str, told["outcomes"]))
    rows = {str(c): tuple(map(float, row)) for c, row in told["rows"].items()}
    for row in rows.values():
        right = all(0.0 < p < 1.0 for p in row) and abs(sum(row) - 1.0) < 1e-6
        if not right or len(row) != len(outcomes):
            raise ValueError("row")
    return PooledTest(outcomes, rows, *_behind(told))


def _time(told: dict[str, Any]) -> PooledTime:
    typical, p80 = float(told["typical"]), float(told["p80"])
    if not 0.0 < typical <= p80 < 1e5:
        raise ValueError("minutes")
    return PooledTime(typical, p80, *_behind(told))


def _comeback(told: dict[str, Any]) -> PooledComeback:
    rate = float(told["rate"])
    if not 0.0 <= rate <= 1.0:
        raise ValueError("rate")
    return PooledComeback(rate, *_behind(told))


def _behind(told: dict[str, Any]) -> tuple[float, int]:
    weight, shops = float(told["weight"]), int(told["shops"])
    if not 1.0 <= weight <= 1000.0 or shops < 0:
        raise ValueError("weight")
    return weight, shops


def _refused(path: Path, what: str) -> InputRefused:
    return InputRefused(what, where=path.name, do="Make it anew: witnessmark experience merge.")
