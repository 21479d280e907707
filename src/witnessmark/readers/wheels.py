"""What wheel a pickup looks at: its places and gaps, and the speed turn by turn."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from witnessmark.model.recording import Channel
from witnessmark.physics.tooth_edges import edges_of_levels, find_marks

__all__ = ["wheels"]

#: Fewer edges show no wheel.
_LEAST = 24


def wheels(channels: Iterable[Channel]) -> dict[str, object]:
    """Return facts about every pickup whose wheel can be recognised by its missing teeth.

    A wheel without gaps looks like any other even wheel; its number of places is then not told.
    """
    found = []
    for channel in channels:
        edges = edges_of_levels(channel.time_s, channel.values)
        if edges.size < _LEAST:
            continue
        try:
            with np.errstate(all="ignore"):  # absurd edges give absurd ratios, told below
                marks = find_marks(edges)
                speeds = marks.turn_speeds()
        except (ValueError, IndexError, OverflowError, MemoryError):
            continue
        if not marks.indexed or not np.isfinite(speeds).all():
            continue
        rows: dict[str, object] = {
            "channel": channel.name,
            "wheel": pattern(marks.places, marks.gaps),
            "places": marks.places,
            "false_edges": marks.false_edges,
        }
        if speeds.size:
            rows["turn_rpm"] = [
                round(float(q), 1) for q in (speeds.min(), np.median(speeds), speeds.max())
            ]
        found.append(rows)
    return {"wheels": found} if found else {}


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
