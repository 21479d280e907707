"""The bus formats against each other, against a reference library, and in their dialects."""

from __future__ import annotations

import gzip
from pathlib import Path

import can
import numpy as np
import pytest

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers import ReaderSettings, read_recording


def messages(count: int = 300) -> list[can.Message]:
    """A little traffic: engine speed, coolant, an 11-bit stranger, short frames."""
    random = np.random.default_rng(3)
    found = []
    for n in range(count):
        time = 1_700_000_000 + n * 0.01
        kind = n % 4
        if kind == 0:
            data = bytes([255, 125, 125, *int(4000 + n).to_bytes(2, "little"), 255, 255, 125])
            found.append(can.Message(time, 0x0CF00400, True, data=data))
        elif kind == 1:
            found.append(can.Message(time, 0x18FEEE00, True, data=bytes([130] + [255] * 7)))
        elif kind == 2:
            found.append(can.Message(time, 0x123, False, data=random.bytes(n % 9)))
        else:
            found.append(can.Message(time, 0x18FF1021, True, data=random.bytes(n % 9)))
    return found


def facts_of(recording: Recording) -> tuple[object, ...]:
    speed = recording.channel("engine_speed")
    coolant = recording.channel("coolant_temperature")
    assert speed is not None
    assert coolant is not None
    assert recording.duration_s is not None
    return (
        recording.frames,
        round(recording.duration_s, 3),
        speed.values.tolist(),
        np.round(speed.time_s, 4).tolist(),
        coolant.values.tolist(),
        recording.facts["frames_11_bit"],
        recording.facts["frames_by_source"],
    )


WRITERS = [
    ("a.asc", can.ASCWriter, "ASC"),
    ("a.trc", can.TRCWriter, "TRC"),
    ("a.blf", can.BLFWriter, "BLF"),
    ("a.log", can.CanutilsLogWriter, "candump"),
    ("a.mf4", can.MF4Writer, "MF4 bus log"),
]


@pytest.mark.parametrize(("name", "writer", "form"), WRITERS)
@pytest.mark.filterwarnings("ignore")
def test_files_of_a_reference_library(tmp_path: Path, name: str, writer: type, form: str) -> None:
    path = tmp_path / name
    with writer(path) as out:
        for message in messages():
            out.on_message_received(message)
    recording = read_recording(path)
    assert recording.format == form
    frames, duration, speed, times, coolant, short, senders = facts_of(recording)
    assert (frames, duration, short) == (300, 2.99, 75)
    assert speed == [(4000 + n) * 0.125 for n in range(0, 300, 4)]
    assert np.allclose(times, np.arange(75) * 0.04, atol=2e-4)
    assert coolant == [90.0] * 75
    # A frame without data says nothing about its sender here.
    assert senders == {"0": 150, "33": 75 - sum(n % 9 == 0 for n in range(3, 300, 4))}
    packed = tmp_path / "renamed.bin"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    assert facts_of(read_recording(packed)) == facts_of(recording)


def lines_of(dialect: str) -> str:
    found = []
    for n in range(40):
        time, data = 100.0 + n * 0.02, f"FF7D7D204E{n:02X}FF7D"
        pairs = " ".join(data[i : i + 2] for i in range(0, 16, 2))
        found.append(
            {
                "log": f"({time:.6f}) can0 0CF00400#{data}",
                "log with direction": f"({time:.6f}) can0 0CF00400#{data} R",
                "lower case": f"({time:.6f}) vcan1 0cf00400#{data.lower()}",
                "milliseconds": f"({time:.3f}) can0 0CF00400#{data}",
                "screen": f" ({time:.6f})  can0  0CF00400   [8]  {pairs}",
                "screen with flags": f" ({time:.6f})  can0  RX - -  0CF00400   [8]  {pairs}",
                "screen with text": f" ({time:.6f})  can0  0CF00400   [8]  {pairs}   '.}}}} N...'",
                "screen with date": f" (2026-03-02 08:10:{n * 0.02:09.6f})  can0  0CF00400   [8]  "
                f"{pairs}",
                "screen without time": f"  can0  0CF00400   [8]  {pairs}",
                "log without time": f"can0 0CF00400#{data}",
                "oldest": f"<0x0cf00400> [8] {pairs.lower()} ",
            }[dialect]
        )
    return "\n".join(found) + "\n"


