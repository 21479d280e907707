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
from witnessmark.physics.vibration.orders.order_tracking import Windows, turns

__all__ = ["PIECES", "block_orders"]

Singles = npt.NDArray[np.float32]

PIECES = 4
_CELLS = 256
_SHIFT = 24  # a 32-bit cycle without the bits of the cell
_GRID = 32
_BATCH = 64


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
    # Turns on a coarse grid, straight in between: over 32 samples the speed hardly changes.
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
    done, room = 0, _Room(min(len(usable), _BATCH) * size)
    for first, last in _runs(usable, _BATCH):
        span = slice(done, done + last - first)
        done = span.stop
        tables, place, square = _cells(
            x[:, first * size : last * size],
            cycle[first * per_window : last * per_window + 1],
            piece,
            room,
        )
        amplitude[span], floor[span], residual[span] = _solve(
            tables, place, square, harmonic, piece, transform
        )
    return Windows(
        start + (np.asarray(usable, dtype=np.float64) + 0.5) * size / rate,
        amplitude,
        floor,
        np.full(len(usable), size),
        residual,
    )


def _runs(windows: list[int], most: int) -> list[tuple[int, int]]:
    """Cut the usable windows into runs of neighbours, at most *most* each."""
    found: list[tuple[int, int]] = []
    for w in windows:
        if found and found[-1][1] == w and w - found[-1][0] < most:
            found[-1] = (found[-1][0], w + 1)
        else:
            found.append((w, w + 1))
    return found


def _transform(highest: int) -> Singles:
    """Cosines and sines at the cells' middles, harmonics 0 to twice the highest."""
    angle = 2 * np.pi * (np.arange(_CELLS)[:, None] + 0.5) / _CELLS * np.arange(2 * highest + 1)
    return np.hstack([np.cos(angle), np.sin(angle)]).astype(np.float32)


