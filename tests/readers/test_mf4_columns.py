"""MF4 files of version 4.2 that keep each channel in a column of its own (DV, DI and LD blocks).

The files are built block by block after the public description of the format (ASAM MDF 4.2): no
library at hand writes or reads them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from readers.columns_file import ROWS, SPEED, TIME, columns
from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Quality
from witnessmark.readers import read_recording


@pytest.mark.parametrize("invalid", [False, True])
@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("first", [False, True])
def test_columns(tmp_path: Path, invalid: bool, packed: bool, first: bool) -> None:
    path = tmp_path / "columns.mf4"
    path.write_bytes(columns(invalid=invalid, packed=packed, first=first))
    recording = read_recording(path)
    assert recording.frames == ROWS
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert speed.time_s == pytest.approx(TIME)
    good = np.arange(ROWS) % 7 != 0 if invalid else np.ones(ROWS, np.bool_)
    assert np.array_equal(speed.valid(), good)
    assert speed.values[good] == pytest.approx(SPEED[good])
    assert speed.count(Quality.NOT_AVAILABLE) == ROWS - int(good.sum())


def test_columns_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "columns.mf4"
    whole = columns(invalid=True, packed=False, first=True)
    for share in (0.3, 0.6, 0.9, 0.99):
        path.write_bytes(whole[: int(share * len(whole))])
        try:
            recording = read_recording(path)
        except RecordingRefused:
            continue
        assert recording.problems
