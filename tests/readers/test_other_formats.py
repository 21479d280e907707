"""Tables of every layout, decoded MF4 channels, sound, edge lists."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.units import from_house


def read(folder: Path, text: str, encoding: str = "utf-8", **settings: object) -> Recording:
    path = folder / "table.any"
    path.write_bytes(text.encode(encoding))
    return read_recording(path, settings=ReaderSettings(**settings))  # type: ignore[arg-type]


def named(recording: Recording, name: str) -> Channel:
    channel = recording.channel(name)
    assert channel is not None, [c.name for c in recording.channels]
    return channel


def rows(form: str, count: int = 40) -> str:
    return "".join(
        form.format(n=n, t=n * 0.1, rpm=1500 + n, psi=40 + n % 5) + "\n" for n in range(count)
    )


LAYOUTS = {
    "comma": ("Time [s],Engine RPM,Oil Pressure [psi]\n", "{t:.1f},{rpm},{psi}"),
    "tab": ("Time (s)\tEngine Speed (rpm)\tOil Pressure (psi)\n", "{t:.1f}\t{rpm}\t{psi}"),
    "bars": ("time|rpm|oil_pressure_psi\n", "{t:.1f}|{rpm}|{psi}"),
    "blanks": ("time_s  engine_rpm  oil_pressure_psi\n", "{t:5.1f}   {rpm}   {psi}"),
    "spaced": ("time_s, engine_rpm, oil_pressure_psi\n", "{t:.1f}, {rpm}, {psi}"),
    "units below": ("Time;Engine Speed;Oil Pressure\ns;1/min;psi\n", "{t:.1f};{rpm};{psi}"),
    "units in brackets below": ("Time,RPM,Oil pressure\n[s],[rpm],[psi]\n", "{t:.1f},{rpm},{psi}"),
    "remarks above": ("# made by nobody\n# unit 7\n\nTime [s],RPM,Oil Pressure [psi]\n",
                      "{t:.1f},{rpm},{psi}"),
    "quoted": ('"Time [s]","Engine RPM","Oil Pressure [psi]"\n', '"{t:.1f}","{rpm}","{psi}"'),
    "trailing delimiter": ("Time [s],Engine RPM,Oil Pressure [psi],\n", "{t:.1f},{rpm},{psi},"),
    "house names": ("time,engine_speed [rpm],oil_pressure [psi]\n", "{t:.1f},{rpm},{psi}"),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_layouts(tmp_path: Path, layout: str, end: str) -> None:
    head, form = LAYOUTS[layout]
    table = read(tmp_path, (head + rows(form)).replace("\n", end))
    assert named(table, "engine_speed").values.tolist() == [1500.0 + n for n in range(40)]
    oil = named(table, "oil_pressure")
    # 1 psi = 6894.757 Pa (NIST SP 811)
    assert oil.values[1] == pytest.approx(41 * 6894.757, rel=1e-6)
    assert table.duration_s == pytest.approx(3.9)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-le"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    head = "Time [s];Coolant Temperature [°C];RPM\n"
    table = read(tmp_path, head + rows("{t:.1f};8{n:02d};{rpm}"[:9] + "{n};{rpm}"), encoding)
    assert named(table, "coolant_temperature").unit == "degC"
    assert named(table, "engine_speed").values.size == 40


def test_decimal_comma_and_thousands(tmp_path: Path) -> None:
    text = "Zeit [s];Motordrehzahl [1/min];Oeldruck [bar]\n"
    text += "".join(f"{n},5;1.{n:03d},25;3,{n % 10}\n" for n in range(40))
    table = read(tmp_path, text)
    assert named(table, "engine_speed").values[7] == 1007.25
    assert np.diff(named(table, "engine_speed").time_s).tolist() == [1.0] * 39
    text = "Time [s],RPM,Boost [kPa]\n" + "".join(f'{n},"1,{n:03d}.5",{n}\n' for n in range(40))
    assert named(read(tmp_path, text), "engine_speed").values[7] == 1007.5
    text = "Time [s];RPM\n" + "".join(f"{n};1'{n:03d}\n" for n in range(40))
    assert named(read(tmp_path, text), "engine_speed").values[7] == 1007.0


def test_decimal_comma_between_commas_is_refused(tmp_path: Path) -> None:
    text = "Time,RPM,Boost\n" + "".join(f"{n},5,{700 + n},5,3,2\n" for n in range(30))
    with pytest.raises(RecordingRefused, match="several ways"):
        read(tmp_path, text)


CLOCKS = {
    "clock": ["08:59:58.5", "08:59:59.0", "08:59:59.5", "09:00:00.0"],
    "short clock": ["08:58", "08:59", "09:00", "09:01"],
    "midnight": ["23:59:59.0", "23:59:59.5", "00:00:00.0", "00:00:00.5"],
    "afternoon": ["11:59:59 AM", "12:00:00 PM", "12:00:01 PM", "12:00:02 PM"],
    "date": ["2026-03-02 08:59:59.0", "2026-03-02 08:59:59.5", "2026-03-02T09:00:00.0",
             "2026-03-02 09:00:00.5"],
    "zone": ["2026-03-02T08:59:59.0Z", "2026-03-02T08:59:59.5Z", "2026-03-02T09:00:00.0Z",
             "2026-03-02T09:00:00.5Z"],
    "german date": ["28.02.2026 23:59:59", "01.03.2026 00:00:00", "01.03.2026 00:00:01",
                    "01.03.2026 00:00:02"],
    "epoch": ["1772438399.5", "1772438400.0", "1772438400.5", "1772438401.0"],
    "epoch ms": ["1772438399500", "1772438400000", "1772438400500", "1772438401000"],
    "epoch us": ["1772438399500000", "1772438400000000", "1772438400500000", "1772438401000000"],
}  # fmt: skip
STEP = {"short clock": 60.0, "afternoon": 1.0, "german date": 1.0}


@pytest.mark.parametrize("clock", CLOCKS)
def test_clocks(tmp_path: Path, clock: str) -> None:
    text = "Time,RPM\n" + "".join(f"{t},{700 + n}\n" for n, t in enumerate(CLOCKS[clock]))
    table = read(tmp_path, text)
    speed = named(table, "engine_speed")
    step = STEP.get(clock, 0.5)
    assert speed.time_s == pytest.approx([0, step, 2 * step, 3 * step], abs=1e-6)


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    text = "Date,Time,RPM\n" + "".join(
        f"{d},{t},700\n"
        for d, t in (
            ("2026-02-28", "23:59:59"),
            ("2026-03-01", "00:00:00"),
            ("2026-03-01", "00:00:01"),
        )
    )
    assert named(read(tmp_path, text), "engine_speed").time_s.tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize(
    ("dates", "month_first", "began", "said"),
    [
        ("03/04/2026", None, "2026-03-04", True),
        ("03/04/2026", True, "2026-03-04", False),
        ("03/04/2026", False, "2026-04-03", False),
        ("03-04-2026", False, "2026-04-03", False),
        ("3/4/26", None, "2026-03-04", True),
        ("03/03/2026", None, "2026-03-03", False),  # both orders read the same
        ("13/04/2026", True, "2026-04-13", False),  # a number above 12 settles it
        ("04/13/2026", False, "2026-04-13", False),
    ],
)
@pytest.mark.parametrize("apart", [False, True])
def test_dates_that_can_be_read_two_ways(
    tmp_path: Path, dates: str, month_first: bool | None, began: str, said: bool, apart: bool
) -> None:
    head = "Date;Time;Engine RPM [rpm]" if apart else "Time;Engine RPM [rpm]"
    mark = ";" if apart else " "
    body = "".join(f"{dates}{mark}10:15:{n:02d}.5;{700 + n}\n" for n in range(40))
    recording = read(tmp_path, f"{head}\n{body}", month_first=month_first)
    epoch = recording.facts["epoch_s"]
    assert isinstance(epoch, float)
    assert datetime.fromtimestamp(epoch, UTC).isoformat() == f"{began}T10:15:00.500000+00:00"
    assert recording.duration_s == pytest.approx(39.0)
    assert any("begin with the month" in p.what for p in recording.problems) == said


def test_milliseconds_in_the_heading(tmp_path: Path) -> None:
    table = read(tmp_path, "Time (ms),RPM\n" + "".join(f"{n * 100},700\n" for n in range(20)))
    assert table.duration_s == pytest.approx(1.9)


def test_blank_and_odd_cells_are_missing_never_zero(tmp_path: Path) -> None:
    cells = ["80", "", "n/a", "--", "oops", "85", "1e400", "999"]
    text = "Time [s],Coolant [degC],RPM\n" + "".join(f"{n},{c},700\n" for n, c in enumerate(cells))
    table = read(tmp_path, text)
    coolant = named(table, "coolant_temperature")
    assert [Quality(q) for q in coolant.quality] == [
        Quality.VALID, Quality.NOT_AVAILABLE, Quality.NOT_AVAILABLE, Quality.NOT_AVAILABLE,
        Quality.NOT_AVAILABLE, Quality.VALID, Quality.IMPLAUSIBLE, Quality.IMPLAUSIBLE,
    ]  # fmt: skip
    assert any("oops" in p.what for p in table.problems)


def test_units_are_converted_and_never_guessed(tmp_path: Path) -> None:
    text = "Time [s],Coolant Temp [F],Boost [bar],Vehicle Speed,Fuel Rail Pressure [bar]\n"
    table = read(tmp_path, text + rows("{t:.1f},212,1.5,55,1800"))
    assert named(table, "coolant_temperature").values[0] == pytest.approx(100.0)
    assert named(table, "boost_pressure").values[0] == pytest.approx(150_000)
    assert table.channel("road_speed") is None
    assert table.channel("fuel_delivery_pressure") is None  # a rail's pressure is another thing
    assert any("'Vehicle Speed' has no unit" in p.what for p in table.problems)


def test_no_time_column(tmp_path: Path) -> None:
    text = "RPM,Coolant [degC]\n" + rows("{psi},80")
    table = read(tmp_path, text)
    assert table.duration_s is None
    assert any("no time column" in p.what for p in table.problems)
    assert read(tmp_path, text, sample_interval_s=0.5).duration_s == pytest.approx(19.5)


def test_decoded_mf4_channels_of_a_reference_library(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "decoded.mf4"
    time = np.arange(500) * 0.02
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with asammdf.MDF(version="4.10") as mdf:
            ramp = (1500 + np.arange(500)).astype("<u2")
            half = {"a": 0.5, "b": 0.0}
            warm = np.linspace(20, 90, 500).astype("<f4")
            twist = (np.arange(500) - 250).astype("<i2")
            signals = [
                asammdf.Signal(ramp, time, name="EngineSpeed", unit="rpm", conversion=half),
                asammdf.Signal(warm, time, name="Coolant Temperature", unit="degC"),
                asammdf.Signal(twist, time, name="Twist", unit="Nm"),
            ]
            mdf.append(signals, comment="x")
            mdf.save(path, overwrite=True, compression=2)
    decoded = read_recording(path)
    assert decoded.format == "MF4 channels"
    assert named(decoded, "engine_speed").values.tolist() == (750 + np.arange(500) * 0.5).tolist()
    assert named(decoded, "coolant_temperature").values[-1] == pytest.approx(90)
    assert named(decoded, "Twist").values[0] == -250
    assert decoded.duration_s == pytest.approx(9.98)


@pytest.mark.parametrize(
    ("name", "subtype"), [("a.wav", "PCM_16"), ("a.wav", "FLOAT"), ("a.flac", "PCM_24")]
)
def test_sound(tmp_path: Path, name: str, subtype: str) -> None:
    rate = 8000
    tone = 0.5 * np.sin(2 * np.pi * 120 * np.arange(2 * rate) / rate)
    path = tmp_path / name
    soundfile.write(path, np.column_stack([tone, -tone]), rate, subtype=subtype)
    sound = read_recording(path.rename(tmp_path / "sound.dat"))
    assert sound.kind == "waveform"
    assert [c.rate_hz for c in sound.channels] == [rate, rate]
    assert np.allclose(sound.channels[0].values, tone, atol=1e-4)
    assert sound.duration_s == pytest.approx(2.0, abs=1e-3)


def test_overdriven_sound_is_reported(tmp_path: Path) -> None:
    path = tmp_path / "loud.wav"
    soundfile.write(path, np.clip(2 * np.sin(np.arange(8000) / 9), -1, 1), 8000, subtype="PCM_16")
    assert any("overdriven" in p.what for p in read_recording(path).problems)


WHEELS = {"36-1": (36, (35,)), "36-2": (36, (34, 35)), "36-2-1": (36, (16, 34, 35)),
          "36-2-2-2": (36, (14, 15, 17, 18, 34, 35)), "60-2": (60, (58, 59))}  # fmt: skip


@pytest.mark.parametrize("wheel", WHEELS)
@pytest.mark.parametrize("head", ["", "time [s]\n"])
def test_single_column_of_tooth_times(tmp_path: Path, wheel: str, head: str) -> None:
    places, gaps = WHEELS[wheel]
    marks = [n for n in range(places * 25) if n % places not in gaps]
    time = np.array(marks) / places * 60 / 1200 + 3.0
    text = head + "".join(f"{t:.9f}\n" for t in time)
    pickup = read(tmp_path, text)
    assert pickup.kind == "tooth_timing"
    assert pickup.frames == len(marks)
    (fact,) = pickup.facts["wheels"]  # type: ignore[misc]
    assert fact["wheel"] == wheel
    assert fact["turn_rpm"][1] == pytest.approx(1200, rel=1e-3)


def test_24_even_places_tell_no_wheel(tmp_path: Path) -> None:
    text = "time,crank\n" + "".join(f"{n * 0.001:.6f},{n % 2}\n" for n in range(400))
    pickup = read(tmp_path, text)
    assert pickup.kind == "tooth_timing"
    assert "wheels" not in pickup.facts


def test_phone_acceleration(tmp_path: Path) -> None:
    text = "time,ax (m/s^2),ay (m/s^2),az (m/s^2)\n"
    text += "".join(f"{n * 0.01:.2f},{np.sin(n):.4f},0.1,9.81\n" for n in range(400))
    phone = read(tmp_path, text)
    assert phone.kind == "waveform"
    assert [c.name for c in phone.channels] == ["vibration"] * 3
    assert phone.channels[0].rate_hz == pytest.approx(100)


def test_values_shown_in_the_unit_asked_for(tmp_path: Path) -> None:
    table = read(tmp_path, "Time [s],Oil Pressure [psi],RPM\n" + rows("{t:.1f},{psi},{rpm}"))
    oil = named(table, "oil_pressure")
    assert from_house("oil_pressure", float(oil.values[0]), "psi") == pytest.approx(40)
