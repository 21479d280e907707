"""Recordings of a case: the channel cache, and the same drive added twice."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.recording import Recording
from witnessmark.workflow.recordings.case_recordings import read_recordings
from witnessmark.workflow.recordings.look_into import file_settings


def drive(path: Path, seconds: int) -> Path:
    random = np.random.default_rng(1)
    raw = 12000 + random.integers(0, 400, 5000)
    path.write_text("".join(
        f"({100 + n * 0.02:.6f}) can0 0CF00400#FF7D7D{int(r) & 255:02X}{int(r) >> 8:02X}FFFF7D\n"
        for n, r in enumerate(raw[: seconds * 50])
    ))  # fmt: skip
    return path


def case_of(*names: str, work_after: int | None = None) -> Case:
    lines = []
    for number, name in enumerate(names):
        data = {"path": name, "holds": "bus"}
        lines.append({"kind": "recording", "id": f"r{number}", "data": data})
        if work_after == number:
            lines.append({"kind": "work", "id": "w", "data": {"did": "renewed"}})
    stamped = [json.dumps({**line, "at": "2026-03-02T08:00:00Z"}) for line in lines]
    return read_case("c", stamped)


def test_a_longer_copy_counts_once(tmp_path: Path) -> None:
    drive(tmp_path / "short.log", 20)
    drive(tmp_path / "long.log", 60)
    case = case_of("short.log", "long.log", "long.log")
    found, problems = read_recordings(case, lambda _, data: tmp_path / data.path)
    assert list(found) == ["r1"]
    words = {p.where: p.what for p in problems}
    assert words["r0"] == "It is the beginning of 'r1'; it is counted once."
    assert words["r2"] == "It is the same recording as 'r1'; it is counted once."


def test_work_in_between_keeps_both(tmp_path: Path) -> None:
    drive(tmp_path / "a.log", 20)
    case = case_of("a.log", "a.log", work_after=0)
    found, problems = read_recordings(case, lambda _, data: tmp_path / data.path)
    assert (list(found), problems) == (["r0", "r1"], [])


def test_channels_are_cached_and_can_be_thrown_away(tmp_path: Path) -> None:
    drive(tmp_path / "a.log", 20)
    cache = tmp_path / "channels"
    case = case_of("a.log")
    first, _ = read_recordings(case, lambda _, data: tmp_path / data.path, cache)
    (kept,) = cache.iterdir()
    assert kept.name == f"{first['r0'].sha256}.parquet"
    again, _ = read_recordings(case, lambda _, data: tmp_path / data.path, cache)
    kept.write_bytes(b"broken")
    anew, _ = read_recordings(case, lambda _, data: tmp_path / data.path, cache)
    for one in (again, anew):
        speed, held = one["r0"].channel("engine_speed"), first["r0"].channel("engine_speed")
        assert speed is not None
        assert held is not None
        assert np.array_equal(speed.values, held.values)


def test_columns_named_once_are_used_for_every_case(tmp_path: Path) -> None:
    """Also where the table was decoded and kept before its columns were named."""
    table = tmp_path / "gps.csv"
    rows = "".join(f"{n * 0.1:.1f},{n % 9},{700 + n}\n" for n in range(60))
    table.write_text("time,speed,RPM\n" + rows)
    case, book = case_of("gps.csv"), tmp_path / "columns.json"
    cache = tmp_path / "channels"
    cache.mkdir()

    def read() -> Recording:
        found, problems = read_recordings(
            case, lambda _, data: tmp_path / data.path, cache, columns=book
        )
        assert not problems
        return found["r0"]

    assert read().channel("road_speed") is None
    file_settings([table], columns=["speed=road_speed [mph]"], remember=book)
    speed = read().channel("road_speed")
    assert speed is not None
    # 8 mph = 8 x 1609.344 m an hour
    assert float(np.nanmax(speed.values)) == pytest.approx(8 * 1609.344 / 3600)
    book.write_text("not json")
    _, problems = read_recordings(case, lambda _, d: tmp_path / d.path, cache, columns=book)
    assert [p.where for p in problems] == [str(book)]
