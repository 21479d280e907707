"""Narrow peaks that stay at one frequency while the engine and the road change speed.

The spectrum of what the lines leave over is first explained by what every truck has: broad body,
suspension and road modes (damping 0.05 and more), a floor and a slope. A narrow mode counts only by
how much better the spectrum is explained with it than without it: a Whittle log likelihood, so a
peak on the flank of a road mode and a peak that is merely high are both weighed for what they are.

    S(f) = sum_i h_i B_i(f) + h A(f; f0, zeta),  -log L = nu/2 sum_f [ P/S + ln S ],  h >= 0

P is the averaged periodogram (Hann taper), nu its degrees of freedom, the sum taken over
independent bins. The weights h are found by the usual multiplicative updates of this likelihood.

Validity: 8 to 60 Hz, 16 s or more, a mode whose damping is 0.03 or less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.orders.line_selection import Sweep, pieces, without_lines

__all__ = ["FixedPeak", "fixed_peaks"]

_BROAD = (0.05, 0.08, 0.13, 0.25, 0.5)
_NARROW = (0.004, 0.01, 0.02, 0.03)
_ROUNDS = 120
#: Smear of a Hann taper in power, a bin to either side; and its bins that count as one.
_SMEAR, _TOGETHER = np.array([1.0, 4.0, 1.0]) / 6.0, 1.5
#: Part of the averaged windows that count as independent at an overlap of five eighths (Hann).
_INDEPENDENT = 0.72


@dataclass(frozen=True, slots=True)
class FixedPeak:
    """A narrow peak that stays where it is.

    Attributes:
        frequency: [Hz].
        rms: level of the narrow mode, all axes [m/s2].
        damping: its damping ratio, as far as the window can tell [-].
        gain: log likelihood that it adds to broad modes and noise.
        share: its part of the power within its own width [-].
        swept: largest over smallest engine speed of the windows, minus one [-]; near zero, a line
            of the engine or the road would stay in its place too.
        seconds: length of the material looked at [s].
    """

    frequency: float
    rms: float
    damping: float
    gain: float
    share: float
    swept: float
    seconds: float


def fixed_peaks(
    sweeps: Sequence[Sweep],
    lines: Sequence[int],
    *,
    window: float = 4.0,
    lowest: float = 8.0,
    highest: float = 60.0,
    most: int = 3,
) -> tuple[FixedPeak, ...]:
    """Search what is left for narrow peaks that stay at one frequency.

    Args:
        sweeps: the drives.
        lines: numbers of the lines that are taken off first.
        window: [s]; long, because a resonance worth naming is narrow.
        lowest: the body on its suspension lives below this [Hz].
        highest: [Hz].
        most: peaks looked at.

    Returns:
        The peaks, the one with the largest gain first; each against broad modes alone.
    """
    rate = min((1.0 / float(np.median(np.diff(s.time))) for s in sweeps), default=0.0)
    hertz, spectra, swept = _spectra(sweeps, lines, window, rate)
    if len(spectra) < 4:
        return ()
    mean = spectra.mean(axis=0)
    top = min(highest, 0.45 * rate)
    band = (hertz >= 4.0) & (hertz <= min(1.15 * top, 0.48 * rate))
    f, power = hertz[band], mean.sum(axis=1)[band]
    if len(f) < 16 or not (np.all(np.isfinite(power)) and float(power.min()) > 0.0):
        return ()
    parts = mean.sum(axis=0)
    axes = float(parts.sum() ** 2 / np.sum(parts**2))
    freedom = 2.0 * axes * max(1.0, _INDEPENDENT * len(spectra)) / _TOGETHER
    scale = float(power.mean())
    power = power / scale
    seconds = sum(float(s.time[-1] - s.time[0]) for s in sweeps if s.time.size)
    broad = _dictionary(f)
    weight, alone = _explain(broad, power, np.full(len(broad), 1.0 / len(broad)))
    base = weight @ broad
    places = f[(f >= lowest) & (f <= top)]
    grid = [(float(p), z) for z in _NARROW for p in places]
    narrow = np.stack([_mode(f, p, z) for p, z in grid])
    found: list[FixedPeak] = []
    for at in _promising(narrow, base, power, [p for p, _ in grid], most):
        atoms = np.vstack([broad, narrow[at]])
        start = np.append(0.5 * weight + 0.5 * weight.mean(), float(power.max()) * 0.3)
        h, cost = _explain(atoms, power, start)
        own = h[-1] * narrow[at]
        near = narrow[at] > 0.25 * narrow[at].max()
        share = float(own[near].sum() / max(float((h @ atoms)[near].sum()), 1e-30))
        found.append(
            FixedPeak(
                grid[at][0], float(np.sqrt(own.sum() * scale)), grid[at][1],
                float(0.5 * freedom * (alone - cost)), share, swept, seconds,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda peak: -peak.gain))


def _spectra(
    sweeps: Sequence[Sweep], lines: Sequence[int], window: float, rate: float
) -> tuple[Floats, Floats, float]:
    """Periodograms, shape (windows, bins, axes), and how far the first line's speed was swept."""
    found: list[Floats] = []
    speeds: list[float] = []
    size = round(window * rate)
    for sweep in sweeps:
        for t, x, c in pieces(sweep, window, hop=0.375 * window):
            left = without_lines(t, x, c[:, list(lines)])
            grid = t[0] + np.arange(int(window * rate * 0.98)) / rate
            even = np.stack([np.interp(grid, t, v) for v in left.T], axis=1)
            taper = np.hanning(len(grid))[:, None]
            power = np.abs(np.fft.rfft(even * taper, n=size, axis=0)) ** 2
            found.append(2.0 * power / (np.sum(taper**2) * size))
            if c.shape[1]:
                speeds.append(float((c[-1, 0] - c[0, 0]) / (t[-1] - t[0])))
    hertz = np.asarray(np.fft.rfftfreq(size, 1 / rate)) if size else np.zeros(0)
    known = [s for s in speeds if s > 0]
    return hertz, np.asarray(found), max(known) / min(known) - 1.0 if known else 0.0


