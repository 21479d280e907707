"""What the engine's work explains of a pressure: the rest is what a circuit may have made.

A pump follows the engine speed, a turbocharger the load, both with a lag. That part is fitted on
the recording itself (least squares that forgive outliers, the slow changes taken out first) and
subtracted; how badly the fit may err while the work changes quickly is added to the variance of
the sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.analyses.sensors.liveliness import Profile
from witnessmark.analyses.sensors.trace_samples import SensorTrace, own_noise, resolution
from witnessmark.late import late
from witnessmark.model.recording import Channel, Floats, Recording

if TYPE_CHECKING:
    from scipy import ndimage, signal
else:
    ndimage = late("scipy.ndimage")
    signal = late("scipy.signal")

__all__ = ["FOLLOWS", "Explained", "explained", "prepare_explained"]

#: What each pressure follows. All of these must be on the recording for it to be judged.
FOLLOWS: dict[str, tuple[str, ...]] = {
    "oil_pressure": ("engine_speed",),
    "fuel_delivery_pressure": ("engine_speed",),
    "coolant_pressure": ("engine_speed",),
    "boost_pressure": ("engine_speed", "engine_load"),
    "intake_manifold_pressure": ("engine_speed", "engine_load"),
    "exhaust_back_pressure": ("engine_speed", "engine_load"),
    "barometric_pressure": (),
}
#: What else helps where it is there.
_HELPS = ("engine_load", "pedal_position", "throttle_position", "engine_torque")
_LAGS_S = (1.0, 4.0)
_SLOW_S = 60.0
_NEAR_S = 2.5
_ERR = 0.4
_FIT_ON = 6000
_THIN_S, _AROUND_S = 0.45, 40.0
_LEAST_S = 0.1
_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Explained:
    """A pressure's samples with what the engine's work explains.

    Attributes:
        time: shape (n,), [s].
        values: shape (n,), readings, house unit.
        work: shape (n,), the explained part, mean zero, house unit.
        variance: shape (n,), what the fit may err by there, squared.
    """

    time: Floats
    values: Floats
    work: Floats
    variance: Floats


def explained(recording: Recording, channel: Channel) -> Explained | None:
    """Return the channel with what the work explains; ``None`` where that cannot be told."""
    follows = FOLLOWS.get(channel.name)
    mask = channel.valid()
    time, values = channel.time_s[mask], channel.values[mask]
    if follows is None or time.size < 30 or time[-1] - time[0] < 60.0:
        return None
    # At most ten samples a second: nothing shorter is asked of a pressure.
    beat = np.floor((time - time[0]) / _LEAST_S + 1e-6)
    first = np.concatenate([[True], np.diff(beat) > 0.0])
    time, values = time[first], values[first]
    if time.size < 30:
        return None
    if not follows:
        return Explained(time, values, np.zeros(time.size), np.zeros(time.size))
    sources = []
    for name in dict.fromkeys((*follows, *_HELPS)):
        other = recording.channel(name)
        good = other.valid() if other is not None else np.zeros(0, np.bool_)
        if other is None or np.count_nonzero(good) < 30:
            if name in follows:
                return None
            continue
        if other.time_s[good][0] > time[0] + 60.0 or np.std(other.values[good]) == 0.0:
            continue
        sources.append((other.time_s[good], other.values[good]))
    work = _fit(time, values, sources)
    per = max(float(np.median(np.diff(time))), 1e-3)
    width = 2 * max(round(_NEAR_S / per), 1) + 1
    moved = ndimage.maximum_filter1d(work, width) - ndimage.minimum_filter1d(work, width)
    return Explained(time, values, work, (_ERR * moved) ** 2)


def prepare_explained(found: Explained, profile: Profile) -> SensorTrace | None:
    """Return the trace to judge; ``None`` where nothing steps at all.

    Only the surroundings of steps are judged: elsewhere nothing happened, and how long that was
    is told to the filter.
    """
    plain = found.values - found.work
    per = max(float(np.median(np.diff(found.time))), 1e-3)
    step = resolution(found.values, profile.scale)
    noise = min(own_noise(plain), profile.scale)
    side = max(round(2.0 / per), 2)
    away = np.abs(plain - ndimage.median_filter(plain, 4 * side + 1, mode="nearest"))
    sure = np.sqrt(found.variance + noise**2)
    odd = away > np.maximum(1.2 * profile.scale, 4.0 * sure)
    if not odd.any():
        return None
    # About two samples a second, and every one near a step.
    beat = np.floor((found.time - found.time[0]) / _THIN_S)
    near = np.convolve(odd, np.ones(2 * side + 1), mode="same") > 0
    keep = near | np.concatenate([[True], np.diff(beat) > 0])
    time = found.time[keep]
    marks = time[odd[keep]]
    at = np.clip(np.searchsorted(marks, time), 1, max(marks.size - 1, 1))
    gap = np.minimum(
        np.abs(time - marks[at - 1]), np.abs(time - marks[np.minimum(at, marks.size - 1)])
    )
    longest = max(20.0, 6.0 * per)
    broken = np.concatenate([[True], np.diff(time) > longest])
    judged = gap <= _AROUND_S
    begins = np.flatnonzero(judged & (broken | ~np.concatenate([[False], judged[:-1]])))
    ends = np.flatnonzero(judged & np.concatenate([broken[1:] | ~judged[1:], [True]])) + 1
    pieces = tuple((int(a), int(b)) for a, b in zip(begins, ends, strict=True))
    covered = sum(float(time[b - 1] - time[a]) for a, b in pieces)
    whole = float(time[-1] - time[0]) - float(np.diff(time)[broken[1:]].sum())
    return SensorTrace(
        time=time,
        values=found.values[keep],
        pieces=pieces,
        interval=per,
        step=step,
        noise=noise,
        gaps=int(broken.sum()) - 1,
        work=found.work[keep],
        doubt=found.variance[keep],
        calm_s=max(whole - covered, 0.0),
    )


def _fit(time: Floats, values: Floats, sources: Sequence[tuple[Floats, Floats]]) -> Floats:
    columns = []
    for when, what in sources:
        columns.append(np.interp(time, when, what))
        columns += [np.interp(time, when, _lagged(when, what, lag)) for lag in _LAGS_S]
    if len(sources) > 1:
        columns += [a * columns[0] for a in columns[3:6]]
    if not columns:
        return np.zeros(time.size)
    table = np.column_stack([_quick(time, c) for c in columns])
    spread = table.std(axis=0)
    table = table[:, spread > 0.0] / spread[spread > 0.0]
    target = _quick(time, values)
    stride = max(time.size // _FIT_ON, 1)
    a, y = table[::stride], target[::stride]
    weight = np.ones(y.size)
    factors = np.zeros(table.shape[1])
    ridge = 1e-3 * y.size * np.eye(table.shape[1])
    for _ in range(_ROUNDS):
        weighted = a * weight[:, None]
        factors = np.linalg.solve(weighted.T @ a + ridge, weighted.T @ y)
        away = np.abs(y - a @ factors)
        limit = max(2.0 * 1.4826 * float(np.median(away)), 1e-9)
        weight = np.minimum(1.0, limit / np.maximum(away, 1e-12)) ** 2
    return np.asarray(table @ factors)


def _quick(time: Floats, values: Floats) -> Floats:
    """Return the values less their slow course (a running median over a minute)."""
    beats = np.arange(time[0], time[-1] + 1.0, 1.0)
    each = np.interp(beats, time, values)
    size = int(_SLOW_S)
    slow = ndimage.median_filter(each, size=size + 1, mode="nearest")
    return np.asarray(values - np.interp(time, beats, slow))


def _lagged(time: Floats, values: Floats, lag: float) -> Floats:
    """Return the values behind a first-order lag [s]."""
    beats = np.arange(time[0], time[-1] + 0.25, 0.25)
    each = np.interp(beats, time, values)
    keep = np.exp(-0.25 / lag)
    start = signal.lfiltic([1.0 - keep], [1.0, -keep], [each[0]])
    out, _ = signal.lfilter([1.0 - keep], [1.0, -keep], each, zi=start)
    return np.asarray(np.interp(time, beats, out))
