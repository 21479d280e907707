"""Marks counted by a second pickup, and wheels read although teeth are missing.

A wheel without gaps is counted from one mark of the camshaft, or of a once-a-turn pickup, to the
next: that gives its number of teeth, and a tooth that did not come, or one too many, is put right
before the count slips. A wheel with gaps is found from the places (a missing tooth leaves a step of
two places and moves no other), where the pattern in marks fails because of missing teeth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.model.recording import Floats

if TYPE_CHECKING:
    from scipy import ndimage
else:
    ndimage = late("scipy.ndimage")

__all__ = ["TurnCount", "count_turns", "pattern_in_places", "slips_mended"]

Ints = npt.NDArray[np.int64]

#: A wheel of more places than this is none on a crankshaft (judgement), so such a span is a cycle.
_MOST_PLACES = 200
_LEAST_PLACES = 16


@dataclass(frozen=True, slots=True)
class TurnCount:
    """What a second pickup says of the wheel.

    Attributes:
        places: teeth of the wheel.
        cycle: its pattern spans two turns (camshaft); ``False``: one turn.
        every: marks of the pickup to a repetition of its pattern.
        at: shape (m,), count of places at each of its marks.
    """

    places: int
    cycle: bool
    every: int
    at: Floats


def count_turns(
    time: Floats, place: Ints, turns: Floats, *, told: int | None = None, cam: bool | None = None
) -> TurnCount | None:
    """Count the teeth between the marks of a second pickup.

    Args:
        time: shape (n,), edges of the wheel [s].
        place: shape (n,), count of places so far.
        turns: shape (m,), edges of the second pickup [s].
        told: number of teeth that was told; it decides between one turn and two where it fits,
            and is left aside where the teeth themselves say otherwise.
        cam: whether the pickup is known to be the camshaft's.

    Returns:
        The count, or ``None`` where the two do not go together.
    """
    inside = turns[(turns >= time[0]) & (turns <= time[-1])]
    if len(inside) < 4:
        return None
    at = np.interp(inside, time, place.astype(np.float64))
    steps = np.diff(at)
    for every in range(1, min(12, len(steps) // 2) + 1):
        spans = at[every:] - at[:-every]
        span = float(np.median(spans))
        if np.quantile(np.abs(spans - span), 0.6) > max(0.6, 0.004 * span):
            continue
        cycle = _is_cycle(span, every, told, cam)
        places = span / 2.0 if cycle else span
        whole = round(places)
        if abs(places - whole) > 0.3 or whole < _LEAST_PLACES:
            return None
        return TurnCount(whole, cycle, every, at)
    return None


def slips_mended(
    ratio: Floats, place: Ints, time: Floats, turns: Floats, found: TurnCount
) -> tuple[Ints, int]:
    """Put the count right where it slipped between two marks of the second pickup.

    Args:
        ratio: shape (n - 1,), steps against the local single step.
        place: shape (n,), count of places so far.
        time: shape (n,), edges of the wheel [s].
        turns: shape (m,), edges of the second pickup [s].
        found: what :func:`count_turns` said.

    Returns:
        Places, shape (n,), never falling; and how many were put right.
    """
    inside = turns[(turns >= time[0]) & (turns <= time[-1])]
    at = np.interp(inside, time, place.astype(np.float64))[:: found.every]
    when = inside[:: found.every]
    span = found.places * (2 if found.cycle else 1)
    # Only a slip that lasts is one: a mark of the second pickup that came late moves nothing.
    off = np.rint(ndimage.median_filter(at[0] + span * np.arange(len(at)) - at, 5, mode="nearest"))
    count = np.diff(place)
    mended = 0
    for j in range(1, len(at)):
        lost = int(off[j] - off[j - 1])
        if lost == 0 or abs(lost) > found.places // 4:
            continue
        i, k = np.searchsorted(time, (when[j - 1], when[j]))
        i, k = max(int(i) - 1, 0), min(int(k), len(count))
        # A step that is wider, or narrower, than what was counted for it gives most.
        odd = ratio[i:k] - count[i:k] if lost > 0 else count[i:k] - ratio[i:k]
        for _ in range(abs(lost)):
            worst = int(np.argmax(odd))
            count[i + worst] += 1 if lost > 0 else -1
            odd[worst] -= 1.0
            mended += 1
    return np.concatenate(([place[0]], place[0] + np.cumsum(np.maximum(count, 0)))), mended


def pattern_in_places(
    ratio: Floats, told: int | None = None
) -> tuple[Ints, int, tuple[int, ...]] | None:
    """Find the pattern of gaps in places, so that missing teeth do not shift it.

    Args:
        ratio: shape (n,), steps against the local single step.
        told: places on the wheel where it was told.

    Returns:
        Places that every step spans, shape (n,), places on the wheel, and the places of the gaps
        counted from the first edge; ``None`` where no pattern is seen in most turns.
    """
    count = np.maximum(1, np.rint(ratio)).astype(np.int64)
    place = np.concatenate(([0], np.cumsum(count)))
    wide = np.flatnonzero(ratio > 1.6)
    if len(wide) < 4:
        return None
    at = place[wide]
    votes: dict[int, int] = {}
    for jump in range(1, min(6, len(at) - 1)):
        for span in (at[jump:] - at[:-jump]).tolist():
            votes[int(span)] = votes.get(int(span), 0) + 1
    likely = sorted(votes, key=lambda s: (-votes[s], s))[:6]
    for wheel in sorted({*([told] if told else []), *likely}):
        if wheel < _LEAST_PLACES // 2 or place[-1] < 3 * wheel:
            continue
        turns = place[-1] / wheel
        spots, seen = np.unique(at % wheel, return_counts=True)
        gaps = spots[seen >= 0.7 * turns]
        if not len(gaps):
            continue
        widths = {int(g): round(float(np.median(ratio[wide][at % wheel == g]))) for g in gaps}
        lost = [p for g, w in widths.items() for p in range(g + 1, g + w)]
        return count, wheel, tuple(sorted(p % wheel for p in lost))
    return None


def _is_cycle(span: float, every: int, told: int | None, cam: bool | None) -> bool:
    if told is not None:
        if abs(span - 2 * told) < 0.6:
            return True
        if abs(span - told) < 0.6:
            return False
    if cam is not None:
        return cam
    return every > 1 or span > _MOST_PLACES