@pytest.mark.parametrize(
    "dialect",
    ["log", "log with direction", "lower case", "milliseconds", "screen", "screen with flags",
     "screen with text", "screen with date", "screen without time", "log without time", "oldest"],
)  # fmt: skip
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_candump_dialects(tmp_path: Path, dialect: str, end: str) -> None:
    path = tmp_path / "log.txt"
    path.write_bytes(lines_of(dialect).replace("\n", end).encode())
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert recording.frames == 40
    assert speed.values.tolist() == [2500.0] * 40
    if "without" in dialect or dialect == "oldest":
        assert recording.duration_s is None
        timed = read_recording(path, settings=ReaderSettings(sample_interval_s=0.02))
        assert timed.duration_s == pytest.approx(39 * 0.02)
    else:
        assert recording.duration_s == pytest.approx(39 * 0.02)
        assert np.allclose(np.diff(speed.time_s), 0.02)


def test_time_stamps_that_go_wrong(tmp_path: Path) -> None:
    def line(time: float) -> str:
        return f"({time:.6f}) can0 0CF00400#FF7D7D204EFFFF7D\n"

    steps = [5.0, 5.02, 5.02, 5.01, 5.04, 9.0, 3.0, 3.02]  # doubled, disordered, a gap, set back
    path = tmp_path / "odd.log"
    path.write_text("".join(line(t) for t in steps))
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert (np.diff(speed.time_s) >= 0).all()
    words = " ".join(p.what for p in recording.problems)
    assert "same time stamp" in words
    assert "2 time stamps go backwards" in words
    assert "1 gaps of more than 1 s" in words
    assert "set back by 6.000 s" in words


def test_counter_of_microseconds_that_wraps(tmp_path: Path) -> None:
    """A 32-bit counter of microseconds starts anew after 4294.967296 s (2^32 µs, exact)."""
    path = tmp_path / "wrap.log"
    stamps = [(4294.9 + n * 0.01) % 4294.967296 for n in range(20)]
    path.write_text("".join(f"({t:.6f}) can0 0CF00400#FF7D7D204EFFFF7D\n" for t in stamps))
    recording = read_recording(path)
    assert recording.duration_s == pytest.approx(0.19, abs=1e-5)
    assert any("counter wrapped" in p.what for p in recording.problems)


def test_damaged_lines_are_counted_and_the_rest_is_used(tmp_path: Path) -> None:
    good = lines_of("log").splitlines()
    bad = [good[0][:-7], good[1].replace("7D", "G9"), "hello", "(x) can0 0CF00400#FF"]
    path = tmp_path / "bad.log"
    path.write_text("\n".join(good[:20] + bad + good[20:]))
    recording = read_recording(path)
    assert recording.frames == 40
    assert any(p.what.startswith("4 of 44 lines are no frames") for p in recording.problems)


def test_error_and_remote_frames_are_no_data(tmp_path: Path) -> None:
    extra = "(100.001000) can0 20000004#0000000000000000\n(100.002000) can0 0CF00400#R\n"
    path = tmp_path / "a.log"
    path.write_text(lines_of("log") + extra)
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert speed.values.size == 40
    assert recording.facts["remote_frames"] == 1
    assert recording.facts["error_frames"] == 1


