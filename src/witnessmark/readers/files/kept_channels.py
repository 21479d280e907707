"""Decoded channels kept as Parquet beside the original, so that a look at ten seconds is quick.

The cache can be thrown away at any time: it is made anew from the original. Facts, codes, flags
and problems stand in the file's own metadata.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.model.problem import Problem
from witnessmark.model.recording import (
    Channel,
    Flag,
    Kind,
    Quality,
    Recording,
    TroubleCode,
)
from witnessmark.readers.files.keep import Keeper, let_go, rest

if TYPE_CHECKING:
    import polars as pl
else:
    pl = late("polars")

__all__ = ["load", "load_window", "store"]

#: Changes whenever a reader decodes anything differently; an older cache is made anew.
VERSION = "witnessmark.channels/3"
#: Length of the stretches whose samples stand together [s].
_SLICE_S = 30.0
#: Rows that are read at once.
_GROUP = 32_768
#: Rows that are written or put in place at once; a long recording never stands whole in memory.
_ROWS = 2**19
_COLUMNS = ("time_s", "values", "quality")


def store(recording: Recording, folder: Path) -> Path:
    """Write the channels of *recording* to ``folder/<sha256>.parquet``; return the path.

    The file is complete or not there: it is written under another name first.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{recording.sha256}.parquet"
    part = folder / f"{recording.sha256}.part"

    def rows(
        with_columns: list[str] | None,
        predicate: pl.Expr | None,
        n_rows: int | None,
        batch_size: int | None,
    ) -> Iterator[pl.DataFrame]:
        del predicate, n_rows, batch_size  # everything is written
        for frame in _stretches(recording):
            yield frame if with_columns is None else frame.select(with_columns)

    from polars.io.plugins import register_io_source  # noqa: PLC0415  (heavy; only a write needs it)

    schema = {
        "channel": pl.UInt16, "time_s": pl.Float64, "values": pl.Float64, "quality": pl.UInt8,
    }  # fmt: skip
    register_io_source(rows, schema=schema).sink_parquet(
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
    total = sum(int(n) for n in facts["samples"])
    if start_s is None and end_s is None and names is None and total > 2 * _ROWS:
        return _recording(facts, wanted, _placed(rows, facts["samples"], total))
    if names is not None:
        rows = rows.filter(pl.col("channel").is_in(wanted))
    if start_s is not None:
        rows = rows.filter(pl.col("time_s") >= start_s)
    if end_s is not None:
        rows = rows.filter(pl.col("time_s") <= end_s)
    found = rows.collect().sort("channel", maintain_order=True)
    numbers = found["channel"].to_numpy()
    columns = [found[name].to_numpy() for name in _COLUMNS]
    ends = np.searchsorted(numbers, np.arange(len(facts["channels"]) + 1)).tolist()
    return _recording(
        facts, wanted, {n: [c[ends[n] : ends[n + 1]].copy() for c in columns] for n in wanted}
    )


def _stretches(recording: Recording) -> Iterator[pl.DataFrame]:
    """Yield the samples a stretch of time after the other; within it slice by slice.

    Samples of half a minute stand together, so a window of ten seconds is one or two pieces.
    """
    channels = [c for c in recording.channels if c.time_s.size]
    timed = [c for c in channels if not np.isnan(c.time_s[0])]
    total = sum(c.time_s.size for c in channels)
    first = min((float(c.time_s[0]) for c in timed), default=0.0) // _SLICE_S
    last = max((float(c.time_s[-1]) for c in timed), default=0.0) // _SLICE_S + 1
    stretches = max(1, min(-(-total // _ROWS), int(min(last - first, 1e6))))
    bounds = np.ceil(np.linspace(first, last, stretches + 1)) * _SLICE_S
    bounds[0], bounds[-1] = -np.inf, np.inf
    for low, high in pairwise(bounds.tolist()):
        frames = []
        for number, channel in enumerate(recording.channels):
            if channel.time_s.size and np.isnan(channel.time_s[0]):
                here = slice(0, channel.time_s.size if low == -np.inf else 0)
            else:
                start, end = np.searchsorted(channel.time_s, [low, high]).tolist()
                end = channel.time_s.size if high == np.inf else end
                here = slice(start, end)
            if here.stop > here.start:
                frames.append(_frame(number, channel, here))
            let_go(channel)
        if frames:
            minute = (pl.col("time_s").fill_nan(0.0) / _SLICE_S).floor()
            yield pl.concat(frames).sort(minute, "channel", maintain_order=True)


def _placed(
    rows: pl.LazyFrame, samples: list[int], total: int
) -> dict[int, list[npt.NDArray[Any]]]:
    """Return the arrays of every channel of a long recording, filled piece by piece."""
    keeper = Keeper()
    found = {
        n: [keeper.blank(count, kind) for kind in (np.float64, np.float64, np.uint8)]
        for n, count in enumerate(samples)
    }
    done = [0] * len(samples)
    for start in range(0, total, _ROWS):
        piece = rows.slice(start, _ROWS).collect().sort("channel", maintain_order=True)
        numbers = piece["channel"].to_numpy()
        columns = [piece[name].to_numpy() for name in _COLUMNS]
        ends = np.searchsorted(numbers, np.arange(len(samples) + 1)).tolist()
        for number in range(len(samples)):
            here = slice(ends[number], ends[number + 1])
            count = here.stop - here.start
            if count:
                place = slice(done[number], done[number] + count)
                for array, column in zip(found[number], columns, strict=True):
                    array[place] = column[here]
                done[number] += count
                rest(*found[number])
    return found


def _frame(number: int, channel: Channel, here: slice) -> pl.DataFrame:
    time = np.ascontiguousarray(channel.time_s[here])
    return pl.DataFrame(
        {
            "channel": np.full(time.size, number, np.uint16),
            "time_s": time,
            "values": np.ascontiguousarray(channel.values[here]),
            "quality": np.ascontiguousarray(channel.quality[here]),
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
        "buses": list(recording.buses),
        "apart": list(recording.apart),
        "samples": [c.time_s.size for c in recording.channels],
        "channels": [
            {
                "name": c.name,
                "unit": c.unit,
                "label": c.label,
                "spn": c.spn,
                "source": c.source,
                "rate_hz": c.rate_hz,
                "bus": c.bus,
            }
            for c in recording.channels
        ],
    }


def _recording(
    facts: dict[str, Any], wanted: list[int], arrays: dict[int, list[npt.NDArray[Any]]]
) -> Recording:
    channels = []
    for number in wanted:
        time, values, quality = arrays[number]
        described = facts["channels"][number]
        channels.append(Channel(time_s=time, values=values, quality=quality, **described))
    kind: Kind = facts["kind"]
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
        buses=tuple(str(b) for b in _list(facts["buses"])),
        apart=tuple(str(b) for b in _list(facts["apart"])),
    )


def _list(found: object) -> list:  # type: ignore[type-arg]  # rows of JSON written by this module
    return found if isinstance(found, list) else []


def _number(found: object) -> float | None:
    return float(found) if isinstance(found, int | float) else None
