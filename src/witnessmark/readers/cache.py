"""Decoded channels kept as Parquet beside the original, so that a look at ten seconds is quick.

The cache can be thrown away at any time: it is made anew from the original. Facts, codes, flags
and problems stand in the file's own metadata.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np
import polars as pl

from witnessmark.model.problem import Problem
from witnessmark.model.recording import (
    Channel,
    Flag,
    Floats,
    Kind,
    Quality,
    Recording,
    TroubleCode,
)

__all__ = ["load", "load_window", "store"]

#: Changes whenever a reader decodes anything differently; an older cache is made anew.
VERSION = "witnessmark.channels/1"
#: Length of the stretches whose samples stand together [s].
_SLICE_S = 30.0
#: Rows that are read at once.
_GROUP = 32_768


def store(recording: Recording, folder: Path) -> Path:
    """Write the channels of *recording* to ``folder/<sha256>.parquet``; return the path.

    The file is complete or not there: it is written under another name first.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{recording.sha256}.parquet"
    part = folder / f"{recording.sha256}.part"
    frames = [_frame(number, channel) for number, channel in enumerate(recording.channels)]
    whole = pl.concat(frames) if frames else _frame(0, None)
    # Samples of one minute stand together, so a window of ten seconds is one or two pieces.
    minute = (pl.col("time_s").fill_nan(0.0) / _SLICE_S).floor()
    whole = whole.sort(minute, "channel", maintain_order=True)
    whole.write_parquet(
        part,
        compression="zstd",
        compression_level=1,
        row_group_size=_GROUP,
        statistics=True,
        metadata={"recording": json.dumps(_facts(recording))},
    )
    part.replace(path)
    return path


def load(folder: Path, sha256: str) -> Recording | None:
    """Return the recording as it was stored; ``None`` where there is no cache of this version."""
    return load_window(folder, sha256, None, None)


def load_window(
    folder: Path,
    sha256: str,
    start_s: float | None,
    end_s: float | None,
    names: Sequence[str] | None = None,
) -> Recording | None:
    """Return the part of a stored recording between two times.

    Args:
        folder: where :func:`store` wrote.
        sha256: digest of the original.
        start_s: first time wanted [s], ``None`` for the beginning.
        end_s: last time wanted [s], ``None`` for the end.
        names: names of the channels wanted; ``None`` for all. Only these are returned.
    """
    path = folder / f"{sha256}.parquet"
    if not path.is_file():
        return None
    try:
        facts = json.loads(pl.read_parquet_metadata(path)["recording"])
    except (pl.exceptions.PolarsError, KeyError, ValueError, OSError):
        return None
    if facts.get("version") != VERSION or facts.get("sha256") != sha256:
        return None
    rows = pl.scan_parquet(path)
    wanted = [n for n, c in enumerate(facts["channels"]) if names is None or c["name"] in names]
    if names is not None:
        rows = rows.filter(pl.col("channel").is_in(wanted))
    if start_s is not None:
        rows = rows.filter(pl.col("time_s") >= start_s)
    if end_s is not None:
        rows = rows.filter(pl.col("time_s") <= end_s)
    found = rows.collect().sort("channel", maintain_order=True)
    return _recording(facts, found, wanted)


def _frame(number: int, channel: Channel | None) -> pl.DataFrame:
    empty = np.zeros(0)
    quality = channel.quality if channel is not None else np.zeros(0, np.uint8)
    time = channel.time_s if channel is not None else empty
    return pl.DataFrame(
        {
            "channel": np.full(time.size, number, np.uint16),
            "time_s": np.ascontiguousarray(time),
            "values": np.ascontiguousarray(channel.values if channel is not None else empty),
            "quality": np.ascontiguousarray(quality),
        }
    )


def _facts(recording: Recording) -> dict[str, object]:
    return {
        "version": VERSION,
        "sha256": recording.sha256,
        "name": recording.name,
        "kind": recording.kind,
        "format": recording.format,
        "duration_s": recording.duration_s,
        "frames": recording.frames,
        "sources": list(recording.sources),
        "facts": recording.facts,
        "codes": [asdict(c) for c in recording.trouble_codes],
        "flags": [{**asdict(f), "quality": int(f.quality)} for f in recording.flags],
        "problems": [asdict(p) for p in recording.problems],
        "channels": [
            {
                "name": c.name,
                "unit": c.unit,
                "label": c.label,
                "spn": c.spn,
                "source": c.source,
                "rate_hz": c.rate_hz,
            }
            for c in recording.channels
        ],
    }


def _recording(facts: dict[str, object], rows: pl.DataFrame, wanted: list[int]) -> Recording:
    channels = []
    numbers = rows["channel"].to_numpy()
    columns: list[Floats] = [rows["time_s"].to_numpy(), rows["values"].to_numpy()]
    quality = rows["quality"].to_numpy()
    described = facts["channels"]
    assert isinstance(described, list)  # noqa: S101  (written by this module)
    for number in wanted:
        here = slice(*np.searchsorted(numbers, [number, number + 1]).tolist())
        channels.append(
            Channel(
                time_s=columns[0][here].copy(),
                values=columns[1][here].copy(),
                quality=quality[here].copy(),
                **described[number],
            )
        )
    kind: Kind = facts["kind"]  # type: ignore[assignment]  # written by this module
    return Recording(
        name=str(facts["name"]),
        sha256=str(facts["sha256"]),
        kind=kind,
        format=str(facts["format"]),
        duration_s=_number(facts["duration_s"]),
        channels=tuple(channels),
        trouble_codes=tuple(
            TroubleCode(**{**c, "lamps": tuple(c["lamps"])}) for c in _list(facts["codes"])
        ),
        flags=tuple(Flag(**{**f, "quality": Quality(f["quality"])}) for f in _list(facts["flags"])),
        problems=tuple(Problem(**p) for p in _list(facts["problems"])),
        frames=int(str(facts["frames"])),
        sources=tuple(int(str(s)) for s in _list(facts["sources"])),
        facts=dict(facts["facts"]) if isinstance(facts["facts"], dict) else {},
    )


def _list(found: object) -> list:  # type: ignore[type-arg]  # rows of JSON written by this module
    return found if isinstance(found, list) else []


def _number(found: object) -> float | None:
    return float(found) if isinstance(found, int | float) else None
