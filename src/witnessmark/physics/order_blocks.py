"""Orders of long, evenly sampled recordings, fast.

All half orders repeat over one engine cycle (two turns). So each stretch of a window is first
added up into cells of cycle angle, once for all orders; sums over the few hundred cells then give
every projection and, from the counts of the cells, the exact normal equations of the least
squares fit. Samples are read once. A window has ``PIECES`` stretches: their means take the slow
drift off, and the differences between them measure the noise beside each line (the local floor),
because a steady line is the same in all of them.

It agrees with the direct fit of ``orders`` to about a thousandth of the strongest line (tests); use
``orders`` for irregular stamps.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.physics.orders import Windows, turns

__all__ = ["PIECES", "block_orders"]

PIECES = 4
_CELLS = 512
_GRID = 16
_BATCH = 32


def block_orders(
    values: Floats,
    rate: float,
    speed_time: Floats,
    speed: Floats,
    orders: npt.ArrayLike,
    *,
    start: float = 0.0,
    window: float = 2.0,
) -> Windows:
    """Fit half orders in successive windows of evenly sampled channels.

    Args:
        values: shape (axes, n), each axis contiguous [any unit], no NaN.
        rate: samples a second [Hz].
        speed_time: shape (m,) on the same clock [s].
        speed: shape (m,) engine speed [r/min].
        orders: multiples of 0.5 [-].
        start: time of the first sample [s].
        window: length [s].

    Returns:
        Windows whose whole length has a known speed. Phase against engine turns since the first
        speed stamp.
    """
    wanted = np.asarray(orders, dtype=np.float64)
    harmonic = np.rint(2 * wanted).astype(np.int64)
    if np.any(np.abs(harmonic - 2 * wanted) > 1e-9) or np.any(harmonic < 1):
        raise ValueError("orders are multiples of one half, 0.5 or higher")
    x = np.asarray(values)
    axes, total = x.shape
    piece = round(window * rate / PIECES / _GRID) * _GRID
    size = piece * PIECES
    count = max(total // size, 0)
    # Turns on a coarse grid, straight in between: over 16 samples the speed hardly changes.
    coarse = start + np.arange(count * size // _GRID + 1) * (_GRID / rate)
    cycle = turns(np.clip(coarse, speed_time[0], speed_time[-1]), speed_time, speed) / 2.0
    inside = (coarse >= speed_time[0]) & (coarse <= speed_time[-1])
    per_window = size // _GRID
    usable = [
        w
        for w in range(count)
        if inside[w * per_window] and inside[min((w + 1) * per_window, len(inside) - 1)]
    ]
    lines = len(harmonic)
    shape = (len(usable), lines, axes)
    amplitude, floor = np.zeros(shape, complex), np.zeros(shape)
    residual = np.zeros((len(usable), axes))
    transform = _transform(int(harmonic[-1] if lines else 1))
    for first in range(0, len(usable), _BATCH):
        rows = range(first, min(first + _BATCH, len(usable)))
        sums, square = [], []
        for row in rows:
            w = usable[row]
            chunk = x[:, w * size : (w + 1) * size]
            one, two = _cells(chunk, cycle[w * per_window : (w + 1) * per_window + 1], piece)
            sums.append(one)
            square.append(two)
        span = slice(first, rows.stop)
        amplitude[span], floor[span], residual[span] = _solve(
            _harmonics(np.stack(sums), transform), np.asarray(square), harmonic, piece
        )
    return Windows(
        start + (np.asarray(usable, dtype=np.float64) + 0.5) * size / rate,
        amplitude,
        floor,
        np.full(len(usable), size),
        residual,
    )


def _transform(highest: int) -> Floats:
    """Cosines and sines at the cells' middles, harmonics 0 to twice the highest."""
    angle = 2 * np.pi * (np.arange(_CELLS)[:, None] + 0.5) / _CELLS * np.arange(2 * highest + 1)
    return np.hstack([np.cos(angle), np.sin(angle)])


def _cells(chunk: Floats, angles: Floats, piece: int) -> tuple[Floats, list[float]]:
    """Add one window up by cycle angle.

    Returns:
        Counts, then each axis' sums, then where in their cells the samples lay on average and
        how far apart, shape (2 + axes, PIECES, cells); and each axis' sum of squares.
    """
    steps = np.arange(_GRID) / _GRID
    base = angles * _CELLS
    base -= np.floor(base[0] / _CELLS) * _CELLS
    scaled = (base[:-1, None] + np.diff(base)[:, None] * steps).reshape(PIECES, piece)
    cell = scaled.astype(np.int64)
    scaled -= cell
    table = np.empty((2 + len(chunk), PIECES, _CELLS))
    middle = scaled.mean(axis=1)
    table[-1, :, 0] = middle - 0.5
    table[-1, :, 1] = [max(float(s @ s) / piece - float(m) ** 2, 0.0)
                       for s, m in zip(scaled, middle, strict=True)]  # fmt: skip
    np.bitwise_and(cell, _CELLS - 1, out=cell)
    cell += np.arange(PIECES)[:, None] * _CELLS
    index = cell.ravel()
    cells = PIECES * _CELLS
    table[0] = np.bincount(index, minlength=cells).reshape(PIECES, _CELLS)
    for axis, data in enumerate(chunk, start=1):
        table[axis] = np.bincount(index, weights=data, minlength=cells).reshape(PIECES, _CELLS)
    return table, [float(data @ data) for data in chunk]


