"""Frames of two interfaces are two buses: their signals, codes and packets never mix."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording
from witnessmark.workflow.recordings.case_recordings import recordings_beside

ENGINE = 0x0CF00400  # engine speed, from the engine's own address
OIL = 0x18FEEF00
HOURS = 0x18FEE500
CODES = 0x18FECA00
CONTROL, PACKET = 0x18ECFF00, 0x18EBFF00

Line = tuple[float, str, int, bytes]


def speed(rpm: float) -> bytes:
    return bytes([0xFF] * 3) + int(rpm / 0.125).to_bytes(2, "little") + bytes([0xFF] * 3)


def oil(kpa: int) -> bytes:
    return bytes([0xFF] * 3 + [kpa // 4] + [0xFF] * 4)


def one_code(spn: int, fmi: int) -> bytes:
    return bytes([0x04, 0xFF, spn & 0xFF, spn >> 8, fmi, 1, 0xFF, 0xFF])


def engine(bus: str, base: float, swing: float, *, shift: float = 0.0, seconds: float = 30.0,
           seed: int = 1) -> list[Line]:  # fmt: skip
    """One engine's frames on one bus: speed every 20 ms, oil pressure every 500 ms."""
    noise = np.random.default_rng(seed)
    found: list[Line] = []
    for n in range(int(seconds / 0.02)):
        at = n * 0.02 + shift + float(noise.uniform(0.0, 0.002))
        rpm = base + swing * np.sin(n * 0.013) + float(noise.integers(0, 9)) * 0.125
        found.append((at, bus, ENGINE, speed(rpm)))
        if n % 25 == 0:
            found.append((at + 0.003, bus, OIL, oil(200 + 4 * (n // 25 % 30))))
    return found


def candump(lines: list[Line]) -> str:
    return "".join(
        f"({1700000000 + t:.6f}) {bus} {identifier:08X}#{data.hex().upper()}\n"
        for t, bus, identifier, data in sorted(lines, key=lambda line: line[0])
    )


def asc(lines: list[Line]) -> str:
    head = "date Mon Mar 2 08:00:00.000 2026\nbase hex  timestamps absolute\n"
    return head + "".join(
        f"{t:11.6f} {1 + int(bus[-1])}  {identifier:X}x       Rx   d {len(data)} "
        f"{' '.join(f'{b:02X}' for b in data)}\n"
        for t, bus, identifier, data in sorted(lines, key=lambda line: line[0])
    )


def trc(lines: list[Line]) -> str:
    head = ";$FILEVERSION=2.1\n;$STARTTIME=45000.5\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n"
    return head + "".join(
        f"{n:7} {t * 1000:13.3f} DT {1 + int(bus[-1])} {identifier:08X} Rx - {len(data)} "
        f"{' '.join(f'{b:02X}' for b in data)}\n"
        for n, (t, bus, identifier, data) in enumerate(sorted(lines, key=lambda x: x[0]), 1)
    )


WRITERS = {"candump": candump, "asc": asc, "trc": trc}
BUSES = {"candump": ("can0", "can1"), "asc": ("1", "2"), "trc": ("1", "2")}


def read(folder: Path, text: str) -> Recording:
    path = folder / "both.log"
    path.write_text(text)
    return read_recording(path)


def of(found: Recording, name: str) -> dict[str, np.ndarray]:
    return {c.bus: c.values for c in found.channels if c.name == name}


@pytest.mark.parametrize("format_name", WRITERS)
def test_two_engines_on_two_buses_are_two(tmp_path: Path, format_name: str) -> None:
    lines = engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    found = read(tmp_path, WRITERS[format_name](lines))
    first, second = BUSES[format_name]
    speeds = of(found, "engine_speed")
    assert set(speeds) == {first, second}
    assert speeds[first].max() < 730.0
    assert speeds[second].min() > 1400.0
    assert {c.bus for c in found.channels if c.name == "oil_pressure"} == {first, second}
    words = " ".join(p.what for p in found.problems)
    assert first in words, words
    assert second in words, words


@pytest.mark.parametrize(("other", "apart"), [(0, False), (40, True)])
def test_equal_engine_hours_tell_one_engine(tmp_path: Path, other: int, apart: bool) -> None:
    """Two buses of which one repeats a slowed speed: the hours say whether it is one engine."""
    lines = engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    for bus, more in (("can0", 0), ("can1", other)):  # SPN 247: 0.05 h a bit (SAE J1939-71)
        hours = (164_000 + more).to_bytes(4, "little") + bytes([0xFF] * 4)
        lines += [(float(n), bus, HOURS, hours) for n in range(1, 30)]
    said = " ".join(p.what for p in read(tmp_path, candump(lines)).problems)
    assert ("each carry an engine" in said) == apart, said


def test_codes_keep_their_bus(tmp_path: Path) -> None:
    lines = engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    lines += [(1.0 + n, "can0", CODES, one_code(100, 1)) for n in range(20)]
    lines += [(1.5 + n, "can1", CODES, one_code(100, 1)) for n in range(9)]
    found = read(tmp_path, candump(lines))
    assert {(c.bus, c.spn, c.fmi, c.messages) for c in found.trouble_codes} == {
        ("can0", 100, 1, 20),
        ("can1", 100, 1, 9),
    }


def test_packets_of_two_buses_do_not_mix(tmp_path: Path) -> None:
    def message(bus: str, start: float, spn: int) -> list[Line]:
        body = bytes([0x04, 0xFF]) + b"".join(
            bytes([(spn + k) & 0xFF, (spn + k) >> 8, 3, 1]) for k in range(3)
        )
        begin = bytes([32, len(body), 0, 2, 0xFF, 0xCA, 0xFE, 0x00])
        padded = body.ljust(14, b"\xff")
        return [
            (start, bus, CONTROL, begin),
            (start + 0.05, bus, PACKET, b"\x01" + padded[:7]),
            (start + 0.10, bus, PACKET, b"\x02" + padded[7:]),
        ]

    lines = engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    for n in range(10):
        lines += message("can0", 1.0 + n, 100) + message("can1", 1.02 + n, 4000)
    found = read(tmp_path, candump(lines))
    spns = {bus: {c.spn for c in found.trouble_codes if c.bus == bus} for bus in ("can0", "can1")}
    assert spns == {"can0": {100, 101, 102}, "can1": {4000, 4001, 4002}}
    assert found.facts["multi_packet"] == {"announced": 20, "completed": 20}


@pytest.mark.parametrize("swing", [0.0, 300.0])
def test_one_bus_logged_by_two_adapters_is_one(tmp_path: Path, swing: float) -> None:
    lines = engine("can0", 900.0, swing)
    noise = np.random.default_rng(5)
    again = [(t + 0.0004 + float(noise.uniform(0, 0.0002)), "can1", i, d) for t, _, i, d in lines
             if noise.uniform() > 0.01]  # fmt: skip
    found = read(tmp_path, candump(lines + again))
    speeds = of(found, "engine_speed")
    assert len(speeds) == 1
    assert next(iter(speeds.values())).size == sum(i == ENGINE for _, _, i, _ in lines)
    assert any("same" in p.what and "can1" in p.what for p in found.problems)


def test_a_gateway_that_repeats_some_messages_is_no_second_adapter(tmp_path: Path) -> None:
    lines = engine("can0", 900.0, 300.0)
    lines += [(t + 0.001, "can1", i, d) for t, _, i, d in lines if i == ENGINE]
    body = 0x18FEF621
    lines += [(n * 0.05, "can1", body, bytes([n % 200] * 8)) for n in range(600)]
    found = read(tmp_path, candump(lines))
    assert set(of(found, "engine_speed")) == {"can0", "can1"}
    engine_channel = found.channel("engine_speed")
    assert engine_channel is not None
    assert engine_channel.bus == "can0"


def test_a_quantity_of_the_other_engine_never_stands_in(tmp_path: Path) -> None:
    lines = [line for line in engine("can0", 700.0, 20.0) if line[2] == ENGINE]
    lines += engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    found = read(tmp_path, candump(lines))
    speed_channel = found.channel("engine_speed")
    assert speed_channel is not None
    other = found.channel("oil_pressure")
    assert other is None or other.bus == speed_channel.bus


def test_one_bus_needs_no_name(tmp_path: Path) -> None:
    found = read(tmp_path, candump(engine("can0", 700.0, 20.0)))
    assert {c.bus for c in found.channels} == {""}


def test_look_and_the_cache_keep_the_bus(tmp_path: Path) -> None:
    from witnessmark.readers.files.kept_channels import load, store
    from witnessmark.workflow.recordings.look_into import as_json, look

    path = tmp_path / "both.log"
    lines = engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2)
    lines += [(1.0 + n, "can1", CODES, one_code(100, 1)) for n in range(20)]
    path.write_text(candump(lines))
    shown = json.loads(json.dumps(as_json(look([path])[0])))
    assert {c["bus"] for c in shown["channels"] if c["name"] == "engine_speed"} == {"can0", "can1"}
    assert [c["bus"] for c in shown["trouble_codes"]] == ["can1"]
    whole = read_recording(path)
    store(whole, tmp_path / "channels")
    held = load(tmp_path / "channels", whole.sha256)
    assert held is not None
    assert [(c.name, c.bus) for c in held.channels] == [(c.name, c.bus) for c in whole.channels]
    assert [c.bus for c in held.trouble_codes] == ["can1"]


def case_of(recording: Path, **data: object) -> Case:
    rows = [
        {"kind": "truck", "id": "t", "data": {"label": "unit 7"}},
        {"kind": "complaint", "id": "c", "data": {"words": "hot", "families": ["cool_unstable"]}},
        {"kind": "recording", "id": "r", "data": {"path": recording.name, **data}},
    ]
    lines = [json.dumps({**row, "at": "2026-03-02T08:00:00Z"}) for row in rows]
    return read_case("two engines", lines)


def test_no_finding_rests_on_two_engines_until_one_is_named(tmp_path: Path) -> None:
    path = tmp_path / "both.log"
    path.write_text(
        candump(engine("can0", 700.0, 20.0) + engine("can1", 1800.0, 300.0, shift=0.007, seed=2))
    )
    found, problems = recordings_beside(case_of(path), tmp_path)
    assert found == {}
    assert any("can0" in p.what and "can1" in p.what for p in problems)
    found, problems = recordings_beside(case_of(path, bus="can1"), tmp_path)
    assert problems == []
    speed_channel = found["r"].channel("engine_speed")
    assert speed_channel is not None
    assert speed_channel.values.min() > 1400.0
    found, problems = recordings_beside(case_of(path, bus="can7"), tmp_path)
    assert found == {}
    assert any("can7" in p.what for p in problems)


def adapter(folder: Path, name: str, lines: list[Line], *, late: float, lost: float) -> Recording:
    """Write what one adapter heard: its own stamps, some frames lost."""
    noise = np.random.default_rng(int(late * 1000))
    heard = [(t + late + float(noise.uniform(0, 0.0008)), "can0", i, d) for t, _, i, d in lines
             if noise.uniform() > lost]  # fmt: skip
    path = folder / name
    path.write_text(candump(heard))
    return read_recording(path)


def test_one_bus_in_two_files_is_recognised(tmp_path: Path) -> None:
    from witnessmark.readers.files.same_drive import relation

    drive = engine("can0", 900.0, 300.0, seconds=120.0)
    first = adapter(tmp_path, "a.log", drive, late=0.0, lost=0.01)
    again = adapter(tmp_path, "b.log", drive, late=3600.25, lost=0.02)
    part = adapter(tmp_path, "c.log", drive[2000:5000], late=7.5, lost=0.0)
    other = adapter(tmp_path, "d.log", engine("can0", 900.0, 300.0, seconds=120.0, seed=9),
                    late=0.0, lost=0.0)  # fmt: skip
    assert relation(first, again) == "same"
    assert relation(first, part) == "shorter"
    assert relation(part, first) == "longer"
    assert relation(first, other) == "different"
