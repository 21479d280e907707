"""Whether two recordings are one: the same bytes, the same drive, or a longer copy of it."""

from __future__ import annotations

from typing import Literal

import numpy as np

from witnessmark.model.recording import Channel, Floats, Recording

__all__ = ["Relation", "relation"]

Relation = Literal["same", "longer", "shorter", "different"]
#: Values of a stretch, and stretches that have to be found.
_STRETCH, _FEWEST = 24, 12
#: Two adapters stamp one frame this much apart, give or take the usual distance [s].
_UNEVEN_S = 0.05
#: Name, sender and bus.
_Key = tuple[str, int | None, str]
#: Fewer samples in common prove nothing.
_LEAST = 20


def relation(first: Recording, second: Recording) -> Relation:
    """Say how *second* relates to *first*.

    ``same``: the same bytes, or the same samples in another file. ``longer``: *second* begins
    with all of *first* and goes on. ``shorter``: the other way round.
    """
    if first.sha256 == second.sha256:
        return "same"
    if first.kind != second.kind or not first.channels or not second.channels:
        return "different"
    mine, other = _by_key(first), _by_key(second)
    if first.kind == "bus" and (heard := _heard_twice(first, second)) is not None:
        return heard
    longer, shorter = _begins_with(other, mine), _begins_with(mine, other)
    if longer and shorter:
        return "same"
    if longer:
        return "longer"
    return "shorter" if shorter else "different"


def _by_key(recording: Recording) -> dict[_Key, Channel]:
    found: dict[_Key, Channel] = {}
    for channel in recording.channels:
        found.setdefault((channel.name, channel.source, channel.bus), channel)
    return found


def _begins_with(long: dict[_Key, Channel], short: dict[_Key, Channel]) -> bool:
    """Say whether every channel of *short* stands at the beginning of *long*.

    Something has to tell the drive from another one: a value that moves, or, where nothing does
    (the key is on, the engine is not), time stamps as irregular as no two recordings share.
    Values that were found to be defaults or substitutes are compared by time only: more of a
    recording can change that judgement.
    """
    compared = moving = 0
    for key, channel in short.items():
        whole = long.get(key)
        if whole is None or whole.values.size < channel.values.size:
            return False
        count = channel.values.size
        if not np.allclose(channel.time_s, whole.time_s[:count], atol=1e-6, equal_nan=True):
            return False
        both = channel.valid() & whole.valid()[:count]
        mine, theirs = channel.values[both], whole.values[:count][both]
        if not np.array_equal(mine, theirs):
            return False
        compared += int(both.sum())
        moving += int(mine.size > 1 and np.ptp(mine) > 0.0) or _irregular(channel.time_s)
    return compared >= _LEAST and moving > 0


def _heard_twice(first: Recording, second: Recording) -> Relation | None:
    """Say how two adapters' recordings of one bus relate; ``None`` where they are not of one.

    Two adapters give one frame different stamps, and each loses some. What tells one drive is
    the order of a signal's values: stretches of values that are found in the other recording, all
    of them by the same distance of the clocks.
    """
    name = next((c.name for c in first.channels if _tells(c) and second.channel(c.name)), None)
    mine, other = (r.channel(name) if name else None for r in (first, second))
    if mine is None or other is None or not _tells(other):
        return None
    (a, at), (b, there) = _readings(mine), _readings(other)
    places = {a[n : n + _STRETCH].tobytes(): n for n in range(a.size - _STRETCH + 1)}
    pairs = [
        (places[key], n)
        for n in range(0, b.size - _STRETCH + 1, _STRETCH)
        if len(set(b[n : n + _STRETCH].tolist())) >= _STRETCH // 3
        and (key := b[n : n + _STRETCH].tobytes()) in places
    ]
    if len(pairs) < _FEWEST:
        return None
    apart = np.array([there[m] - at[n] for n, m in pairs])
    middle = float(np.median(apart))
    if np.count_nonzero(np.abs(apart - middle) <= _UNEVEN_S) < 0.8 * len(pairs):
        return None
    if abs(middle) < 1e-6 and first.frames == second.frames:
        return None  # the same samples: compared one by one
    start, end = max(at[0], there[0] - middle), min(at[-1], there[-1] - middle)
    span = max(end - start, 0.0)
    whole = [span >= 0.97 * (t[-1] - t[0]) for t in (at, there)]
    if all(whole):
        return "same"
    if whole[0]:
        return "longer"
    return "shorter" if whole[1] else None


def _tells(channel: Channel) -> bool:
    valid = channel.valid()
    return int(valid.sum()) >= _FEWEST * _STRETCH and np.unique(channel.values[valid]).size >= 50


def _readings(channel: Channel) -> tuple[Floats, Floats]:
    valid = channel.valid()
    return channel.values[valid], channel.time_s[valid]


def _irregular(time: Floats) -> bool:
    """Say whether the steps between the stamps differ like a fingerprint."""
    steps = np.round(np.diff(time[:2000]), 6)
    if steps.size < 100 or np.isnan(steps[0]):
        return False
    kinds, counts = np.unique(steps, return_counts=True)
    share = counts / steps.size
    told = -float((share * np.log2(share)).sum()) * steps.size  # bits
    return bool(kinds.size >= 8 and told >= 500.0)
