"""The channel cache, the recognition of a recording added twice, remembered columns."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from readers.bus_text import candump
from witnessmark.errors import InputRefused, RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.readers.bus import frame_store
from witnessmark.readers.columns.remembered import recall, remember
from witnessmark.readers.files import keep
from witnessmark.readers.files import kept_channels as cache
from witnessmark.readers.files.kept_channels import load, load_window, store
from witnessmark.readers.files.same_drive import relation


def assert_alike(a: Recording, b: Recording) -> None:
    assert (a.name, a.sha256, a.kind, a.format, a.duration_s, a.frames, a.sources) == (
        b.name, b.sha256, b.kind, b.format, b.duration_s, b.frames, b.sources
    )  # fmt: skip
    assert (a.trouble_codes, a.flags, a.problems, a.facts) == (
        b.trouble_codes, b.flags, b.problems, b.facts
    )  # fmt: skip
    for one, other in zip(a.channels, b.channels, strict=True):
        assert (one.name, one.unit, one.label, one.spn, one.source, one.rate_hz) == (
            other.name, other.unit, other.label, other.spn, other.source, other.rate_hz
        )  # fmt: skip
        assert np.array_equal(one.time_s, other.time_s, equal_nan=True)
        assert np.array_equal(one.values, other.values, equal_nan=True)
        assert np.array_equal(one.quality, other.quality)


@pytest.mark.parametrize(
    "name",
    ["j1939/ride_A.candump.log.gz", "j1939/hd_24V_keyon_faults.mf4",
     "obd_csv/car_2018-02-26_short_coldstart.csv.gz", "shaft/shaft_speed_step_0.csv"],
)  # fmt: skip
def test_cache_gives_back_the_recording(shared: Path, tmp_path: Path, name: str) -> None:
    recording = read_recording(shared / "data" / name)
    store(recording, tmp_path)
    again = load(tmp_path, recording.sha256)
    assert again is not None
    assert_alike(recording, again)
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize("name", ["j1939/ride_A.candump.log.gz", "j1939/hd_24V_keyon_faults.mf4"])
def test_long_recording_kept_on_the_disk_is_the_same(
    shared: Path, tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    recording = read_recording(shared / "data" / name)
    monkeypatch.setattr(frame_store, "HELD", 3000)
    monkeypatch.setattr(cache, "_ROWS", 1000)
    monkeypatch.setattr(keep.Keeper.__init__, "__defaults__", (20_000,))
    again = read_recording(shared / "data" / name)
    assert_alike(recording, again)
    assert sum(keep.on_disk(c.quality) is not None for c in again.channels) > 10
    store(again, tmp_path)
    stored = load(tmp_path, recording.sha256)
    assert stored is not None
    assert_alike(recording, stored)


@pytest.mark.parametrize(
    "name",
    ["j1939/ride_A.candump.log.gz", "j1939/bench_keyon_faults.candump.log.gz",
     "j1939/parked_401s.mf4", "j1939/hd_24V_keyon_faults.mf4",
     "obd_csv/car_2018-02-26_short_coldstart.csv.gz", "crank/engine2_cranking_crank_cam.csv"],
)  # fmt: skip
def test_beginning_of_a_recording_is_recognised(shared: Path, tmp_path: Path, name: str) -> None:
    """As when a recorder is copied twice, once while it goes on; also with the engine at rest."""
    content = (shared / "data" / name).read_bytes()
    if name.endswith(".gz"):
        content = gzip.decompress(content)
    (tmp_path / "whole").write_bytes(content)
    (tmp_path / "begun").write_bytes(content[: int(0.61 * len(content))])
    whole, begun = (read_recording(tmp_path / n) for n in ("whole", "begun"))
    assert relation(begun, whole) == "longer"
    assert relation(whole, begun) == "shorter"


def test_two_rests_of_the_same_truck_are_two_recordings(shared: Path, tmp_path: Path) -> None:
    text = gzip.decompress(
        (shared / "data/j1939/bench_keyon_faults.candump.log.gz").read_bytes()
    ).splitlines(keepends=True)
    half = len(text) // 2
    (tmp_path / "one").write_bytes(b"".join(text[:half]))
    (tmp_path / "two").write_bytes(b"".join(text[half:]))
    one, two = (read_recording(tmp_path / n) for n in ("one", "two"))
    assert relation(one, two) == "different"


def test_full_disk_is_a_sentence(shared: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keep.Keeper.__init__, "__defaults__", (0,))

    def full(*_: object, **__: object) -> object:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(keep.tempfile, "TemporaryFile", full)
    with pytest.raises(RecordingRefused, match="room on the disk") as refused:
        read_recording(shared / "data/j1939/hd_24V_keyon_faults.mf4")
    assert refused.value.do


def test_window_of_a_cache(shared: Path, tmp_path: Path) -> None:
    ride = read_recording(shared / "data/j1939/ride_A.candump.log.gz")
    store(ride, tmp_path)
    part = load_window(tmp_path, ride.sha256, 100.0, 110.0, ["engine_speed"])
    assert part is not None
    (speed,) = part.channels
    whole = ride.channel("engine_speed")
    assert whole is not None
    inside = (whole.time_s >= 100.0) & (whole.time_s <= 110.0)
    assert np.array_equal(speed.values, whole.values[inside])


def test_cache_that_is_missing_or_damaged_is_no_cache(tmp_path: Path) -> None:
    assert load(tmp_path, "0" * 64) is None
    (tmp_path / f"{'1' * 64}.parquet").write_bytes(b"PAR1 broken")
    assert load(tmp_path, "1" * 64) is None


def drive(path: Path, seconds: float, *, seed: int = 1) -> Recording:
    random = np.random.default_rng(seed)
    raw = 12000 + random.integers(0, 400, 3000)
    frames = [
        (100 + n * 0.02, 0x0CF00400, f"FF7D7D{int(raw[n]) & 255:02X}{int(raw[n]) >> 8:02X}FFFF7D")
        for n in range(int(seconds * 50))
    ]
    return read_recording(candump(path, frames))


def test_a_recording_added_twice_is_recognised(tmp_path: Path) -> None:
    short, long = drive(tmp_path / "a", 20), drive(tmp_path / "b", 40)
    other = drive(tmp_path / "c", 40, seed=2)
    assert relation(short, short) == "same"
    assert relation(short, long) == "longer"
    assert relation(long, short) == "shorter"
    assert relation(long, other) == "different"
    assert relation(short, other) == "different"


def test_engine_off_proves_nothing(tmp_path: Path) -> None:
    still = [(100 + n * 0.02, 0x0CF00400, "FF7D7D0000FFFF7D") for n in range(400)]
    first = read_recording(candump(tmp_path / "a", still))
    second = read_recording(candump(tmp_path / "b", still[:200]))
    assert relation(second, first) == "different"


def test_columns_are_named_once(tmp_path: Path) -> None:
    table = tmp_path / "odd.csv"
    table.write_text("clk,a7,x\n" + "".join(f"{n},{700 + n},{n % 3}\n" for n in range(30)))
    key = str(read_recording(table).facts["header_key"])
    book = tmp_path / "columns.json"
    remember(book, key, {"clk": "time", "a7": "engine_speed [rpm]", "x": "ignore"})
    named = read_recording(table, settings=ReaderSettings(columns=recall(book)))
    assert [c.name for c in named.channels] == ["engine_speed"]
    other = tmp_path / "other.csv"
    other.write_text("clk,a7,x\n" + "".join(f"{n},{900 + n},{n % 3}\n" for n in range(30)))
    again = read_recording(other, settings=ReaderSettings(columns=recall(book)))
    assert again.channel("engine_speed") is not None


def test_wrong_name_is_said_and_not_used(tmp_path: Path) -> None:
    table = tmp_path / "odd.csv"
    table.write_text("Time [s],a7\n" + "".join(f"{n},{n}\n" for n in range(30)))
    key = str(read_recording(table).facts["header_key"])
    wrong = {key: {"a7": "oil_pressure [degC]"}}
    recording = read_recording(table, settings=ReaderSettings(columns=wrong))
    assert recording.channel("oil_pressure") is None
    assert any("was named" in p.what for p in recording.problems)


def test_damaged_memory_is_refused(tmp_path: Path) -> None:
    book = tmp_path / "columns.json"
    book.write_text("[1, 2")
    with pytest.raises(InputRefused, match="cannot be read"):
        recall(book)
