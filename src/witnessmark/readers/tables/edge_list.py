"""Lists of teeth: a column of times, or of times with the pickup they came from.

A column of numbers that do not rise is a waveform where the rate stands above it.
"""

from __future__ import annotations

import re

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Floats, Quality, Recording
from witnessmark.readers.columns.column_names import heading
from witnessmark.readers.columns.stated_rate import rate_above
from witnessmark.readers.files.source import HEAD_BYTES, FileSource
from witnessmark.readers.pickups.tooth_channels import recording_of, unit_by_size
from witnessmark.readers.pickups.wheels import wheels
from witnessmark.readers.reader import Reader
from witnessmark.readers.tables.one_column import OneColumn, column_of, number_of
from witnessmark.readers.told import ReaderSettings

#: More numbers are no list of teeth.
_MOST = 50_000_000
_STEPS = re.compile(r"interval|period|delta|\bdt\b|diff|spacing|time between")
_COUNTS = re.compile(r"\b(ticks?|counts?|cycles?|clocks?)\b")
_TICK = re.compile(r"\b(clock|timer|tick|resolution|counter|timebase|time base)\b")


def recognises(head: bytes) -> bool:
    """Say whether it is one column of numbers, with or without a heading."""
    return column_of(head, whole=len(head) < HEAD_BYTES) is not None


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read the column."""
    layout = column_of(source.head, whole=len(source.head) < HEAD_BYTES)
    if layout is None:
        raise RecordingRefused("This is no column of numbers.", where=source.name, do="Check it.")
    values = _values(source, layout)
    rate = rate_above(layout.above) or settings.rate_hz
    first = np.asarray(layout.values)
    rises = np.count_nonzero(np.diff(first) > 0.0) >= 0.95 * (first.size - 1)
    steps = _STEPS.search(layout.heading.lower()) is not None and bool((first > 0.0).all())
    if not rises and not steps:
        return _samples(source, layout, values, rate)
    scale = _unit(source, layout, values, settings, steps=steps)
    times = (np.cumsum(values) if steps else values) * scale
    times = times[np.isfinite(times) & (np.abs(times) < 1e11)]
    return recording_of(source, {"pickup": times}, {}, "list of edges")


def _values(source: FileSource, layout: OneColumn) -> Floats:
    found: list[float] = []
    bad = seen = 0
    for block in source.lines():
        for line in block.decode("utf-8", "replace").lstrip("\ufeff").splitlines():
            seen += 1
            if seen <= layout.first_line or not line.strip():
                continue
            number = number_of(line, comma=layout.comma)
            if number is None:
                bad += 1
            else:
                found.append(number)
        if len(found) > _MOST:
            raise RecordingRefused(
                "The list has an absurd number of lines.", where=source.name, do="Cut it."
            )
    if bad:
        source.trouble.add("bad lines", f"{bad:,} lines are no numbers; they are left out.")
    return np.array(found, np.float64)


def _unit(
    source: FileSource, layout: OneColumn, values: Floats, settings: ReaderSettings, *, steps: bool
) -> float:
    """Return the seconds per unit of the times."""
    told = heading(layout.heading).unit if layout.heading else None
    if told is not None and told.kind == "time":
        return told.factor
    if settings.sample_interval_s is not None:
        return settings.sample_interval_s
    for key, (value, *_) in layout.above.items():
        rate = rate_above({"rate": [value]}) if _TICK.search(key) else None
        if rate:
            return 1.0 / rate
    if not _COUNTS.search(layout.heading.lower()):
        times = np.cumsum(values[:10_000]) if steps else values[:10_000]
        found = unit_by_size(times)
        if found is not None:
            if found[0] != "s":
                source.trouble.add(
                    "unit of edges",
                    f"The list does not say the unit of its times; only in {found[0]} can they be "
                    "teeth of an engine, so they are read in that.",
                    do="If the recorder counts ticks of its own, give their length with "
                    "--interval SECONDS.",
                )
            return found[1]
    raise RecordingRefused(
        "The list does not say the unit of its times.",
        where=source.name,
        do="Give the length of one unit with --interval SECONDS, such as --interval 1e-6.",
    )


def _samples(
    source: FileSource, layout: OneColumn, values: Floats, rate: float | None
) -> Recording:
    """Return a column that does not rise: samples, whose rate has to be stated."""
    name = layout.heading or "column 1"
    unit = heading(name).unit_text
    count = values.size
    time = np.arange(count) / rate if rate else np.full(count, np.nan)
    levels = bool(np.isin(values, (0.0, 1.0)).all()) and rate is not None
    quality = np.zeros(count, np.uint8)
    endless = ~np.isfinite(values)
    if endless.any():
        quality[endless] = Quality.IMPLAUSIBLE
        values = np.where(endless, np.nan, values)
        source.trouble.add(
            "endless", f"{int(endless.sum()):,} numbers are beyond all bounds; they are no samples."
        )
    facts: dict[str, object] = {}
    if levels:
        keep = np.r_[True, np.diff(values) != 0.0]
        channel = Channel(name, "", time[keep], values[keep], quality[keep], name)
        facts = wheels([channel])
    else:
        channel = Channel(name, unit, time, values, quality, name, rate_hz=rate)
    if rate is None:
        source.trouble.add(
            "no time",
            "The column does not say its sampling rate.",
            do="Nothing that depends on time is judged; give the rate with --rate.",
        )
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="tooth_timing" if levels else "waveform" if rate else "table",
        format="one column of numbers",
        duration_s=float(time[-1]) if rate and count else None,
        channels=(channel,),
        problems=source.trouble.problems(),
        frames=int(count),
        facts=facts,
    )


READER = Reader("list of edges", recognises, read)
