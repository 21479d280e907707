"""Which pickup of a recording looks at the camshaft."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.recording import Channel

__all__ = ["cam_of", "is_cam"]

#: Fewer edges show no wheel.
_LEAST = 8


def cam_of(channels: Sequence[Channel]) -> Channel | None:
    """Return the camshaft's pickup: the one called so, or of two the one with far fewer edges."""
    named = next((c for c in channels if is_cam(c)), None)
    if named is not None or len(channels) != 2:
        return named
    few, many = sorted(channels, key=lambda c: c.values.size)
    return few if _LEAST <= few.values.size <= 0.25 * many.values.size else None


def is_cam(channel: Channel) -> bool:
    """Say whether a channel is called a camshaft's."""
    words = f"{channel.name} {channel.label}".lower().replace("_", " ").split()
    return any(word.startswith("cam") for word in words)