def test_truncated_gzip_gives_what_is_there(tmp_path: Path) -> None:
    whole = gzip.compress((lines_of("log") * 500).encode(), mtime=0)
    path = tmp_path / "cut.log.gz"
    path.write_bytes(whole[: len(whole) // 2])
    recording = read_recording(path)
    assert 0 < recording.frames < 20_000
    assert any("cut off" in p.what for p in recording.problems)


def test_decompression_bomb_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bomb.gz"
    line = b"(100.000000) can0 0CF00400#FF7D7D204EFFFF7D\n"
    with gzip.open(path, "wb", 9) as out:
        for _ in range(90):
            out.write(line * 23_000)
    with pytest.raises(RecordingRefused, match="times its packed size"):
        read_recording(path, settings=ReaderSettings(max_ratio=100))
    with pytest.raises(RecordingRefused, match="Unpacked"):
        read_recording(path, settings=ReaderSettings(max_expanded_bytes=2**20))


def test_asc_decimal_and_relative(tmp_path: Path) -> None:
    path = tmp_path / "dec.asc"
    rows = [
        f"   0.020000 1  {0x0CF00400}x  Rx d 8 255 125 125 32 78 255 255 125" for _ in range(30)
    ]
    header = "date Mon Mar 2 08:00:00 am 2026\nbase dec  timestamps relative\n"
    path.write_text(header + "\n".join(rows) + "\n")
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert speed.values.tolist() == [2500.0] * 30
    assert recording.duration_s == pytest.approx(29 * 0.02)


@pytest.mark.parametrize(
    "line",
    [
        "{n:6d})  {ms:10.0f} 0CF00400 8 FF 7D 7D 20 4E FF FF 7D",
        "{n:6d})  {ms:10.1f}  Rx     0CF00400  8  FF 7D 7D 20 4E FF FF 7D",
        "{n:6d})  {ms:10.3f} 1  Rx     0CF00400 -  8    FF 7D 7D 20 4E FF FF 7D",
        "{n:7d}  {ms:10.3f} DT  0CF00400 Rx 8    FF 7D 7D 20 4E FF FF 7D",
    ],
)
def test_trc_versions(tmp_path: Path, line: str) -> None:
    path = tmp_path / "v.trc"
    rows = [line.format(n=n + 1, ms=n * 20.0) for n in range(30)]
    path.write_text(";   Start time: 02.03.2026 08:00:00.000\n" + "\n".join(rows) + "\n")
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert speed.values.tolist() == [2500.0] * 30
    assert recording.duration_s == pytest.approx(0.58)


def test_user_dbc(shared: Path, tmp_path: Path) -> None:
    dbc = tmp_path / "own.dbc"
    dbc.write_text(
        'VERSION ""\nBS_:\nBU_:\n'
        "BO_ 2566852862 OWN: 8 X\n"  # 0x18FF10FE | bit 31
        ' SG_ Soot : 8|16@1+ (0.5,-10) [0|1000] "%" X\n'
        ' SG_ Big : 39|16@0+ (1,0) [0|1000] "" X\n'
    )
    path = tmp_path / "own.log"
    rows = [f"({n * 0.1:.6f}) can0 18FF1021#FF6400FF01F4FFFF\n" for n in range(20)]
    path.write_text("".join(rows))
    assert not read_recording(path).channels
    found = {c.name: c for c in read_recording(path, settings=ReaderSettings(dbc=(dbc,))).channels}
    assert found["OWN.Soot"].values.tolist() == [40.0] * 20
    assert found["OWN.Big"].values.tolist() == [500.0] * 20
    demo = shared / "data/defs/demo_two_signals.dbc"
    ride = shared / "data/j1939/ride_A.candump.log.gz"
    plain = read_recording(ride)
    assert len(read_recording(ride, settings=ReaderSettings(dbc=(demo,))).channels) == len(
        plain.channels
    )


def test_a_frame_without_stamp_among_stamped_ones(tmp_path: Path) -> None:
    path = tmp_path / "mixed.log"
    text = lines_of("log").splitlines()
    path.write_text("\n".join([text[0][13:], *text[:20], text[20][13:], *text[20:]]) + "\n")
    recording = read_recording(path)
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert speed.values.size == 40
    assert any("carry no time stamp" in p.what for p in recording.problems)


def test_mf4_with_an_absurd_header_gives_a_problem(shared: Path, tmp_path: Path) -> None:
    data = bytearray((shared / "data/j1939/other_car_11bit.mf4").read_bytes()[:20_000])
    data[80:88] = b"\xff" * 8  # the number of links of the header
    path = tmp_path / "absurd.mf4"
    path.write_bytes(data)
    recording = read_recording(path)
    assert any("cut off or damaged" in p.what for p in recording.problems)
