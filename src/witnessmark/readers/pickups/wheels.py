"""What wheel a pickup looks at: its places and gaps, and the speed turn by turn."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from witnessmark.model.recording import Channel, Floats
from witnessmark.physics.vibration.twist.cam_row import cam_of
from witnessmark.physics.vibration.twist.tooth_edges import (
    Marks,
    edges_of_levels,
    find_marks,
    other_wheels,
    sectors_by_cam,
)

__all__ = ["coded", "wheels"]

#: Fewer edges show no wheel.
_LEAST = 24
#: A code of wide and narrow marks repeats after so many marks, not less and not more.
_CODE = (8, 64)


def wheels(channels: Iterable[Channel]) -> dict[str, object]:
    """Return facts about every pickup whose wheel can be recognised.

    A wheel is recognised by its missing teeth, or by a code of wide and narrow teeth. One of even
    teeth without gaps looks like any other; its number of places is then not told.
    """
    found = []
    every = list(channels)
    cam = cam_of(every)
    for channel in every:
        code = coded(channel.time_s, channel.values)
        row = code if code is not None else _with_gaps(channel, None if channel is cam else cam)
        if row is not None:
            found.append({"channel": channel.name} | row)
    return {"wheels": found} if found else {}


def coded(time: Floats, level: Floats) -> dict[str, object] | None:
    """Return a wheel whose teeth are wide and narrow in a code, ``None`` where it is none.

    Either the rising or the falling edges of such a wheel are evenly spaced; how long the level
    stands before each is long or short. The code repeats once a turn, which gives the number of
    teeth.

    Args:
        time: shape (n,), time of each change [s].
        level: shape (n,), level from then on.
    """
    if level.size < 2 * _LEAST:
        return None
    high = np.asarray(level) > 0.5 * (float(np.min(level)) + float(np.max(level)))
    changed = np.r_[True, high[1:] != high[:-1]]
    time, high = np.asarray(time)[changed], high[changed]
    sides = []
    for rising in (True, False):
        at = np.flatnonzero(high == rising)
        at = at[(at >= 1)]
        even, other = time[at], time[at - 1]
        space = np.diff(even)
        if space.size < _LEAST or (space <= 0.0).any():
            return None
        if _has_gaps(space):
            continue
        uneven = float(np.median(np.abs(np.diff(np.log(space)))))
        sides.append((uneven, even, (even[1:] - other[1:]) / space))
    if not sides:
        return None
    _, even, duty = min(sides, key=lambda side: side[0])
    places = _period(duty)
    if places is None:
        return None
    turns = even[::places]
    speeds = 60.0 / np.diff(turns)
    row: dict[str, object] = {"wheel": f"{places}x", "places": places, "false_edges": 0}
    if speeds.size:
        row["turn_rpm"] = _three(speeds)
    return row


def pattern(places: int, gaps: tuple[int, ...]) -> str:
    """Return a wheel as the trade writes it: places, then the length of each gap."""
    lengths: list[int] = []
    last = None
    for gap in sorted(gaps):
        if last is not None and gap == last + 1:
            lengths[-1] += 1
        else:
            lengths.append(1)
        last = gap
    if len(lengths) > 1 and 0 in gaps and places - 1 in gaps:
        lengths[0] += lengths.pop()
    return "-".join(str(n) for n in (places, *sorted(lengths, reverse=True)))


def _has_gaps(space: Floats) -> bool:
    """A wheel with teeth missing shows steps twice as long as their neighbours, turn by turn."""
    around = np.minimum(np.r_[space[1:], space[-1]], np.r_[space[0], space[:-1]])
    return bool(np.count_nonzero(space > 1.6 * around) > 0.01 * space.size)


def _with_gaps(channel: Channel, cam: Channel | None) -> dict[str, object] | None:
    edges = edges_of_levels(channel.time_s, channel.values)
    if edges.size < _LEAST:
        return None
    try:
        with np.errstate(all="ignore"):  # absurd edges give absurd ratios, told below
            marks = find_marks(edges)
            told = None
            if cam is not None:
                told = sectors_by_cam(marks, edges_of_levels(cam.time_s, cam.values))
            if told is not None:
                marks = marks.repeated(told[0])
            others = () if told is not None and told[1] else other_wheels(marks)
            if told is not None and told[0] > 1:
                others = ()
            row = _row(marks)
    except (ValueError, IndexError, OverflowError, MemoryError):
        return None
    if row is None:
        return None
    rows = [r for o in others if (r := _row(o)) is not None]
    if rows:
        row["could_also_be"] = [{"wheel": r["wheel"], "turn_rpm": r.get("turn_rpm")} for r in rows]
    return row


def _row(marks: Marks) -> dict[str, object] | None:
    speeds = marks.turn_speeds()
    if not marks.indexed or not np.isfinite(speeds).all():
        return None
    row: dict[str, object] = {
        "wheel": pattern(marks.places, marks.gaps),
        "places": marks.places,
        "false_edges": marks.false_edges,
    }
    if speeds.size:
        row["turn_rpm"] = _three(speeds)
    return row


def _period(duty: Floats) -> int | None:
    """Return after how many marks wide and narrow repeat."""
    order = np.sort(duty)
    tenth = max(2, duty.size // 10)
    steps = np.diff(order)[tenth - 1 : order.size - tenth]
    if not steps.size or not 0.0 < float(order[0]) <= float(order[-1]) < 1.0:
        return None
    cut = tenth - 1 + int(np.argmax(steps))
    if float(order[cut + 1] - order[cut]) < 0.08:
        return None  # not two kinds
    wide = duty > 0.5 * (order[cut] + order[cut + 1])
    middle = float(np.median(duty[wide]) - np.median(duty[~wide]))
    if middle < 0.15:
        return None
    for places in range(1, _CODE[1] + 1):
        compared = wide.size - places
        if compared < max(12, places // 2):
            return None
        if np.count_nonzero(wide[places:] == wide[:-places]) >= 0.97 * compared:
            return places if places >= _CODE[0] else None
    return None


def _three(speeds: Floats) -> list[float]:
    return [round(float(q), 1) for q in (speeds.min(), np.median(speeds), speeds.max())]
