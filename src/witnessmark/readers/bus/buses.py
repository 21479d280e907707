"""Several interfaces in one log: which is the engine's, and which listened to the same bus."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel, Floats
from witnessmark.readers.bus.one_bus import OneBus
from witnessmark.readers.told import Trouble, Words64
from witnessmark.units import QUANTITIES

__all__ = ["same_bus", "the_engine"]

#: Share of the frames that two adapters on one bus have in common (the rest they lost).
_COMMON = 0.8
#: Frames with the same content that come this much apart were one frame [s].
_TOGETHER_S = 1e-3
#: Steps of the distance between two adapters' clocks, from frame to frame [s].
_UNEVEN_S = 0.01
#: Engine speeds of one engine, heard on two buses, are this close, typically [r/min].
_SAME_RPM = 3.0
#: An engine speed that moves by less proves nothing [r/min].
_MOVES_RPM = 100.0
#: Totals that tell one engine from another.
_TOTALS = ("engine_hours", "total_fuel", "engine_revolutions", "total_distance")


def same_bus(first: OneBus, second: OneBus) -> bool:
    """Say whether two interfaces listened to one bus: the same frames at the same times."""
    mine, other = first.sample(), second.sample()
    if mine is None or other is None or mine[0].size < 50 or other[0].size < 50:
        return False
    start, end = max(mine[0].min(), other[0].min()), min(mine[0].max(), other[0].max())
    if not end > start:
        return False
    mine, other = _between(mine, start, end), _between(other, start, end)
    if min(mine[0].size, other[0].size) < 50 or not _same_identifiers(mine[2], other[2]):
        return False
    once = _once_in_both(mine, other)
    if once is not None:
        return once
    return _beside(mine, other) >= _COMMON and _beside(other, mine) >= _COMMON


def the_engine(
    channels: Sequence[Channel], buses: tuple[str, ...], trouble: Trouble
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the buses, the engine's own first, and those that carry another engine.

    Two buses that both carry an engine speed are one engine's only where that is shown: by speeds
    that move together, or by a total that is the same.
    """
    speeds = {c.bus: c for c in channels if c.name == "engine_speed" and c.valid().any()}
    if len(speeds) < 2:
        order = sorted(buses, key=lambda b: (b not in speeds, -_known(channels, b)))
        return tuple(order), ()
    order = sorted(buses, key=lambda b: (b not in speeds, -_known(channels, b), buses.index(b)))
    main = order[0]
    apart = tuple(
        b for b in order[1:] if b in speeds and not _one_engine(channels, speeds, main, b)
    )
    if apart:
        names = ", ".join(apart)
        trouble.add(
            "two engines",
            f"Buses {main} and {names} each carry an engine, and nothing shows that it is the "
            "same one; they are kept apart.",
            do="Say which is the truck's, with 'bus' beside the recording; until then no finding "
            "rests on either.",
        )
    return tuple(order), apart


def _between(
    sample: tuple[Floats, Words64, npt.NDArray[np.uint32]], start: float, end: float
) -> tuple[Floats, Words64, npt.NDArray[np.uint32]]:
    here = (sample[0] >= start - _TOGETHER_S) & (sample[0] <= end + _TOGETHER_S)
    return sample[0][here], sample[1][here], sample[2][here]


def _same_identifiers(mine: npt.NDArray[np.uint32], other: npt.NDArray[np.uint32]) -> bool:
    both = np.intersect1d(mine, other)
    return all(
        np.count_nonzero(np.isin(side, both)) >= _COMMON * side.size for side in (mine, other)
    )


def _once_in_both(
    mine: tuple[Floats, Words64, npt.NDArray[np.uint32]],
    other: tuple[Floats, Words64, npt.NDArray[np.uint32]],
) -> bool | None:
    """Judge by contents that came once only; ``None`` where there are too few."""
    times = []
    for time, content, _ in (mine, other):
        kinds, at, counts = np.unique(content, return_index=True, return_counts=True)
        times.append((kinds[counts == 1], time[at[counts == 1]]))
    _, a, b = np.intersect1d(times[0][0], times[1][0], return_indices=True)
    least = min(times[0][0].size, times[1][0].size)
    if least < 40:
        return None
    if a.size < _COMMON * least:
        return False
    first, second = times[0][1][a], times[1][1][b]
    order = np.argsort(first)
    steps = np.abs(np.diff((second - first)[order]))
    return bool(np.quantile(steps, 0.9) <= _UNEVEN_S)


def _beside(
    mine: tuple[Floats, Words64, npt.NDArray[np.uint32]],
    other: tuple[Floats, Words64, npt.NDArray[np.uint32]],
) -> float:
    """Return the share of my frames beside which the other has one of the same content."""
    found = 0
    for kind in np.unique(mine[1]):
        at, there = np.sort(mine[0][mine[1] == kind]), np.sort(other[0][other[1] == kind])
        if there.size:
            place = np.clip(np.searchsorted(there, at), 1, there.size - 1) if there.size > 1 else 0
            near = np.minimum(np.abs(there[place] - at), np.abs(there[np.maximum(place, 1) - 1]
                                                                - at))  # fmt: skip
            found += int(np.count_nonzero(near <= _TOGETHER_S))
    return found / max(mine[0].size, 1)


def _known(channels: Sequence[Channel], bus: str) -> int:
    return len(
        {c.name for c in channels
         if c.bus == bus and c.source == 0 and c.name in QUANTITIES and c.valid().any()}
    )  # fmt: skip


def _one_engine(
    channels: Sequence[Channel], speeds: dict[str, Channel], main: str, other: str
) -> bool:
    for name in _TOTALS:
        ends = [
            float(c.values[c.valid()][-1])
            for bus in (main, other)
            for c in channels
            if c.bus == bus and c.name == name and c.source == 0 and c.valid().any()
        ][:2]
        if len(ends) == 2 and ends[0] > 0.0:
            return abs(ends[0] - ends[1]) <= 1e-4 * ends[0]
    a, b = speeds[main], speeds[other]
    here, there = a.valid(), b.valid()
    start = max(a.time_s[here][0], b.time_s[there][0])
    end = min(a.time_s[here][-1], b.time_s[there][-1])
    if not end > start:
        return False
    grid = np.linspace(start, end, 2000)
    mine = np.interp(grid, a.time_s[here], a.values[here])
    theirs = np.interp(grid, b.time_s[there], b.values[there])
    apart = float(np.median(np.abs(mine - theirs)))
    return apart <= _SAME_RPM and float(np.ptp(mine)) >= _MOVES_RPM
