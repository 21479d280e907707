"""The compliance suite: what every reader must hold, whatever its format.

A new reader adds one row to ``CASES`` of test_compliance.py; docs/add_a_reader.md shows how.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from witnessmark.errors import WitnessmarkError
from witnessmark.model.recording import Quality, Recording
from witnessmark.readers import READERS, read_recording
from witnessmark.units import QUANTITIES


@dataclass(frozen=True)
class ReaderCase:
    """A small good file of a format.

    Attributes:
        reader: name of the reader in ``READERS``.
        make: writes the file to a path.
        kind: what it holds.
        channels: names of channels that must be found, with their number of samples.
        text: cutting it anywhere leaves whole lines that can be used.
    """

    reader: str
    make: Callable[[Path], object]
    kind: str
    channels: dict[str, int]
    text: bool = True


def assert_honest(recording: Recording, name: str = "") -> None:
    """Check what must be true of every recording."""
    assert len(recording.sha256) == 64, name
    assert recording.duration_s is None or 0.0 <= recording.duration_s < 1e12, name
    for channel in recording.channels:
        where = f"{name} {channel.name}"
        assert channel.name, where
        assert channel.time_s.dtype == channel.values.dtype == np.float64, where
        assert channel.quality.dtype == np.uint8, where
        assert channel.time_s.shape == channel.values.shape == channel.quality.shape, where
        known = channel.time_s[~np.isnan(channel.time_s)]
        assert known.size in {0, channel.time_s.size}, where
        assert (np.diff(known) >= 0).all(), where
        assert np.isfinite(known).all(), where
        valid = channel.valid()
        kept = valid | (channel.quality == Quality.REPEATED)
        assert np.isfinite(channel.values[valid]).all(), where
        assert np.isnan(channel.values[~kept]).all(), where
        if channel.name in QUANTITIES:
            row = QUANTITIES[channel.name]
            assert channel.unit == row.house, where
            inside = channel.values[valid]
            assert ((inside >= row.lowest) & (inside <= row.highest)).all(), where
        for array in (channel.time_s, channel.values, channel.quality):
            assert not array.flags.writeable, where
    for flag in recording.flags:
        assert flag.note, name
        assert not flag.end_s < flag.start_s, name
    for problem in recording.problems:
        assert problem.where, name
        assert problem.what.endswith("."), f"{name}: {problem.what}"


def assert_sentence(error: WitnessmarkError) -> None:
    """Check that a refusal says something a technician can read."""
    assert error.what.endswith("."), error.what
    assert "Error" not in error.what


def assert_compliant(case: ReaderCase, folder: Path) -> None:
    """Run the whole suite on one reader."""
    path = folder / "recording.any"
    case.make(path)
    _told_by_content(case, path)
    recording = read_recording(path)
    _holds(case, recording)
    _same_again(path, recording)
    _same_when_packed(case, path, folder, recording)
    _survives_cuts(case, path, folder, recording)


def _told_by_content(case: ReaderCase, path: Path) -> None:
    head = path.read_bytes()[:65536]
    asked = [reader.name for reader in READERS if reader.recognises(head)]
    assert asked, "no reader knows its own file"
    assert asked[0] == case.reader, asked


def _holds(case: ReaderCase, recording: Recording) -> None:
    assert_honest(recording, case.reader)
    assert recording.kind == case.kind
    found = {c.name: c.values.size for c in recording.channels}
    for name, samples in case.channels.items():
        assert found.get(name) == samples, (name, found)


def _same_again(path: Path, first: Recording) -> None:
    second = read_recording(path)
    assert [c.name for c in first.channels] == [c.name for c in second.channels]
    for a, b in zip(first.channels, second.channels, strict=True):
        assert np.array_equal(a.values, b.values, equal_nan=True)
        assert np.array_equal(a.time_s, b.time_s, equal_nan=True)
        assert np.array_equal(a.quality, b.quality)
    assert first.sha256 == second.sha256


def _same_when_packed(case: ReaderCase, path: Path, folder: Path, plain: Recording) -> None:
    packed = folder / "packed"
    packed.write_bytes(gzip.compress(path.read_bytes(), mtime=0))
    again = read_recording(packed)
    assert again.sha256 != plain.sha256
    for a, b in zip(plain.channels, again.channels, strict=True):
        assert np.array_equal(a.values, b.values, equal_nan=True), case.reader


def _survives_cuts(case: ReaderCase, path: Path, folder: Path, whole: Recording) -> None:
    """A file cut off anywhere is refused in a sentence, or gives no more than the whole."""
    data = path.read_bytes()
    cut = folder / "cut"
    used = 0
    for part in (0.999, 0.9, 0.5, 0.2, 0.05, 0.01):
        cut.write_bytes(data[: int(len(data) * part)])
        try:
            recording = read_recording(cut)
        except WitnessmarkError as error:
            assert_sentence(error)
            continue
        used += 1
        assert_honest(recording, f"{case.reader} cut")
        assert recording.frames <= whole.frames
    assert used or not case.text, "a text cut off in the middle still holds whole lines"
