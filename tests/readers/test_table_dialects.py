"""One drive, written as many recorders and spreadsheets write tables."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.recording import Recording
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.readers.columns.carried import repeated

COUNT = 90
TIME = np.arange(COUNT) * 0.5
#: Engine speed passes 999, where marks between thousands begin.
SPEED = np.round(650 + np.where(np.arange(COUNT) > 40, 850, 0) + np.arange(COUNT) * 0.25, 2)
COOLANT = np.round(20 + np.arange(COUNT) * 0.5, 1)
OIL_PSI = np.round(30 + np.arange(COUNT) * 0.1, 2)
NAMES = ["Time [s]", "Engine Speed [rpm]", "Coolant Temperature [°C]", "Oil Pressure [psi]"]
#: Pascals in a psi (NIST SP 811).
PSI = 6894.757293168

Cells = Callable[[int], list[str]]


def plain(row: int) -> list[str]:
    return [f"{TIME[row]:.1f}", f"{SPEED[row]:.2f}", f"{COOLANT[row]:.1f}", f"{OIL_PSI[row]:.2f}"]


def comma(row: int) -> list[str]:
    return [c.replace(".", ",") for c in plain(row)]


def grouped(mark: str, point: str) -> Cells:
    def cells(row: int) -> list[str]:
        values = (TIME[row], SPEED[row], COOLANT[row], OIL_PSI[row])
        return [
            f"{v:,.{d}f}".replace(",", "#").replace(".", point).replace("#", mark)
            for v, d in zip(values, (1, 2, 1, 2), strict=True)
        ]

    return cells


def table(cells: Cells, delimiter: str = ",", names: list[str] = NAMES, above: str = "",
          below: str = "", between: str = "") -> str:  # fmt: skip
    lines = [delimiter.join(names), *(delimiter.join(cells(n)) for n in range(COUNT))]
    if between:
        lines.insert(1, between)
    return above + "\n".join(lines) + "\n" + below


def read(folder: Path, text: str | bytes, **settings: object) -> Recording:
    path = folder / "drive.wav"  # the name says nothing
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_recording(path, settings=ReaderSettings(**settings))  # type: ignore[arg-type]


def assert_drive(found: Recording, *, speed: np.ndarray = SPEED, timed: bool = True) -> None:
    wanted = {"engine_speed": speed, "coolant_temperature": COOLANT, "oil_pressure": OIL_PSI * PSI}
    for name, values in wanted.items():
        channel = found.channel(name)
        assert channel is not None, (name, [c.name for c in found.channels], found.problems)
        assert channel.values == pytest.approx(values, rel=1e-5)
        if timed:
            assert channel.time_s == pytest.approx(TIME, abs=2e-3)


UNITS = ["s", "rpm", "°C", "psi"]
BARE = ["Time", "Engine Speed", "Coolant Temperature", "Oil Pressure"]
quoted = [f'"{n}"' for n in NAMES]
LAYOUTS = {
    **{f"parted by {d!r}": table(plain, d) for d in (",", ";", "\t", "|", " | ", "^", "~", ":")},
    **{f"decimal comma, {d!r}": table(comma, d) for d in (";", "\t", "|")},
    "decimal commas in quotes": table(lambda n: [f'"{c}"' for c in comma(n)], ",", quoted),
    "single quotes": table(lambda n: [f"'{c}'" for c in plain(n)], ",", [f"'{n}'" for n in NAMES]),
    "formulas": table(lambda n: [f'="{c}"' for c in plain(n)], ","),
    "units behind numbers": table(
        lambda n: [f"{c} {u}" for c, u in zip(plain(n), UNITS, strict=True)], ",", BARE
    ),
    "units below": table(plain, ",", BARE, between=",".join(UNITS)),
    "units above": table(plain, ",", BARE, above=",".join(UNITS) + "\n"),
    "units in words": table(plain, ",", BARE, between="seconds,revolutions per minute,"
                            "degrees Celsius,pounds per square inch"),
    "units and types below": table(plain, ",", BARE, between=",".join(UNITS)
                                   + "\nfloat,float,float,float"),
    "unit behind a slash": table(plain, ",", ["Time/s", "Engine Speed/rpm",
                                           "Coolant Temperature/°C", "Oil Pressure/psi"]),
    "described above": table(plain, above="Device,none\nSerial,12\nStart,2026-03-02 08:00\n\n"),
    "described above, date first": table(plain, above="Date,2026-03-02,,\nTime,08:00,,\n"),
    "numbers above": table(plain, above="1234\n5,6\n"),
    "remarks inside": table(lambda n: plain(n) if n != 50 else [f"{plain(n)[0]}", *plain(n)[1:]],
                            above="# a\n# b,c\n", below="# the end\n"),
    "footer": table(plain, below="\nEnd of log\nRows: 90\n"),
    "statistics below": table(plain, below="Min,650,20,30\nMax,1530,80,40\n"),
    "rows counted": table(lambda n: [f"{n + 1}", *plain(n)], ",", ["No.", *NAMES]),
    "trailing delimiter": table(lambda n: [*plain(n), ""], ","),
    "Excel's first line": table(comma, ";", above="sep=;\n"),
    "thousands 1,234.5": table(grouped(",", "."), ";"),
    "thousands 1.234,5": table(grouped(".", ","), ";"),
    "thousands 1 234,5": table(grouped(" ", ","), "\t"),
    "thousands 1'234.5": table(grouped("'", "."), ";"),
    "thousands 1’234.5": table(grouped("’", "."), ";"),
    "thousands thin blank": table(grouped("\u202f", ","), ";"),
    "scientific": table(lambda n: [f"{float(c):.6E}" for c in plain(n)]),
    "blanks around": table(lambda n: [f"{c:>10}" for c in plain(n)]),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_layouts_are_read(tmp_path: Path, layout: str, end: str) -> None:
    assert_drive(read(tmp_path, LAYOUTS[layout].replace("\n", end)))


@pytest.mark.parametrize(
    "encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp850",
                 "mac_roman"],
)  # fmt: skip
def test_encodings_are_read(tmp_path: Path, encoding: str) -> None:
    assert_drive(read(tmp_path, table(comma, ";").encode(encoding)))


WHOLE = np.rint(SPEED)


@pytest.mark.parametrize(
    ("delimiter", "mark", "quote"),
    [(";", ".", ""), (";", ",", ""), ("\t", ",", ""), (",", ",", '"')],
)
def test_whole_numbers_with_thousands(
    tmp_path: Path, delimiter: str, mark: str, quote: str
) -> None:
    """1,520 among whole numbers is fifteen hundred and twenty, not one and a half."""

    def cells(row: int) -> list[str]:
        values = (TIME[row] * 1000, WHOLE[row], COOLANT[row] * 10)
        return [f"{quote}{v:,.0f}{quote}".replace(",", mark) for v in values]

    names = ["Time [ms]", "Engine Speed [rpm]", "Coolant [0.1 degC]"]
    found = read(tmp_path, table(cells, delimiter, names))
    speed = found.channel("engine_speed")
    assert speed is not None
    assert speed.values.tolist() == WHOLE.tolist()
    assert speed.time_s == pytest.approx(TIME)


def test_headings_behind_a_mark_of_remarks_keep_every_name(tmp_path: Path) -> None:
    text = "# time [s],engine speed [rpm],oil pressure [psi],boost [psi]\n"
    found = read(
        tmp_path, text + "".join(f"{n},{700 + n},{40 + n % 5},{n % 7}\n" for n in range(60))
    )
    assert [c.name for c in found.channels] == ["engine_speed", "oil_pressure", "boost_pressure"]
    assert found.channels[0].values[-1] == 759.0


def test_marks_nobody_can_read_are_refused(tmp_path: Path) -> None:
    text = "Time [s];Engine Speed [rpm]\n"
    text += "".join(f"{n};1,{500 + n}\n" for n in range(40))
    found = read(tmp_path, text)
    assert found.channel("engine_speed") is None
    assert any("two ways" in p.what for p in found.problems)
    unnamed = read(tmp_path, text.replace("Time [s]", "Time [s];Speed [rpm]").replace(
        "Engine Speed [rpm]", "").replace(";1,", ";700;1,"))  # fmt: skip
    assert any("two ways in 'column 3'" in p.what for p in unnamed.problems)


START = datetime(2026, 2, 28, 23, 59, 50)


def _at(row: int) -> datetime:
    return START + timedelta(seconds=float(TIME[row]))


CLOCKS: dict[str, Callable[[int], str]] = {
    "minutes and seconds": lambda n: f"{int(TIME[n] // 60):02d}:{TIME[n] % 60:04.1f}",
    "with a zone": lambda n: _at(n).isoformat(timespec="milliseconds") + "+01:00",
    "with a short zone": lambda n: _at(n).isoformat(" ", timespec="milliseconds") + " -05",
    "with UTC": lambda n: _at(n).isoformat(" ", timespec="milliseconds") + " UTC",
    "nanoseconds": lambda n: _at(n).isoformat(timespec="microseconds") + "000Z",
    "without marks": lambda n: f"{_at(n):%Y%m%dT%H%M%S.%f}Z",
    "digits only": lambda n: f"{_at(n):%Y%m%d%H%M%S.%f}",
    "points": lambda n: f"{_at(n):%Y.%m.%d %H:%M:%S.%f}",
    "month in letters": lambda n: f"{_at(n):%d %b %Y %H:%M:%S.%f}",
    "month first in letters": lambda n: f'"{_at(n):%b %d, %Y %H:%M:%S.%f}"',
    "weekday": lambda n: f"{_at(n):%a %b %d %H:%M:%S.%f %Y}",
    "afternoon over midnight": lambda n: f"{_at(n):%I:%M:%S.%f %p}",
    "over midnight": lambda n: f"{_at(n):%H:%M:%S.%f}",
    "spreadsheet": lambda n: f"{46081.999 + TIME[n] / 86400:.9f}",
    "part of a day": lambda n: f"{0.375 + TIME[n] / 86400:.9f}",
}


@pytest.mark.parametrize("clock", CLOCKS)
def test_times_are_read(tmp_path: Path, clock: str) -> None:
    write = CLOCKS[clock]
    found = read(tmp_path, table(lambda n: [write(n), *plain(n)[1:]], ",", ["Time", *NAMES[1:]]))
    assert_drive(found)
    if clock in {"spreadsheet", "part of a day"}:
        assert any("parts of days" in p.what for p in found.problems)


UNITS_OF_TIME = {
    "Time (ns)": 1e9, "time_us": 1e6, "Time [µs]": 1e6, "Elapsed time msec": 1e3, "ZEIT [ms]": 1e3,
    "Time since start [ms]": 1e3, "Tiempo (s)": 1.0, "Time [min]": 1 / 60, "Time (h)": 1 / 3600,
    "Offset (ms)": 1e3,
}  # fmt: skip


@pytest.mark.parametrize("name", UNITS_OF_TIME)
def test_units_of_time(tmp_path: Path, name: str) -> None:
    factor = UNITS_OF_TIME[name]
    names = [name, *NAMES[1:]]
    assert_drive(read(tmp_path, table(lambda n: [f"{TIME[n] * factor:.9f}", *plain(n)[1:]], ",",
                                      names)))  # fmt: skip


def test_day_and_time_without_colons(tmp_path: Path) -> None:
    names = ["Date", "Time", *NAMES[1:]]
    text = table(lambda n: [f"{_at(n):%Y%m%d}", f"{_at(n):%H%M%S.%f}", *plain(n)[1:]], ",", names)
    assert_drive(read(tmp_path, text))


def test_the_finer_of_two_times(tmp_path: Path) -> None:
    names = ["Timestamp", "Offset (ms)", *NAMES[1:]]
    text = table(
        lambda n: [f"{_at(n):%Y-%m-%d %H:%M:%S}", f"{TIME[n] * 1000:.0f}", *plain(n)[1:]],
        ",",
        names,
    )
    assert_drive(read(tmp_path, text))


def test_a_time_without_unit_in_long_steps_is_asked_about(tmp_path: Path) -> None:
    text = table(lambda n: [f"{TIME[n] * 1000:.0f}", *plain(n)[1:]], ",", ["Time", *NAMES[1:]])
    found = read(tmp_path, text)
    assert any("does not say its unit" in p.what for p in found.problems)
    key = str(found.facts["header_key"])
    assert_drive(read(tmp_path, text, columns={key: {"Time": "time [ms]"}}))


def test_what_a_heading_says_besides_is_asked_about(tmp_path: Path) -> None:
    names = ["Time [s]", "RPM", "Radiator outlet coolant temp [°C]", "Oil Pressure [psi]"]
    found = read(tmp_path, table(plain, ",", names))
    assert found.channel("coolant_temperature") is None
    assert any("'radiator outlet'" in p.what for p in found.problems)
    key = str(found.facts["header_key"])
    named = {key: {names[2]: "coolant_temperature [degC]"}}
    assert_drive(read(tmp_path, table(plain, ",", names), columns=named))


WAVE = np.round(np.sin(np.arange(800) / 9), 5)
RATES = {
    "Fs=5000": 5000, "Sampling rate: 5 kHz": 5000, "Sample Rate,5,kS/s": 5000,
    "Sample Rate,5 kSa/s": 5000, "Sampling rate: 5,000 Hz": 5000, '"Sampling rate","5,000"': 5000,
    "% Sampling rate 5000 Hz": 5000, "Sampling rate 5000 Hz": 5000, "SampFreq:5000": 5000,
    "Abtastrate,5000 Hz": 5000, "Abtastfrequenz [Hz],5000": 5000, "Samples per second,5000": 5000,
    "Sample Interval,2.0E-04,s": 5000, "Sample interval (ms),0.2": 5000, "dt = 200 us": 5000,
    "Delta(second),0.0002": 5000, "XINCR,2e-4\nXUNIT,s": 5000, "Increment,0.0002": 5000,
    "Sampling rate,0.005 MSa/s": 5000, "Sampling period,200 us": 5000,
    "Excitation frequency,87\nSampling rate,5000": 5000, "Frequency response,20 kHz\nFs,5000": 5000,
    "Date,2026-03-02\nTime,08:00:00\nModel,9000\nSampling rate (Sa/s),5000\nPoints,800\n": 5000,
}  # fmt: skip


@pytest.mark.parametrize("above", RATES)
def test_rates_above_a_waveform(tmp_path: Path, above: str) -> None:
    text = above + "\nCH1,CH2\n" + "".join(f"{v},{v / 2}\n" for v in WAVE)
    found = read(tmp_path, text)
    assert found.kind == "waveform"
    assert [c.name for c in found.channels] == ["CH1", "CH2"]
    assert found.channels[0].rate_hz == pytest.approx(RATES[above])
    assert found.channels[0].values == pytest.approx(WAVE)


def test_a_scope_that_describes_beside_the_data(tmp_path: Path) -> None:
    beside = ["Record Length,800,Points,", "Sample Interval,0.0002,s,", "Trigger Point,80,Samples,",
              '"Source",CH1,,', "Vertical Units,V,,"]  # fmt: skip
    lines = [
        f"{beside[n] if n < len(beside) else ',,,'}{n * 0.0002:.6f},{v},"
        for n, v in enumerate(WAVE)
    ]
    found = read(tmp_path, "\n".join(lines) + "\n")
    assert found.kind == "waveform"
    assert found.channels[-1].values == pytest.approx(WAVE)
    assert found.channels[-1].rate_hz == pytest.approx(5000)


def test_a_scope_that_states_the_step_under_a_heading(tmp_path: Path) -> None:
    text = "X,CH1,Start,Increment\nSequence,Volt,0.000000,0.0002\n"
    text += "".join(f"{n},{v},,\n" for n, v in enumerate(WAVE))
    found = read(tmp_path, text)
    assert found.channels[0].rate_hz == pytest.approx(5000)
    assert found.channels[0].values == pytest.approx(WAVE)


def test_a_column_asked_for_in_turn_was_asked_also_where_it_did_not_change() -> None:
    """Four columns in turn, a fifth that never moves: what was asked falls on its place."""
    rows = 200
    row = np.arange(rows)
    columns = [np.full(rows, np.nan) for _ in range(4)]
    for place, column in enumerate(columns):
        steps = np.where(row >= place, (row - place) // 12 * 10.0, np.nan)  # every third time
        column[:] = steps
    found = repeated([*columns, np.full(rows, 7.0)])
    assert found is not None
    for place in range(4):
        assert (~found[place]).tolist() == ((row % 4 == place) & (row >= place)).tolist()