def _mode(f: Floats, place: float, damping: float) -> Floats:
    """Power of a mode driven by noise, blurred by the taper, largest value 1."""
    r2 = (f / place) ** 2
    shape = (2 * damping) ** 2 / ((1 - r2) ** 2 + 4 * damping**2 * r2)
    blurred = np.convolve(np.pad(shape, 1, mode="edge"), _SMEAR, mode="valid")
    return np.asarray(blurred / blurred.max())


def _dictionary(f: Floats) -> Floats:
    """Everything broad: modes every 4 %, a floor, and slopes."""
    places = np.exp(np.arange(np.log(2.0), np.log(1.3 * f[-1]), 0.04))
    modes = [_mode(f, float(p), z) for p in places for z in _BROAD]
    slopes = [(f[0] / f) ** k for k in (0.0, 1.0, 2.0, 4.0)]
    return np.stack([*modes, *slopes])


def _explain(atoms: Floats, power: Floats, start: Floats) -> tuple[Floats, float]:
    """Return the weights that explain the spectrum best and the cost sum P/S + ln S."""
    h = np.maximum(start, 1e-9)
    tiny = 1e-9 * float(power.max())
    for _ in range(_ROUNDS):
        s = h @ atoms + tiny
        h = h * np.sqrt((atoms @ (power / s**2)) / (atoms @ (1.0 / s)))
    s = h @ atoms + tiny
    return h, float(np.sum(power / s + np.log(s)))


def _promising(
    narrow: Floats, base: Floats, power: Floats, places: Sequence[float], most: int
) -> list[int]:
    """Numbers of the narrow modes that would add most to the broad ones left as they are."""
    best = np.full(len(narrow), np.inf)
    for part in (0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4):
        # Part of the base is taken down: a broad mode has been stretched to fill the peak.
        s = (1.0 - 0.5 * narrow) * base + part * narrow * (narrow @ base / narrow.sum(1))[:, None]
        best = np.minimum(best, np.sum(power / s + np.log(s), axis=1))
    chosen: list[int] = []
    for at in np.argsort(best):
        if all(abs(places[at] / places[c] - 1.0) > 0.06 for c in chosen):
            chosen.append(int(at))
        if len(chosen) == most:
            break
    return chosen
