"""The samples of one channel made ready to be judged: what tells, gaps, resolution, noise."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.sensors.leaps import without_defaults
from witnessmark.analyses.sensors.liveliness import Profile

__all__ = ["SensorTrace", "own_noise", "prepare", "resolution"]

Floats = npt.NDArray[np.float64]

#: Unchanged samples closer than this to the one before say nothing new [s].
_REPEAT = 0.9
#: A pause longer than this, or than so many usual steps, ends all knowledge of the reading [s].
_GAP_S, _GAP_STEPS = 11.0, 2.2
#: Own noise of a healthy channel that is believed [scale]; more is noise.
_NOISE_MAX = 0.5


@dataclass(frozen=True, slots=True)
class SensorTrace:
    """Valid samples of one channel, made ready.

    Attributes:
        time: shape (n,), [s].
        values: shape (n,), house unit.
        pieces: (first, end) index of the pieces between gaps.
        interval: typical time between samples as recorded [s].
        step: smallest step of the reading (resolution), house unit; 0 when not quantised.
        noise: own noise of the channel, house unit.
        gaps: number of gaps.
        work: shape (n,), what is explained by the engine's work, house unit; ``None``: nothing.
        doubt: shape (n,), variance of that explanation, house unit squared; ``None``: none.
        calm_s: time outside the pieces in which nothing happened at all [s].
    """

    time: Floats
    values: Floats
    pieces: tuple[tuple[int, int], ...]
    interval: float
    step: float
    noise: float
    gaps: int
    work: Floats | None = None
    doubt: Floats | None = None
    calm_s: float = 0.0

    @property
    def plain(self) -> Floats:
        """Return the readings less what the engine's work explains, shape (n,)."""
        return self.values if self.work is None else self.values - self.work


def prepare(time: Floats, values: Floats, profile: Profile) -> SensorTrace | None:
    """Return the trace of the valid samples; ``None`` when there are fewer than ten.

    Samples that are not numbers are left out. A sample that repeats the one before within a
    second is left out too: a recorder that carries a value forward has not measured it anew.
    """
    good = np.isfinite(values) & np.isfinite(time)
    time, values = time[good], values[good]
    if time.size < 10:
        return None
    rising = np.concatenate([[True], np.diff(time) > 0.0])
    time, values = time[rising], values[rising]
    if time.size < 10:
        return None
    step = resolution(values, profile.scale)
    keep = _telling(time, values, own_noise(values), profile.scale)
    interval = float(np.median(np.diff(time)))
    time, values = time[keep], values[keep]
    if time.size < 5:
        return None
    time, values = without_defaults(time, values, _pieces(time), profile.scale)
    if time.size < 5:
        return None
    pieces = _pieces(time)
    noise = min(own_noise(values), _NOISE_MAX * profile.scale)
    return SensorTrace(time, values, pieces, interval, step, noise, len(pieces) - 1)


def resolution(values: Floats, usual: float) -> float:
    """Return the smallest step of a reading; 0 where it is not quantised to be seen."""
    levels = np.unique(values)
    if levels.size < 2:
        return 0.0
    if levels.size > 0.5 * values.size and levels.size > 50:
        return 0.0
    # Few levels say little: two of them may be a reading and its glitch.
    return min(float(np.min(np.diff(levels))), usual * (1.0 if levels.size < 8 else 2.5))


def own_noise(values: Floats) -> float:
    """Return the noise of a series from its second differences."""
    if values.size < 10:
        return 0.0
    bend = np.abs(values[2:] - 2.0 * values[1:-1] + values[:-2])
    return float(np.median(bend)) * 1.4826 / math.sqrt(6.0)


def _pieces(time: Floats) -> tuple[tuple[int, int], ...]:
    """Return (first, end) of the pieces between gaps: nothing before a gap says what is after."""
    gap = max(_GAP_S, _GAP_STEPS * float(np.median(np.diff(time))))
    breaks = np.flatnonzero(np.diff(time) > gap) + 1
    return tuple((a, b) for a, b in itertools.pairwise([0, *breaks.tolist(), time.size]))


def _telling(time: Floats, values: Floats, noise: float, scale: float) -> npt.NDArray[np.bool_]:
    """Mark the samples that say something: a change, or the first in about a second."""
    changed = np.concatenate([[True], values[1:] != values[:-1]])
    if changed.mean() > 0.5:
        return _lively_seconds(time, values, noise, scale)
    keep = changed.copy()
    # Between two changes one sample a second is kept, counted from the change.
    starts = np.flatnonzero(changed)
    since = time - time[starts][np.cumsum(changed) - 1]
    beat = np.floor((since + 1e-6) / _REPEAT)
    keep[1:] |= beat[1:] > np.where(changed[1:], np.inf, beat[:-1])
    # The last sample before a change says until when the old value held.
    keep[:-1] |= changed[1:] & (np.diff(time) < 20.0)
    return keep


def _lively_seconds(
    time: Floats, values: Floats, noise: float, scale: float
) -> npt.NDArray[np.bool_]:
    """Keep every sample of a lively second and of those beside it; of a quiet one, its median.

    Quiet: no sample further from the second's median than five times the channel's own noise
    (or a third of its scale), and the median no further from those of its neighbours.
    """
    second = np.floor(time - time[0]).astype(np.int64)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(second) > 0]))
    sizes = np.diff(np.concatenate([starts, [time.size]]))
    if np.median(sizes) < 3:
        return np.ones(time.size, np.bool_)
    owner = np.repeat(np.arange(starts.size), sizes)
    order = np.lexsort((values, owner))
    middle = order[starts + (sizes - 1) // 2]
    median = values[middle]
    limit = max(5.0 * noise, scale / 3.0)
    spread = np.maximum.reduceat(np.abs(values - median[owner]), starts)
    lively = spread > limit
    jumps = np.abs(np.diff(median)) > limit
    lively[1:] |= jumps
    lively[:-1] |= jumps
    lively = np.convolve(lively, np.ones(5), mode="same") > 0
    keep = np.asarray(lively[owner])
    keep[middle] = True
    return keep
