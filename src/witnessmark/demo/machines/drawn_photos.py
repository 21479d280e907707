"""Photos of the invented cases: drawn, grey, and obviously no photographs."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

__all__ = ["PHOTOS", "drawn_photo"]

_HIGH, _WIDE = 300, 420
Grey = npt.NDArray[np.float64]


def drawn_photo(name: str) -> bytes:
    """Return a photo of the invented cases as PNG.

    Raises:
        KeyError: nothing is drawn under that name.
    """
    rows, columns = np.mgrid[0:_HIGH, 0:_WIDE].astype(np.float64)
    grey = PHOTOS[name](columns - _WIDE / 2, rows - _HIGH / 2)
    rng = np.random.default_rng(7)
    return _png(np.clip(grey + rng.normal(0.0, 3.0, grey.shape), 0, 255).astype(np.uint8))


def _ring(x: Grey, y: Grey, inner: float, outer: float) -> npt.NDArray[np.bool_]:
    radius = np.hypot(x, y)
    return (radius > inner) & (radius < outer)


def _seat_with_tape(x: Grey, y: Grey) -> Grey:
    """A valve seat from above with a shred of white tape across it."""
    grey = 118.0 + 0.08 * x
    grey = np.where(_ring(x, y, 0, 118), 150.0, grey)
    grey = np.where(_ring(x, y, 52, 70), 205.0 - 0.3 * y, grey)
    grey = np.where(_ring(x, y, 0, 52), 34.0, grey)
    shred = np.abs(y - 0.45 * x - 16 * np.sin(x / 22)) < 7 + 3 * np.sin(x / 9)
    return np.where(shred & (np.abs(x) < 66), 246.0, grey)


def _worn_damper(x: Grey, y: Grey) -> Grey:
    """A damper from the front with two stripes of paint that have moved apart."""
    grey = np.full_like(x, 122.0)
    grey = np.where(_ring(x, y, 0, 132), 96.0, grey)
    grey = np.where(_ring(x, y, 92, 99), 30.0, grey)
    grey = np.where(_ring(x, y, 0, 40), 62.0, grey)
    angle = np.degrees(np.arctan2(y, x))
    grey = np.where(_ring(x, y, 99, 132) & (np.abs(angle + 60) < 3), 244.0, grey)
    return np.where(_ring(x, y, 44, 92) & (np.abs(angle + 49) < 3.5), 244.0, grey)


#: Name of a photo -> what draws it from the coordinates.
PHOTOS: dict[str, Callable[[Grey, Grey], Grey]] = {
    "gravel-seat.png": _seat_with_tape,
    "sawmill-damper.png": _worn_damper,
}


def _png(grey: npt.NDArray[np.uint8]) -> bytes:
    rows = b"".join(b"\x00" + row.tobytes() for row in grey)
    header = struct.pack(">IIBBBBB", grey.shape[1], grey.shape[0], 8, 0, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )
