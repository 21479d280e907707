"""A single column of rising times: one pickup, one line a tooth."""

from __future__ import annotations

import re

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Recording
from witnessmark.readers.contract import Settings
from witnessmark.readers.reader import Reader
from witnessmark.readers.source import Source
from witnessmark.readers.wheels import wheels

_NUMBER = re.compile(rb"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?\s*[,;]?\s*")
_HEADING = re.compile(rb"\s*\"?[A-Za-z][\w .\[\]()/\xc2\xb5-]{0,60}\"?\s*")
#: Seconds per unit, told by the heading.
_UNITS = ((rb"[\[( _](?:us|\xc2\xb5s|microseconds?)[\]) ]?$", 1e-6), (rb"[\[( _]ms[\]) ]?$", 1e-3))


def recognises(head: bytes) -> bool:
    """Say whether it is one column of rising numbers, with or without a heading."""
    lines = [line for line in head[:8192].splitlines() if line.strip()]
    if len(head) >= 8192:
        lines = lines[:-1]
    if lines and not _NUMBER.fullmatch(lines[0]) and _HEADING.fullmatch(lines[0]):
        lines = lines[1:]
    if len(lines) < 12 or not all(_NUMBER.fullmatch(line) for line in lines):
        return False
    values = np.array([_value(line) for line in lines])
    return bool((np.diff(values) > 0).all())


def read(source: Source, settings: Settings) -> Recording:  # noqa: ARG001  (one shape for all)
    """Read the times of the teeth."""
    found: list[float] = []
    bad = 0
    scale = 1.0
    for block in source.lines():
        for line in block.splitlines():
            if not line.strip():
                continue
            if _NUMBER.fullmatch(line):
                found.append(_value(line))
            elif not found and _HEADING.fullmatch(line):
                heading = line.strip().strip(b'"').lower()
                scale = next((s for pattern, s in _UNITS if re.search(pattern, heading)), 1.0)
            else:
                bad += 1
        if len(found) > 50_000_000:
            raise RecordingRefused(
                "The list has an absurd number of edges.", where=source.name, do="Cut it."
            )
    if bad:
        source.trouble.add("bad lines", f"{bad:,} lines are no numbers; they are left out.")
    time = np.array(found) * scale
    time = time[np.isfinite(time) & (np.abs(time) < 1e11)]
    falls = int(np.count_nonzero(np.diff(time) < 0)) if time.size else 0
    if falls:
        source.trouble.add("backward", f"{falls:,} edges stand out of order; they are sorted.")
        time = np.sort(time)
    time = time - time[0] if time.size else time
    # Every line is a rising edge: the level steps from 0 to 1 there; how long it stays is unknown.
    doubled = np.repeat(time, 2)
    levels = np.tile([0.0, 1.0], time.size)
    channel = Channel("pickup", "", doubled, levels, np.zeros(levels.size, np.uint8), "pickup")
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="tooth_timing",
        format="list of edges",
        duration_s=float(time[-1]) if time.size else None,
        channels=(channel,) if time.size else (),
        problems=source.trouble.problems(),
        frames=int(time.size),
        facts=wheels([channel]) if time.size else {},
    )


def _value(line: bytes) -> float:
    return float(line.strip().rstrip(b",;").strip())


READER = Reader("list of edges", recognises, read)
