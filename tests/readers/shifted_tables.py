"""Judge what a reader made of a table whose truth is known."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording
from witnessmark.units import QUANTITIES

Truth = dict[str, list[float | None]]


def outcome_of(path: Path, truth: Truth, time: list[float] | None) -> tuple[str, str]:
    """Return what the reader did and the words it said; a wrong number is an AssertionError."""
    try:
        found = read_recording(path)
    except RecordingRefused as error:
        return "refused", f"{error} {error.do}"
    words = " ".join(f"{p.where} {p.what} {p.do}" for p in found.problems)
    whole = check(found, truth, time)
    if whole:
        return "right", words
    assert words.strip(), "something is left out and nobody says so"
    return "asked", words


def check(found: Recording, truth: Truth, time: list[float] | None) -> bool:
    """Refuse every number that is not the file's own; say whether all of them are there."""
    whole = True
    for channel in found.channels:
        if channel.name not in QUANTITIES:
            continue
        valid = channel.valid()
        if not valid.any():
            continue
        assert channel.name in truth, f"{channel.name} is not in the file"
        said = truth[channel.name]
        rows = [_row(float(v), said, channel.name) for v in channel.values[valid]]
        assert rows == sorted(set(rows)), f"{channel.name}: rows are out of order or doubled"
        stamps = channel.time_s[valid]
        if time is None:
            assert np.isnan(stamps).all(), "the file does not say the time"
        elif not np.isnan(stamps).all():
            wanted = np.array([time[n] for n in rows])
            assert np.allclose(np.diff(stamps), np.diff(wanted), atol=2e-3), (
                f"{channel.name}: wrong times"
            )
        else:
            whole = False
    for name, said in truth.items():
        mine = found.channel(name)
        count = 0 if mine is None else int(mine.valid().sum())
        whole = whole and count == sum(v is not None for v in said)
    return whole


def _row(value: float, said: list[float | None], name: str) -> int:
    for number, wanted in enumerate(said):
        if wanted is not None and abs(value - wanted) <= 1e-6 * max(1.0, abs(wanted)):
            return number
    raise AssertionError(f"{name}: {value} stands nowhere in the file's column")


def names_place(words: str, line: int | None, column: str) -> bool:
    """Say whether the words name the line of the file, and the column."""
    numbers = {n.replace(",", "") for n in re.findall(r"\d[\d,]*", words)}
    return (line is None or str(line) in numbers) and column in words
