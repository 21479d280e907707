"""From a pickup to the marks of a wheel: edges, false edges, gaps, and which mark is which.

A wheel has N evenly spaced places, of which some carry no mark (the gaps). The pattern of gaps is
found from the edges themselves; a wheel without gaps needs its number of marks told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.twist.counted_marks import (
    count_turns,
    pattern_in_places,
    slips_mended,
)

__all__ = [
    "Marks",
    "drop_false_edges",
    "edges_of_levels",
    "edges_of_waveform",
    "find_marks",
    "marks_by_turns",
    "other_wheels",
    "sectors_by_cam",
]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
#: Equal sectors of a wheel; more is another kind of wheel.
_MOST_SECTORS = 4
#: Places of wheels whose gaps come back within the turn (from memory).
_TOTALS = (24, 36, 60)


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of a wheel as they passed.

    Attributes:
        time: shape (n,), when each mark passed [s].
        place: shape (n,), number of places since the first index, never falling back; the mark's
            place on the wheel is ``place % places``.
        places: places on the wheel, marks and gaps together.
        gaps: places without a mark, on the wheel.
        indexed: the wheel has gaps, so a turn can be told from the next and places are absolute.
        false_edges: edges thrown out.
        missed: marks that did not come.
    """

    time: Floats
    place: Ints
    places: int
    gaps: tuple[int, ...]
    indexed: bool
    false_edges: int
    missed: int

    def angle(self) -> Floats:
        """Return the nominal crank angle of every mark [rad], turns counted on."""
        return np.asarray(2 * np.pi * self.place / self.places)

    def turn_speeds(self) -> Floats:
        """Return the mean speed over each whole turn [r/min], shape (turns,)."""
        first = int(np.ceil(self.place[0] / self.places))
        last = int(self.place[-1] // self.places)
        if last <= first:
            return np.zeros(0)
        at = np.interp(np.arange(first, last + 1) * self.places, self.place, self.time)
        return np.asarray(60.0 / np.diff(at))

    def repeated(self, sectors: int) -> Marks:
        """Return the same marks on a wheel whose pattern comes back *sectors* times a turn."""
        gaps = tuple(g + n * self.places for n in range(sectors) for g in self.gaps)
        return replace(self, places=self.places * sectors, gaps=gaps)

    def speeds(self) -> Floats:
        """Return the instantaneous speed between marks [r/min], shape (n - 1,)."""
        return np.asarray(60.0 * np.diff(self.place) / self.places / np.diff(self.time))


def edges_of_levels(time: Floats, level: Floats) -> Floats:
    """Return the times of the rising edges of a logic capture.

    Args:
        time: shape (n,), time of each change [s].
        level: shape (n,), level from then on.
    """
    half = 0.5 * (float(np.min(level)) + float(np.max(level)))
    high = np.asarray(level) > half
    return np.asarray(time[1:][high[1:] & ~high[:-1]], dtype=np.float64)


def edges_of_waveform(values: Floats, rate: float, *, start: float = 0.0) -> Floats:
    """Return the rising crossings of a pickup's waveform, to a fraction of a sample.

    The level follows the middle of the waveform over about a turn; a crossing counts only when
    the signal has been below a fifth of its local swing before (hysteresis), so that ripple on a
    slope gives one edge. Straight line between the two samples around the crossing.

    Args:
        values: shape (n,) [any unit].
        rate: samples a second [Hz].
        start: time of the first sample [s].
    """
    x = np.asarray(values, dtype=np.float64)
    if len(x) < 64:
        return np.zeros(0)
    block = max(32, int(0.02 * rate))
    whole = len(x) // block * block
    pieces = x[:whole].reshape(-1, block)
    middle_at = (np.arange(len(pieces)) + 0.5) * block
    high = _wide(pieces.max(axis=1), highest=True)
    low = _wide(pieces.min(axis=1), highest=False)
    n = np.arange(len(x))
    # The level is straight between the blocks: no jumps that would move crossings.
    level = np.interp(n, middle_at, 0.5 * (high + low))
    swing = np.interp(n, middle_at, high - low)
    y = x - level
    armed_below = y < -0.2 * swing
    crossing = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
    if not len(crossing):
        return np.zeros(0)
    arms = np.concatenate(([0], np.cumsum(armed_below)))
    counts = arms[crossing + 1]
    fresh = np.concatenate(([counts[0] > 0], np.diff(counts) > 0))
    at = crossing[fresh]
    part = -y[at] / (y[at + 1] - y[at])
    return np.asarray(start + (at + part) / rate)


def drop_false_edges(time: Floats) -> tuple[Floats, int]:
    """Throw out edges that come far too early; return the rest and how many went.

    An interval under 0.4 of its neighbours' median cannot be a mark: an engine does not change
    speed that fast between marks. Of its two edges the one goes whose loss leaves the more even
    neighbours.
    """
    t = np.asarray(time, dtype=np.float64)
    dropped = 0
    while len(t) > 8:
        step = np.diff(t)
        typical = _local_median(step)
        short = np.flatnonzero(step < 0.4 * typical)
        if not len(short):
            break
        out: list[int] = []
        last = -3
        for i in (int(n) for n in short):
            if i - last < 3:
                continue  # look again at neighbours once this one is gone
            last = i
            left = abs(math.log((t[i + 1] - t[i - 1] + 1e-12) / typical[i])) if i else 9.0
            right = abs(math.log((t[i + 2] - t[i] + 1e-12) / typical[i])) if i + 2 < len(t) else 9.0
            out.append(i if left < right else i + 1)
        t = np.delete(t, out)
        dropped += len(out)
    return t, dropped


def find_marks(time: Floats, *, places: int | None = None, missing: int | None = None) -> Marks:
    """Say which mark each edge is.

    Args:
        time: shape (n,), edges [s].
        places: places on the wheel where it was told; needed for a wheel without gaps.
        missing: marks missing on the wheel, where it was told.

    Raises:
        ValueError: too few edges, or a wheel without gaps whose number of marks was not told.
    """
    t, dropped = drop_false_edges(np.asarray(time, dtype=np.float64))
    if len(t) < 12:
        raise ValueError("too few edges for a wheel")
    step = np.diff(t)
    ratio = step / _single(step)
    pattern = None if missing == 0 else _pattern(ratio)
    if pattern is not None:
        pattern = pattern[0], _refined(step, *pattern)
    if pattern is None and missing != 0 and (by_place := pattern_in_places(ratio, places)):
        counted, wheel, _ = by_place
        place, gaps, missed = _anchor(counted, wheel)
        if places in {None, wheel}:
            return Marks(t, place, wheel, gaps, True, dropped, missed)
    if pattern is None:
        if places is None:
            raise ValueError("the wheel shows no gap; say how many marks it has")
        # A mark that did not come leaves a whole multiple among even neighbours; on an unevenly
        # cut wheel nothing can be told from the widths.
        even = 1.4826 * float(np.median(np.abs(ratio - np.median(ratio)))) < 0.08
        whole = np.abs(ratio - np.rint(ratio)) < 0.2
        count = np.where(even & whole, np.maximum(1, np.rint(ratio)), 1).astype(np.int64)
        place = np.concatenate(([0], np.cumsum(count)))
        return Marks(t, place, places, (), False, dropped, int(np.sum(count - 1)))
    count, wheel = _counts(ratio, *pattern)
    sectors = 1
    if places is not None and wheel != places and places % wheel == 0:
        sectors = places // wheel
    if (places is not None and wheel * sectors != places) or sectors > _MOST_SECTORS:
        raise ValueError(
            f"the edges show a wheel of {wheel} places, but {places} were given for it"
        )
    place, gaps, missed = _anchor(count, wheel)
    return Marks(t, place, wheel, gaps, True, dropped, missed).repeated(sectors)


def marks_by_turns(
    time: Floats, turns: Floats, *, places: int | None = None, cam: bool | None = None
) -> tuple[Marks, bool] | None:
    """Say which mark each edge of a wheel without gaps is, by a second pickup that counts turns.

    Args:
        time: shape (n,), edges of the wheel [s].
        turns: shape (m,), edges of the camshaft's or the once-a-turn pickup [s].
        places: teeth of the wheel where it was told; where the count says otherwise, the count
            is taken.
        cam: whether the second pickup is known to be the camshaft's.

    Returns:
        The marks, places counted from a mark of the second pickup, and whether it tells one turn
        of a cycle from the other; ``None`` where the two do not go together.
    """
    t, dropped = drop_false_edges(np.asarray(time, dtype=np.float64))
    if len(t) < 12:
        return None
    step = np.diff(t)
    ratio = step / _single(step)
    count = np.where(ratio > 1.6, np.maximum(1, np.rint(ratio)), 1).astype(np.int64)
    place = np.concatenate(([0], np.cumsum(count)))
    found = count_turns(t, place, turns, told=places, cam=cam)
    if found is None:
        return None
    place, mended = slips_mended(ratio, place, t, turns, found)
    keep = np.concatenate(([True], np.diff(place) > 0))
    place = place - round(float(found.at[0]))
    lost = int(np.sum(np.diff(place[keep]) - 1))
    marks = Marks(t[keep], place[keep], found.places, (), True, dropped + int(np.sum(~keep)), lost)
    del mended
    return marks, found.cycle


def sectors_by_cam(marks: Marks, cam: Floats) -> tuple[int, bool] | None:
    """Say how often the pattern of a crankshaft's wheel comes back within a turn.

    The camshaft turns once in two turns of the crankshaft, so its own pattern spans twice the
    places of the wheel.

    Args:
        marks: with the pattern taken for a whole turn.
        cam: shape (n,), edges of the camshaft's pickup [s].

    Returns:
        The number, and whether it is certain: a cam wheel of evenly spaced marks shows a part of
        its turn only. ``None`` where the two do not go together.
    """
    inside = cam[(cam >= marks.time[0]) & (cam <= marks.time[-1])]
    if len(inside) < 4:
        return None
    at = np.interp(inside, marks.time, marks.place)
    step = np.diff(at)
    for count in range(1, min(12, len(step) // 2) + 1):
        again = np.abs(step[count:] - step[:-count])
        if np.quantile(again, 0.8) > max(0.75, 0.03 * float(np.median(step))):
            continue
        span = float(np.median(at[count:] - at[:-count]))
        sectors = span / (2 * marks.places)
        whole = round(sectors)
        if whole < 1 or abs(sectors - whole) > 0.06 or whole > _MOST_SECTORS:
            return None
        return whole, count > 1
    return None


def other_wheels(marks: Marks) -> tuple[Marks, ...]:
    """Return what else the wheel can be where only its teeth are there.

    Teeth alone do not tell a pattern that fills the turn from one that comes back two or three
    times in it. Totals of 24, 36 and 60 places are in use (from memory); others are not offered.
    """
    if not marks.indexed:
        return ()
    return tuple(marks.repeated(n) for n in (2, 3) if marks.places * n in _TOTALS)


def _wide(values: Floats, *, highest: bool) -> Floats:
    """Join each block with its neighbours: the highest, or the lowest, of the three."""
    padded = np.concatenate((values[:1], values, values[-1:]))
    three = np.stack((padded[:-2], padded[1:-1], padded[2:]))
    return np.asarray(three.max(axis=0) if highest else three.min(axis=0), dtype=np.float64)


def _local_median(step: Floats, reach: int = 4) -> Floats:
    padded = np.pad(step, reach, mode="reflect")
    view = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.median(view, axis=1))


def _single(step: Floats) -> Floats:
    """The length of one place beside each step, from the median of the steps around it."""
    first = _local_median(step)
    # Once more with the wide ones divided, so that crowded gaps do not lift the median.
    return _local_median(step / np.maximum(1, np.rint(step / first)))


def _pattern(ratio: Floats) -> tuple[int, dict[int, int]] | None:
    """The pattern of gaps: (marks a turn, mark before the gap -> places it spans), or none.

    The period is found in marks, not places: at cranking speed a gap of three places may look
    like two or four, but it comes back after the same number of marks.
    """
    wide = np.flatnonzero(ratio > 1.6)
    if len(wide) < 3:
        return None
    best: tuple[float, int] | None = None
    for jump in range(1, min(9, len(wide) - 1)):
        values, votes = np.unique(wide[jump:] - wide[:-jump], return_counts=True)
        period = int(values[np.argmax(votes)])
        share = float(votes.max()) / (len(wide) - jump)
        if period >= 5 and share >= 0.6 and (best is None or share > best[0] + 0.15):
            best = (share, period)
    if best is None:
        return None
    period = best[1]
    spots, votes = np.unique(wide % period, return_counts=True)
    turns = len(ratio) / period
    spans: dict[int, int] = {}
    for spot, vote in zip(spots, votes, strict=True):
        here = ratio[spot::period]
        if vote >= 0.5 * turns:
            spans[int(spot)] = max(2, round(float(np.median(here))))
    return (period, spans) if spans else None


def _refined(step: Floats, period: int, spans: dict[int, int]) -> dict[int, int]:
    """Settle how many places each gap spans by the speed on both sides of it.

    An engine that speeds up and slows down within a turn makes a gap look wider or narrower
    against the marks around it. A quadratic through the time per place of the three nearest single
    steps on each side tells what a place takes within the gap; the whole number of places that
    comes closest is taken.
    """
    turns = len(step) // period
    if turns < 2:
        return spans
    whole = step[: turns * period].reshape(turns, period)
    shape = np.median(whole / whole.sum(axis=1, keepdims=True), axis=0)
    found = dict(spans)
    for spot in sorted(spans):
        off: dict[int, float] = {}
        for span in range(max(2, spans[spot] - 1), spans[spot] + 2):
            expected = _per_place(shape, period, {**found, spot: span}, spot)
            if expected is None or expected <= 0.0:
                return spans
            off[span] = abs(math.log(float(shape[spot]) / span / expected))
        best = min(off, key=lambda span: off[span])
        # Unevenly cut teeth disturb the curve as well: only what fits far better counts.
        if off[best] < 0.4 * off[spans[spot]]:
            found[spot] = best
    return found


def _per_place(shape: Floats, period: int, spans: dict[int, int], spot: int) -> float | None:
    """The time of one place within the gap at *spot*, from the single steps on both sides."""
    reach = 5 if period >= 48 else 3
    at: list[float] = []
    value: list[float] = []
    for way in (-1, 1):
        distance, taken = spans[spot] / 2, 0
        for k in range(1, min(period, 3 * reach)):
            other = (spot + way * k) % period
            width = spans.get(other, 1)
            if width == 1:
                at.append(way * (distance + 0.5))
                value.append(float(shape[other]))
                taken += 1
            distance += width
            if taken == reach:
                break
    if len(at) < 5:
        return None
    curve = np.polynomial.Polynomial.fit(at, value, 2).convert().coef
    square = float(curve[2]) if len(curve) > 2 else 0.0
    return float(curve[0]) + square * spans[spot] ** 2 / 12.0


def _counts(ratio: Floats, period: int, spans: dict[int, int]) -> tuple[Ints, int]:
    """Places that every step spans, and places on the wheel."""
    wheel = period + sum(size - 1 for size in spans.values())
    count = np.ones(len(ratio), dtype=np.int64)
    sizes = np.array([spans.get(i, 1) for i in range(period)])
    phase, i = _first_phase(ratio[: 2 * period] > 1.6, sizes > 1), 0
    while i < len(ratio):
        expected = int(sizes[phase])
        seen = float(ratio[i])
        if expected == 1 and seen > 1.6:
            # A mark that did not come; or counting slipped and this is the gap itself.
            ahead = next((k for k in (1, 2) if sizes[(phase + k) % period] > 1), 0)
            behind = next((k for k in (1, 2) if sizes[(phase - k) % period] > 1), 0)
            if ahead and not _gap_follows(ratio, i, ahead):
                phase = (phase + ahead) % period
                expected = int(sizes[phase])
            elif behind and ratio[i - behind] < 1.6:
                phase = (phase - behind) % period
                expected = int(sizes[phase])
            else:
                lost = min(round(seen), 3) - 1
                count[i] = 1 + lost
                phase = (phase + 1 + lost) % period
                i += 1
                continue
        count[i] = expected
        phase = (phase + 1) % period
        i += 1
    return count, wheel


def _first_phase(wide: Bools, gaps: Bools) -> int:
    """Return which step of the pattern the first step is.

    The pattern stands as most turns show it; marks lost further on have shifted it against those
    before them.
    """
    fits = [
        np.count_nonzero(wide == np.resize(np.roll(gaps, -start), len(wide)))
        for start in range(len(gaps))
    ]
    return int(np.argmax(fits))


def _gap_follows(ratio: Floats, i: int, ahead: int) -> bool:
    return i + ahead < len(ratio) and bool(ratio[i + ahead] > 1.6)


def _anchor(count: Ints, wheel: int) -> tuple[Ints, tuple[int, ...], int]:
    """Count places from the mark behind the widest gap on."""
    place = np.concatenate(([0], np.cumsum(count)))
    ends = place[1:][count == count.max()]
    values, votes = np.unique(ends % wheel, return_counts=True)
    place = place - int(values[np.argmax(votes)])
    total = max(1, int((place[-1] - place[0]) // wheel))
    seen = np.bincount(place % wheel, minlength=wheel)
    gaps = tuple(int(g) for g in np.flatnonzero(seen < 0.3 * total))
    expected = np.count_nonzero(np.isin(np.arange(place[0], place[-1]) % wheel, gaps))
    missed = max(0, int(np.sum(count - 1)) - int(expected))
    return place, gaps, missed