class _Room:
    """Working arrays, used again for every run of windows (fresh memory costs more than sums)."""

    def __init__(self, samples: int) -> None:
        self.phase = np.empty((samples // _GRID, _GRID), dtype=np.uint32)
        self.index = np.empty(samples, dtype=np.intp)


def _cells(
    chunk: Floats, angles: Floats, piece: int, room: _Room
) -> tuple[Singles, Floats, Floats]:
    """Add a run of windows up by cycle angle.

    Returns:
        Counts and each axis' sums, shape (windows, 1 + axes, PIECES, cells); where in their cells
        the samples lay, mean and variance [cells], shape (windows, PIECES, 2); and each axis' sum
        of squares, shape (windows, axes).
    """
    # One cycle is 2^32: whole turns fall away by themselves, and the top byte is the cell.
    whole = np.asarray((angles - np.floor(angles)) * 2.0**32)
    base = whole[:-1].astype(np.uint64).astype(np.uint32)
    step = np.rint(np.diff(angles) * (2.0**32 / _GRID)).astype(np.int64).astype(np.uint32)
    phase = room.phase[: len(step)]
    np.multiply(step[:, None], np.arange(_GRID, dtype=np.uint32), out=phase)
    np.add(phase, base[:, None], out=phase)
    pieces = phase.size // piece
    inside = (phase.reshape(pieces, piece)[:, ::8] & (2**_SHIFT - 1)) * 2.0**-_SHIFT
    place = np.stack([inside.mean(axis=1) - 0.5, inside.var(axis=1)], axis=1)
    spread = room.index[: phase.size].reshape(pieces, piece)
    np.right_shift(phase.reshape(pieces, piece), _SHIFT, out=spread, casting="unsafe")
    spread += (np.arange(pieces) * _CELLS)[:, None]
    index = spread.ravel()
    cells = pieces * _CELLS
    windows = pieces // PIECES
    tables = np.empty((windows, 1 + len(chunk), PIECES, _CELLS), dtype=np.float32)
    shape = (windows, PIECES, _CELLS)
    tables[:, 0] = np.bincount(index, minlength=cells).reshape(shape)
    square = np.empty((windows, len(chunk)))
    for axis, data in enumerate(chunk):
        tables[:, axis + 1] = np.bincount(index, weights=data, minlength=cells).reshape(shape)
        rows = data.reshape(windows, -1)
        square[:, axis] = [float(row @ row) for row in rows]
    return tables, place.reshape(windows, PIECES, 2), square


def _place(count: int, middle: Floats, spread: Floats) -> npt.NDArray[np.complex128]:
    """Return what puts a sum over cells right for where in their cells the samples lay.

    A shift (mean) and a loss (spread; a twelfth of the cell squared when they lie anywhere, nothing
    when sampling is locked to the engine), for harmonics 0 to *count* - 1.
    """
    k = 2 * np.pi / _CELLS * np.arange(count)
    turn = -k * middle[..., None]
    size = np.exp(0.5 * k**2 * spread[..., None])
    return np.asarray(size * np.cos(turn) + 1j * (size * np.sin(turn)))


def _harmonics(
    tables: Singles, transform: Singles, place: npt.NDArray[np.complex128]
) -> npt.NDArray[np.complex128]:
    """Return sums of the tables' cells times exp(-i k theta), as many k as *place* has."""
    half, count = transform.shape[1] // 2, place.shape[-1]
    needed = np.hstack([transform[:, :count], transform[:, half : half + count]])
    product = tables.reshape(-1, _CELLS) @ needed
    sums = (product[:, :count] - 1j * product[:, count:]).reshape(*tables.shape[:-1], count)
    return np.asarray(sums * place)


def _solve(
    tables: Singles,
    place: Floats,
    square: Floats,
    harmonic: npt.NDArray[np.int64],
    piece: int,
    transform: Singles,
) -> tuple[npt.NDArray[np.complex128], Floats, Floats]:
    """Least squares of the piece means and all lines, every window of a batch at once."""
    windows, lines, half = len(tables), len(harmonic), transform.shape[1] // 2
    highest = int(harmonic[-1]) + 1
    middle, spread = place[..., 0], place[..., 1]
    right_place = _place(half, middle, spread)
    counts = _harmonics(tables[:, 0], transform, right_place)
    right_place = right_place[:, None, :, :highest]
    data = _harmonics(tables[:, 1:], transform, right_place)
    c, s = slice(PIECES, PIECES + lines), slice(PIECES + lines, PIECES + 2 * lines)
    gram = _gram(counts, harmonic, piece)
    whole = data.sum(axis=2)[:, :, harmonic].transpose(0, 2, 1)
    right = np.concatenate(
        [data[:, :, :, 0].real.transpose(0, 2, 1), whole.real, -whole.imag], axis=1
    )
    solution = np.linalg.solve(gram, right)
    amplitude = solution[:, c] - 1j * solution[:, s]
    # What is left in every piece after the means and all lines are taken off, cell by cell.
    k = 2 * np.pi / _CELLS * harmonic
    turned = np.exp(
        1j * k * middle.mean(axis=1)[:, None] - 0.5 * k**2 * spread.mean(axis=1)[:, None]
    )
    shown = (amplitude * turned[:, :, None]).transpose(0, 2, 1)
    waves = np.vstack([transform[:, harmonic].T, transform[:, half + harmonic].T])
    shares = np.concatenate([shown.real, -shown.imag], axis=2).astype(np.float32)
    model = (shares.reshape(-1, 2 * lines) @ waves).reshape(windows, -1, 1, _CELLS)
    model = model + solution[:, :PIECES].transpose(0, 2, 1)[..., None].astype(np.float32)
    left = tables[:, 1:] - tables[:, :1] * model
    rest = _harmonics(left, transform, right_place)
    one, two, three, four = np.moveaxis(rest[..., harmonic], 2, 0)
    # The three contrasts of a Fourier transform over the four pieces, as mean squares.
    apart = 2 * (_square(one - three) + _square(two - four)) + _square(one - two + three - four)
    floor = apart.transpose(0, 2, 1) * (4.0 / (3.0 * (piece * PIECES) ** 2))
    residual = (square - np.sum(right * solution, axis=1)) / (piece * PIECES)
    return amplitude, floor, np.maximum(residual, 0.0)


def _square(z: npt.NDArray[np.complex128]) -> Floats:
    return np.asarray(z.real**2 + z.imag**2)


def _gram(
    counts: npt.NDArray[np.complex128], harmonic: npt.NDArray[np.int64], piece: int
) -> Floats:
    """Inner products of the piece means and the lines' cosines and sines, from the counts."""
    windows, lines = len(counts), len(harmonic)
    total = counts.sum(axis=1)
    apart = harmonic[:, None] - harmonic[None, :]
    m = total[:, np.abs(apart)]
    p = total[:, harmonic[:, None] + harmonic[None, :]]
    turned = np.sign(apart) * m.imag  # imaginary part of sum exp(-i (k - m) theta)
    single = counts[:, :, harmonic]
    n = PIECES + 2 * lines
    c, s = slice(PIECES, PIECES + lines), slice(PIECES + lines, n)
    gram = np.zeros((windows, n, n))
    gram[:, range(PIECES), range(PIECES)] = piece
    gram[:, :PIECES, c] = single.real
    gram[:, :PIECES, s] = -single.imag
    gram[:, PIECES:, :PIECES] = gram[:, :PIECES, PIECES:].transpose(0, 2, 1)
    gram[:, c, c] = 0.5 * (m.real + p.real)
    gram[:, s, s] = 0.5 * (m.real - p.real)
    gram[:, c, s] = 0.5 * (turned - p.imag)
    gram[:, s, c] = gram[:, c, s].transpose(0, 2, 1)
    return gram
