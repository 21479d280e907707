"""Recordings as tables for a notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, overload

import numpy as np

from witnessmark.errors import InputRefused

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from witnessmark.model.recording import Channel, Floats, Recording

__all__ = ["frame"]

Kind = Literal["numpy", "polars", "pandas"]


@overload
def frame(recording: Recording, kind: Literal["polars"] = ...) -> pl.DataFrame: ...
@overload
def frame(recording: Recording, kind: Literal["pandas"]) -> pd.DataFrame: ...
@overload
def frame(recording: Recording, kind: Literal["numpy"]) -> dict[str, tuple[Floats, Floats]]: ...
def frame(
    recording: Recording, kind: Kind = "polars"
) -> pl.DataFrame | pd.DataFrame | dict[str, tuple[Floats, Floats]]:
    """Return the channels of a recording for a notebook.

    Every channel keeps its own time stamps; nothing is filled in between them. What is not a
    reading (an error code, a default sent before the sensor was read) is missing, never zero.

    Args:
        recording: what :func:`witnessmark.read` gave.
        kind: ``polars`` or ``pandas`` for one long table with the columns ``time_s`` [s],
            ``channel``, ``value`` [``unit``], ``unit``, ``quality``, ``source`` and ``bus``;
            ``numpy`` for channel name -> (time [s], values), each of shape (n,).

    Raises:
        InputRefused: *kind* is none of these, or pandas is not installed.
    """
    if kind == "numpy":
        return {_name(c, recording): (c.time_s, c.values) for c in recording.channels}
    if kind not in ("polars", "pandas"):
        raise InputRefused(
            f"There is no kind of table called '{kind}'.",
            do="Ask for 'numpy', 'polars' or 'pandas'.",
        )
    columns = _columns(recording)
    if kind == "polars":
        import polars as pl  # noqa: PLC0415  (heavy; only where it is asked for)

        return pl.DataFrame(columns).with_columns(pl.col("value").fill_nan(None))
    try:
        import pandas as pd  # noqa: PLC0415  (not needed by anything else here)
    except ImportError:
        raise InputRefused(
            "pandas is not installed here.", do="Install pandas, or ask for 'polars'."
        ) from None
    return pd.DataFrame(columns)


def _columns(recording: Recording) -> dict[str, object]:
    channels = recording.channels
    sizes = [len(c.time_s) for c in channels]

    def joined(parts: list[Floats]) -> Floats:
        return np.concatenate(parts) if parts else np.zeros(0)

    return {
        "time_s": joined([c.time_s for c in channels]),
        "channel": np.repeat(np.array([c.name for c in channels], dtype=object), sizes),
        "value": joined([c.values for c in channels]),
        "unit": np.repeat(np.array([c.unit for c in channels], dtype=object), sizes),
        "quality": np.concatenate([c.quality for c in channels])
        if channels
        else np.zeros(0, dtype=np.uint8),
        "source": np.repeat(
            np.array([-1 if c.source is None else c.source for c in channels], dtype=np.int64),
            sizes,
        ),
        "bus": np.repeat(np.array([c.bus for c in channels], dtype=object), sizes),
    }


def _name(channel: Channel, recording: Recording) -> str:
    """Return the channel's name, with its sender and bus where the name alone is not unique."""
    if sum(c.name == channel.name for c in recording.channels) == 1:
        return channel.name
    parts = [channel.name]
    if channel.source is not None:
        parts.append(f"from {channel.source}")
    if channel.bus:
        parts.append(f"on {channel.bus}")
    return " ".join(parts)
