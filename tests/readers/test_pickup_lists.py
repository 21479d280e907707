"""Lists of teeth in many forms, wheels of many kinds, sound files whose sizes are wrong."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers import ReaderSettings, read_recording

GAPS = {
    "36-1": (36, [35]), "36-2": (36, [34, 35]), "36-2-1": (36, [15, 34, 35]),
    "36-2-2-2": (36, [13, 14, 31, 32, 34, 35]), "60-2": (60, [58, 59]), "24-1": (24, [23]),
    "12-1": (12, [11]),
}  # fmt: skip


def teeth(wheel: str = "36-2", rpm: float = 700.0, turns: int = 12, uneven: float = 0.01):
    """Times of the teeth; three firings a turn speed the engine up and slow it down."""
    places, gaps = GAPS[wheel]
    place = np.arange(places * turns)
    turn = place / places
    time = (turn + uneven / 3 / (2 * np.pi) * np.sin(2 * np.pi * 3 * turn)) * 60.0 / rpm
    return time[~np.isin(place % places, gaps)]


def column(times: np.ndarray, form: str = "{:.6f}") -> str:
    return "".join(form.format(t) + "\n" for t in times)


def read(folder: Path, text: str | bytes, **settings: object) -> Recording:
    path = folder / "teeth.xls"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_recording(path, settings=ReaderSettings(**settings))  # type: ignore[arg-type]


def wheel_of(found: Recording, number: int = 0) -> dict[str, object]:
    assert found.kind == "tooth_timing", (found.kind, found.problems)
    wheels = found.facts["wheels"]
    assert isinstance(wheels, list)
    return wheels[number]


@pytest.mark.parametrize("wheel", GAPS)
@pytest.mark.parametrize("uneven", [0.0, 0.02, 0.18])
def test_wheels_with_gaps(tmp_path: Path, wheel: str, uneven: float) -> None:
    """Also at cranking, where the speed changes by a fifth within a turn."""
    found = wheel_of(read(tmp_path, column(teeth(wheel, uneven=uneven))))
    assert found["wheel"] == wheel
    assert found["turn_rpm"] == pytest.approx([700.0] * 3, rel=0.01)


def coded(code: str, *, rising_even: bool, rpm: float = 140.0, turns: int = 6) -> str:
    """A wheel whose marks are long or short, as edges of both ways."""
    rows = []
    for number in range(len(code) * turns):
        long = 0.7 if code[number % len(code)] == "1" else 0.3
        for part, level in (
            (0.0, rising_even),
            (long if rising_even else 1.0 - long, not rising_even),
        ):
            turn = (number + part) / len(code)
            at = turn + 0.03 / (2 * np.pi) * np.sin(2 * np.pi * 3 * turn)
            rows.append((at * 60.0 / rpm, int(level)))
    rows.sort()
    return "Time [s],Crank\n" + "".join(f"{t:.6f},{v}\n" for t, v in rows)


@pytest.mark.parametrize("rising_even", [True, False])
@pytest.mark.parametrize("code", ["111110001001100101010110", "110100100011101110000101"])
def test_a_wheel_of_24_wide_and_narrow_teeth(tmp_path: Path, code: str, rising_even: bool) -> None:
    found = wheel_of(read(tmp_path, coded(code, rising_even=rising_even)))
    assert found["wheel"] == "24x"
    assert found["places"] == 24
    assert found["turn_rpm"] == pytest.approx([140.0] * 3, rel=0.02)


@pytest.mark.parametrize("code", ["1" * 24, "10" * 12, "1100" * 6])
def test_even_teeth_tell_no_wheel(tmp_path: Path, code: str) -> None:
    assert "wheels" not in read(tmp_path, coded(code, rising_even=True)).facts


def test_the_recorded_wheel_of_24(shared: Path) -> None:
    """PROVENANCE: engine3 is a 24-position wheel, cranking, about 99 to 147 rpm a turn."""
    found = wheel_of(read_recording(shared / "data/crank/engine3_cranking_24x.csv"))
    assert found["wheel"] == "24x"
    low, _, high = found["turn_rpm"]  # type: ignore[misc]
    assert 88 < low < 105
    assert 130 < high < 148


TIMES = teeth()
#: (time, high) of every edge, up and down.
BOTH = sorted([(t, True) for t in TIMES] + [(t + 6e-4, False) for t in TIMES])
CAM = np.arange(6) * 2 * 60 / 700 + 1e-4
LISTS = {
    "seconds": column(TIMES),
    "heading": "Time (s)\n" + column(TIMES),
    "microseconds": "edge_us\n" + column(TIMES * 1e6, "{:.0f}"),
    "microseconds in words": "Edge time (microseconds)\n" + column(TIMES * 1e6, "{:.0f}"),
    "milliseconds": "Time [ms]\n" + column(TIMES * 1e3, "{:.4f}"),
    "nanoseconds": "time_ns\n" + column(TIMES * 1e9, "{:.0f}"),
    "ticks of a known clock": "clock: 10 MHz\nticks\n" + column(TIMES * 1e7, "{:.0f}"),
    "scientific": column(TIMES, "{:.9e}"),
    "decimal comma": "Zeit [s]\n" + column(TIMES).replace(".", ","),
    "decimal comma, no heading": column(TIMES).replace(".", ","),
    "byte mark": "\ufeff" + column(TIMES),
    "remarks": "# flywheel\n# side A\n" + column(TIMES),
    "a stamp twice": column(np.sort(np.r_[TIMES, TIMES[50]])),
    "a counter that wraps": "us\n" + column((TIMES * 1e6 + 2**32 - 4e5) % 2**32, "{:.0f}"),
    "intervals": "Interval [us]\n" + column(np.diff(TIMES) * 1e6, "{:.1f}"),
    "counted": "Edge,Time (s)\n" + "".join(f"{n},{t:.6f}\n" for n, t in enumerate(TIMES)),
    "counted, no heading": "".join(f"{n},{t:.6f}\n" for n, t in enumerate(TIMES)),
    "named edges": "time_s,edge\n" + "".join(
        f"{t:.6f},{name}\n"
        for t, name in sorted([(t, "crank") for t in TIMES] + [(t, "cam") for t in CAM])
    ),
    "numbered edges": "time;channel\n" + "".join(
        f"{t:.6f};{n}\n" for t, n in sorted([(t, 0) for t in TIMES] + [(t, 1) for t in CAM])
    ),
    "ways": "time,type\n" + "".join(
        f"{t:.6f},{'rising' if up else 'falling'}\n" for t, up in BOTH
    ),
    "a column a pickup": "crank_s,cam_s\n" + "".join(
        f"{t:.6f},{f'{CAM[n]:.6f}' if n < CAM.size else ''}\n" for n, t in enumerate(TIMES)
    ),
    "volts": "Time (s),Crank (V)\n" + "".join(
        f"{t:.6f},{5.0 * up}\n" for t, up in BOTH
    ),
    "level of the engine speed sensor": "Time (s),Engine speed sensor\n" + "".join(
        f"{t:.6f},{int(up)}\n" for t, up in BOTH
    ),
}  # fmt: skip


@pytest.mark.parametrize("form", LISTS)
def test_lists_of_teeth(tmp_path: Path, form: str) -> None:
    found = read(tmp_path, LISTS[form])
    crank = next(
        w
        for n in range(len(found.facts.get("wheels", [])))
        if (w := wheel_of(found, n))  # type: ignore[arg-type]
    )
    assert crank["wheel"] == "36-2"
    assert crank["turn_rpm"] == pytest.approx([700.0] * 3, rel=0.01)
    # A tenth of a turn a minute is told, and no figure that nobody measured.
    assert crank["turn_rpm"] == [round(rpm, 1) for rpm in crank["turn_rpm"]]


def test_a_unit_that_the_heading_states_is_taken(tmp_path: Path) -> None:
    found = read(tmp_path, "Time [ms]\n" + column(TIMES * 1e3))
    assert wheel_of(found)["turn_rpm"] == pytest.approx([700.0] * 3, rel=0.01)
    assert not [p for p in found.problems if "only in" in p.what]


def test_a_unit_nobody_states_is_said(tmp_path: Path) -> None:
    found = read(tmp_path, column(TIMES * 1e6, "{:.0f}"))
    assert wheel_of(found)["turn_rpm"] == pytest.approx([700.0] * 3, rel=0.01)
    assert any("only in µs" in p.what for p in found.problems)


def test_ticks_of_unknown_length_are_refused(tmp_path: Path) -> None:
    text = "ticks\n" + column(TIMES * 8e6, "{:.0f}")
    with pytest.raises(RecordingRefused, match="unit of its times"):
        read(tmp_path, text)
    found = read(tmp_path, text, sample_interval_s=1 / 8e6)
    assert wheel_of(found)["turn_rpm"] == pytest.approx([700.0] * 3, rel=0.01)


def test_one_column_of_samples(tmp_path: Path) -> None:
    wave = np.round(np.sin(np.arange(400) / 7), 5)
    found = read(tmp_path, "fs=5000\nvolts\n" + column(wave, "{:.5f}"))
    assert (found.kind, found.channels[0].rate_hz) == ("waveform", 5000.0)
    assert found.channels[0].values == pytest.approx(wave)
    found = read(tmp_path, column(wave, "{:.5f}"))
    assert found.duration_s is None
    assert any("sampling rate" in p.what for p in found.problems)


def test_one_column_of_levels(tmp_path: Path) -> None:
    edges = np.sort(np.r_[TIMES, TIMES + 6e-4])
    levels = np.searchsorted(edges, np.arange(0, 1, 1 / 20000), side="right") % 2
    found = read(tmp_path, "Sampling rate,20000\nCrank\n" + column(levels, "{:d}"))
    assert wheel_of(found)["wheel"] == "36-2"


SOUND = 0.5 * np.sin(np.arange(4000) / 11)


def sound(kind: str = "WAV", subtype: str = "PCM_16", channels: int = 1) -> bytes:
    out = io.BytesIO()
    samples = np.column_stack([SOUND] * channels)
    soundfile.write(out, samples, 8000, subtype=subtype, format=kind)
    return out.getvalue()


@pytest.mark.parametrize(
    ("kind", "subtype"),
    [("WAV", "PCM_U8"), ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "PCM_32"), ("WAV", "FLOAT"),
     ("WAV", "DOUBLE"), ("WAVEX", "PCM_24"), ("RF64", "PCM_16"), ("W64", "PCM_16"),
     ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("AIFF", "PCM_16"), ("CAF", "PCM_16")],
)  # fmt: skip
def test_sound_is_read(tmp_path: Path, kind: str, subtype: str) -> None:
    found = read(tmp_path, sound(kind, subtype, channels=2))
    assert [c.rate_hz for c in found.channels] == [8000.0, 8000.0]
    assert found.channels[1].values == pytest.approx(SOUND, abs=0.01)
    assert not found.problems


@pytest.mark.parametrize("size", [0, 1000, 0xFFFFFFFF])
def test_a_wrong_size_does_not_cost_samples(tmp_path: Path, size: int) -> None:
    data = bytearray(sound())
    at = data.find(b"data")
    data[at + 4 : at + 8] = struct.pack("<I", size)
    found = read(tmp_path, bytes(data))
    assert found.channels[0].values == pytest.approx(SOUND, abs=0.01)
    assert size == 0xFFFFFFFF or any("wrong size" in p.what for p in found.problems)


def test_a_cut_sound_says_so(tmp_path: Path) -> None:
    found = read(tmp_path, sound()[:4044])
    assert found.frames == 2000
    assert any("cut off" in p.what for p in found.problems)


def test_what_stands_behind_the_samples_is_no_sound(tmp_path: Path) -> None:
    data = bytearray(sound())
    data += b"LIST" + struct.pack("<I", 12) + b"INFOICMT\0\0\0\0"
    data[4:8] = struct.pack("<I", len(data) - 8)
    found = read(tmp_path, bytes(data))
    assert found.frames == 4000
    assert not found.problems
