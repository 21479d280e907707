"""Where on a recording the truck was at a place that the packs ask to be driven or run."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.steady import STANDING, WARM_DEGC, Trace
from witnessmark.knowledge import Family, Knowledge
from witnessmark.knowledge.readings_to_take import DrivePlace

__all__ = ["Mask", "places_of", "there"]

Mask = npt.NDArray[np.bool_]
#: Up to this load a truck of unknown road speed counts as standing.
_LIGHT = 0.4
#: A pedal up to this is released [%].
_RELEASED = 1.0


def places_of(families: list[Family], knowledge: Knowledge) -> dict[DrivePlace, tuple[str, ...]]:
    """Return what families need driven, the most telling of each first, with who needs it."""
    wanted: dict[str, list[str]] = {}
    for rank in range(max((len(f.drive_points) for f in families), default=0)):
        for family in families:
            if rank < len(family.drive_points):
                wanted.setdefault(family.drive_points[rank], []).append(family.id)
    return {knowledge.drive_points[p]: tuple(who) for p, who in wanted.items()}


def there(place: DrivePlace, trace: Trace) -> Mask:
    """Return the mask of a trace in which the truck is at a place.

    Engine speed, load, road speed and coolant of a place have to be known. Standing still, moving
    and a warm engine are taken on trust where nothing was recorded that could tell; a low load
    stands for standing still.
    """
    mask: Mask = np.ones(trace.time_s.size, np.bool_)
    if place.rpm is not None:
        mask &= _within(trace.rpm, place.rpm)
    if place.load is not None:
        inside = _within(trace.load, place.load)
        mask &= inside | (trace.pedal <= _RELEASED) if place.released else inside
    if place.road_speed is not None:
        mask &= _within(trace.road_speed, place.road_speed)
    if place.coolant is not None:
        mask &= _within(trace.coolant, place.coolant)
    unknown = np.isnan(trace.road_speed)
    if place.standing is True:
        light = np.isnan(trace.load) | (trace.load <= _LIGHT)
        mask &= np.where(unknown, light, trace.road_speed <= STANDING)
    elif place.standing is False:
        mask &= unknown | (trace.road_speed > STANDING)
    if place.warm:
        mask &= np.isnan(trace.coolant) | (trace.coolant >= WARM_DEGC)
    return mask


def _within(values: npt.NDArray[np.float64], span: tuple[float, float]) -> Mask:
    # A value between two units: the ends of a place are no measured limits.
    slack = 1e-9 * max(1.0, *(abs(end) for end in span if np.isfinite(end)))
    return (values >= span[0] - slack) & (values <= span[1] + slack)