def _harmonics(tables: Floats, transform: Floats) -> npt.NDArray[np.complex128]:
    """Return sums of (1, x...) exp(-i k theta), shape (w, 1 + axes, PIECES, harmonics)."""
    half = transform.shape[1] // 2
    highest = half // 2 + 1
    windows, rows = tables.shape[:2]
    # Only the counts need the harmonics up to twice the highest order.
    counts = tables[:, 0].reshape(-1, _CELLS) @ transform
    needed = np.hstack([transform[:, :highest], transform[:, half : half + highest]])
    data = tables[:, 1 : rows - 1].reshape(-1, _CELLS) @ needed
    sums = np.zeros((windows, rows - 1, PIECES, half), complex)
    sums[:, 0] = (counts[:, :half] - 1j * counts[:, half:]).reshape(windows, PIECES, half)
    sums[:, 1:, :, :highest] = (data[:, :highest] - 1j * data[:, highest:]).reshape(
        windows, rows - 2, PIECES, highest
    )
    # Where in their cells the samples lay: a shift (mean) and a loss (spread; a twelfth of the
    # cell squared when they lie anywhere, nothing when sampling is locked to the engine).
    k = 2 * np.pi / _CELLS * np.arange(half)
    middle, spread = tables[:, -1, :, 0, None], tables[:, -1, :, 1, None]
    sums *= np.exp(-1j * k * middle + 0.5 * k**2 * spread)[:, None]
    return sums


def _solve(
    sums: npt.NDArray[np.complex128], square: Floats, harmonic: npt.NDArray[np.int64], piece: int
) -> tuple[npt.NDArray[np.complex128], Floats, Floats]:
    """Least squares of the piece means and all lines, every window of a batch at once."""
    counts, data = sums[:, 0], sums[:, 1:]
    windows, lines = len(sums), len(harmonic)
    apart = harmonic[:, None] - harmonic[None, :]
    minus = counts[:, :, np.abs(apart)]
    # sum exp(-i (k - m) theta), per piece
    np.conjugate(minus, out=minus, where=np.broadcast_to(apart < 0, minus.shape))
    plus = counts[:, :, harmonic[:, None] + harmonic[None, :]]
    m, p = minus.sum(axis=1), plus.sum(axis=1)
    single = counts[:, :, harmonic]
    n = PIECES + 2 * lines
    gram = np.zeros((windows, n, n))
    c, s = slice(PIECES, PIECES + lines), slice(PIECES + lines, n)
    gram[:, range(PIECES), range(PIECES)] = piece
    gram[:, :PIECES, c] = single.real
    gram[:, :PIECES, s] = -single.imag
    gram[:, PIECES:, :PIECES] = gram[:, :PIECES, PIECES:].transpose(0, 2, 1)
    gram[:, c, c] = 0.5 * (m.real + p.real)
    gram[:, s, s] = 0.5 * (m.real - p.real)
    gram[:, c, s] = 0.5 * (m.imag - p.imag)
    gram[:, s, c] = gram[:, c, s].transpose(0, 2, 1)
    seen = data[:, :, :, harmonic].transpose(0, 2, 3, 1)
    whole = seen.sum(axis=1)
    right = np.concatenate(
        [data[:, :, :, 0].real.transpose(0, 2, 1), whole.real, -whole.imag], axis=1
    )
    solution = np.linalg.solve(gram, right)
    amplitude = solution[:, c] - 1j * solution[:, s]
    # What is left in every piece after the means and all lines are taken off.
    model = 0.5 * (minus @ amplitude[:, None] + plus @ np.conj(amplitude)[:, None])
    model += single[:, :, :, None] * solution[:, :PIECES, None, :]
    contrast = np.fft.fft(seen - model, axis=1)[:, 1:]
    floor = np.mean(np.abs(2.0 / (piece * PIECES) * contrast) ** 2, axis=1)
    residual = (square - np.sum(right * solution, axis=1)) / (piece * PIECES)
    return amplitude, floor, np.maximum(residual, 0.0)
