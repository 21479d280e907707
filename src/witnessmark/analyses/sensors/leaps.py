"""What the readings of a trace themselves show: leaps that the machine cannot make.

The switching filter weighs models of the quantity. However sharp its odds, a trace shows a fault
only by leaps between two readings that lie further apart than the quantity moves in that time;
they cap what may be said. What stands on the two sides of a gap is never compared, and a value
sent before the sensor was read is no reading.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.sensors.liveliness import Profile

__all__ = ["leap_shows", "shown", "usual_reach", "without_defaults"]

Floats = npt.NDArray[np.float64]

#: A default is sent for at most this long before the first reading [s], and the first reading lies
#: this far from it [scale]; it does not come back within this time [s] (judgement).
_DEFAULT_S, _DEFAULT_STEP, _BACK_S = 15.0, 6.0, 120.0
#: What one leap shows: so much for every grain beyond reach, at most; a leap further than *_FAR*
#: grains beyond reach shows more by itself, since nothing real does it (log odds, judgement).
_PER_GRAIN, _MOST, _FAR, _FAR_SHARE, _FAR_MOST = 2.5, 3.5, 8.0, 0.5, 3.0


def usual_reach(taken: Floats, profile: Profile) -> Floats:
    """Return how far a quantity may move between two readings without anyone wondering.

    Lively for five seconds, then at a tenth of the largest credible rate: 0.3 degC a second is all
    the heat of full load in the coolant and the iron it wets (``physics`` coolant).

    Args:
        taken: time between the readings [s].
        profile: what the quantity does.

    Returns:
        Reach, house unit.
    """
    lively = 1.2 * profile.brisk * profile.scale
    return np.asarray(
        lively * np.minimum(taken, 5.0) + 0.1 * profile.credible * np.maximum(taken - 5.0, 0.0)
    )


def leap_shows(size: float, taken: float, step: float, profile: Profile) -> float:
    """Return the log odds that one leap can show at most.

    Args:
        size: of the leap, house unit.
        taken: time between its two readings [s].
        step: resolution of the reading, house unit.
        profile: what the quantity does.
    """
    beyond = size - 1.01 * step - float(usual_reach(np.asarray(taken), profile))
    return float(_shows(np.asarray(beyond), step, profile))


def shown(
    time: Floats, plain: Floats, pieces: Sequence[tuple[int, int]], step: float,
    doubt: Floats | None, profile: Profile, spans: Sequence[tuple[float, float]],
) -> float:  # fmt: skip
    """Return the log odds that the leaps into, within and out of the spans can show at most.

    Args:
        time: shape (n,), [s].
        plain: shape (n,), readings less what is explained, house unit.
        pieces: (first, end) of the pieces between gaps.
        step: resolution, house unit.
        doubt: shape (n,), variance of what is explained, house unit squared, or ``None``.
        profile: what the quantity does.
        spans: (start, end) of what is laid at the circuit's door [s].
    """
    if time.size < 2 or not spans:
        return 0.0
    joined = np.ones(time.size - 1, np.bool_)
    joined[[first - 1 for first, _ in pieces if first > 0]] = False
    near = np.zeros(time.size - 1, np.bool_)
    for start, end in spans:
        near |= (time[1:] >= start - 1e-6) & (time[:-1] <= end + 1e-6)
    taken, leaps = np.diff(time), np.abs(np.diff(plain))
    beyond = leaps - 1.01 * step - usual_reach(taken, profile)
    if doubt is not None:
        beyond = beyond - np.sqrt(doubt[1:] + doubt[:-1])
    return float(_shows(beyond[joined & near], step, profile).sum())


def without_defaults(
    time: Floats, values: Floats, pieces: Sequence[tuple[int, int]], scale: float
) -> tuple[Floats, Floats]:
    """Leave out what a control unit sends before it has read its sensor, behind any gap.

    A run of one value at the beginning of a piece, then at once readings far from it that stay;
    the same at the end of a piece before a gap (the unit going to sleep). Where the piece ends
    before two or three readings show that they stay, which of them was read is not known, and none
    of the piece counts.

    Args:
        time: shape (n,), [s].
        values: shape (n,), house unit.
        pieces: (first, end) of the pieces between gaps.
        scale: of the quantity, house unit.

    Returns:
        Time and values without them.
    """
    keep = np.ones(time.size, np.bool_)
    for number, (first, end) in enumerate(pieces):
        t, v = time[first:end], values[first:end]
        lead = _default(t - t[0], v, scale)
        keep[first : first + lead] = False
        if number + 1 < len(pieces):
            tail = _default(t[-1] - t[::-1], v[::-1], scale)
            keep[end - tail : end] = False
    return time[keep], values[keep]


def _default(since: Floats, values: Floats, scale: float) -> int:
    """Return how many samples at the beginning are defaults, one value after another; 0: none."""
    moves = np.abs(np.diff(values))
    leaps: list[int] = []
    for place, moved in enumerate(moves.tolist(), start=1):
        if since[place] > _DEFAULT_S or 0.0 < moved < _DEFAULT_STEP * scale:
            break
        if moved > 0.0:
            leaps.append(place)
    for first in reversed(leaps):
        if values.size - first < 3:
            return int(values.size)
        later = values[first:][since[first:] <= since[first] + _BACK_S]
        # Readings never come back to what was sent; a dip does.
        sent = values[[place - 1 for place in leaps if place <= first]]
        near = np.full(sent.size, 0.5 * _DEFAULT_STEP * scale)
        near[-1] = 0.5 * moves[first - 1]
        if later.size >= 3 and not (np.abs(later[:, None] - sent) <= near).any():
            return first
    return 0


def _shows(beyond: Floats, step: float, profile: Profile) -> Floats:
    grains = np.maximum(beyond, 0.0) / max(step, 0.5 * profile.scale)
    near = np.minimum(_PER_GRAIN * grains, _MOST)
    far = np.clip(_FAR_SHARE * (grains - _FAR), 0.0, _FAR_MOST)
    return np.asarray(near + far)
