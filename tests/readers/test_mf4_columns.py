"""MF4 files of version 4.2 that keep each channel in a column of its own (DV, DI and LD blocks).

The files are built block by block after the public description of the format (ASAM MDF 4.2): no
library at hand writes or reads them.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from readers.columns_file import ROWS, SPEED, TIME, columns
from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Quality
from witnessmark.readers import read_recording
from witnessmark.readers.mdf import mf4
from witnessmark.readers.told import Frames, joined


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


def test_data_groups_side_by_side_come_in_order_of_time() -> None:
    random = np.random.default_rng(3)
    lanes = []
    for bus, count in enumerate((500, 1, 37, 900)):
        time = np.sort(random.uniform(0, 100, count)).round(2)
        numbers = np.arange(count, dtype=np.uint32) + 1000 * bus
        whole = Frames(time, numbers, np.ones(count, np.bool_), np.full(count, 8, np.uint8),
                       numbers.astype(np.uint64), np.full(count, bus, np.uint8))  # fmt: skip
        cuts = [0, *np.sort(random.integers(0, count + 1, 6)).tolist(), count]
        lanes.append([whole.where(np.arange(a, b)) for a, b in pairwise(cuts)])
    found = joined(list(mf4._side_by_side([iter(lane) for lane in lanes])))
    every = joined([piece for lane in lanes for piece in lane])
    assert len(found) == len(every)
    assert (np.diff(found.time_s) >= 0).all()
    assert sorted(found.identifier.tolist()) == sorted(every.identifier.tolist())
    for bus in range(4):  # frames of one bus keep their order
        assert (np.diff(found.identifier[found.bus == bus].astype(np.int64)) > 0).all()
