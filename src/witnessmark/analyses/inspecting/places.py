"""Where a point is read: the wheels, tyres and sides that a vehicle of so many axles has."""

from __future__ import annotations

from witnessmark.model.entries.inspection_data import InspectionData

__all__ = ["places_of", "position_of"]


def places_of(kind: str, head: InspectionData) -> tuple[str, ...]:
    """Return the ids of the places of a point.

    Args:
        kind: once, sides, steer_sides, wheel_ends or tyres.
        head: which vehicle.

    Returns:
        Such as ``a1l`` (axle 1, left), ``a2lo`` (axle 2, left, outer); one empty id for once, and
        where the vehicle has no such place.
    """
    if kind == "sides":
        return ("l", "r")
    if kind == "steer_sides":
        axles = range(1, head.steering() + 1)
        return tuple(f"a{axle}{side}" for axle in axles for side in "lr") or ("",)
    if kind == "wheel_ends":
        return tuple(f"a{axle}{side}" for axle in range(1, head.axles + 1) for side in "lr")
    if kind == "tyres":
        duals = head.duals()
        return tuple(
            f"a{axle}{side}{tyre}"
            for axle in range(1, head.axles + 1)
            for side in "lr"
            for tyre in (("o", "i") if axle in duals else ("",))
        )
    return ("",)


def position_of(place: str, head: InspectionData) -> str:
    """Return ``steer`` for a place on a steering axle in front, else ``other``."""
    digits = "".join(c for c in place[1:] if c.isdigit())
    if place[:1] == "a" and digits:
        return "steer" if int(digits) <= head.steering() else "other"
    return "other"
