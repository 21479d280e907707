"""Recording from python-can's virtual bus, and what is left when the recorder is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import can
import pytest
from click.testing import CliRunner

from patience import PATIENCE_S
from witnessmark.cli.for_recordings.record_command import command
from witnessmark.errors import InputRefused, NothingUsable
from witnessmark.readers import read_recording
from witnessmark.workflow.dossier.drive_of_case import drive_of
from witnessmark.workflow.recordings.record_bus import RecordProgress, parse_bus, record

ROOT = Path(__file__).resolve().parents[2]
SPEED, COOLANT, OIL = 0x0CF00400, 0x18FEEE00, 0x18FEEF00


def talk(bus: can.BusABC, seconds: float, *, every: float = 0.01) -> int:
    """Say: 1500 rpm, coolant 90 degC, oil pressure sensor at fault."""
    sent = 0
    begin = time.monotonic()
    while time.monotonic() - begin < seconds:
        for identifier, data in (
            (SPEED, "FF7D7DE02EFFFF7D"), (COOLANT, "82FFFFFFFFFFFFFF"), (OIL, "FFFFFFFEFFFFFFFF"),
        ):  # fmt: skip
            bus.send(can.Message(time.time(), identifier, True, data=bytes.fromhex(data)))
            sent += 1
        time.sleep(every)
    return sent


def test_records_what_was_said(tmp_path: Path) -> None:
    out = tmp_path / "drive.log"
    told: list[RecordProgress] = []
    with can.Bus(interface="virtual", channel="records") as speaker:
        thread = threading.Thread(target=talk, args=(speaker, 1.2))
        thread.start()
        end = record(
            "virtual:records",
            out,
            seconds=1.5,
            every_s=0.3,
            families=["oil_press"],
            tell=told.append,
        )
        thread.join()
    assert end.frames > 60
    assert end.connected
    assert end.values["engine_speed"] == "1500 rpm"
    assert end.values["coolant_temperature"].startswith("194 degF")
    assert end.values["oil_pressure"] == "sensor circuit at fault"
    assert told
    assert {line.point for line in end.card} >= {"idle", "pull"}
    recording = read_recording(out)
    assert recording.frames == end.frames
    speed = recording.channel("engine_speed")
    assert speed is not None
    assert set(speed.values.tolist()) == {1500.0}


def test_a_file_is_never_written_over(tmp_path: Path) -> None:
    out = tmp_path / "old.log"
    out.write_text("precious")
    with pytest.raises(InputRefused, match="already there"):
        record("virtual:x", out, seconds=0.1)
    assert out.read_text() == "precious"


def test_silence_and_wrong_buses_are_said(tmp_path: Path) -> None:
    with pytest.raises(NothingUsable, match="No frame came"):
        record("virtual:silent", tmp_path / "a", seconds=0.2)
    with pytest.raises(InputRefused, match="cannot be opened"):
        record("socketcan:nonesuch0", tmp_path / "b", seconds=0.2)
    with pytest.raises(InputRefused, match="cannot be opened"):
        record("no_such_interface:0", tmp_path / "c", seconds=0.2)
    with pytest.raises(InputRefused, match="does not name a bus"):
        parse_bus("can0")
    assert not list(tmp_path.iterdir())


def test_a_bus_that_goes_away_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "gap.log"
    from can.interfaces.virtual import VirtualBus

    whole, broken = VirtualBus._recv_internal, {"at": 40, "done": False}

    def failing(self: VirtualBus, timeout: float | None) -> object:
        broken["at"] -= 1
        if broken["at"] == 0:
            raise can.CanOperationError("unplugged")
        return whole(self, timeout)

    monkeypatch.setattr(VirtualBus, "_recv_internal", failing)
    with can.Bus(interface="virtual", channel="gone") as speaker:
        thread = threading.Thread(target=talk, args=(speaker, 2.2))
        thread.start()
        end = record("virtual:gone", out, seconds=2.5)
        thread.join()
    assert end.interruptions == 1
    assert end.frames > 60
    assert read_recording(out).frames == end.frames


def test_multicast_on_the_loopback(tmp_path: Path) -> None:
    """The bus that needs no hardware: frames between two processes of one machine."""
    pytest.importorskip("msgpack", reason="python-can's multicast bus needs msgpack")
    group = "239.74.163.2"
    try:
        speaker = can.Bus(interface="udp_multicast", channel=group)
    except (can.CanError, OSError) as error:
        pytest.skip(f"this machine has no multicast: {error}")
    out = tmp_path / "multicast.log"
    with speaker:
        thread = threading.Thread(target=talk, args=(speaker, 1.2))
        thread.start()
        try:
            end = record(f"udp_multicast:{group}", out, seconds=1.5)
        except (NothingUsable, InputRefused) as error:
            pytest.skip(f"this machine passes no multicast on: {error}")
        finally:
            thread.join()
    assert read_recording(out).frames == end.frames


CASE = """
{"kind":"truck","id":"e1","at":"2026-03-02T08:00:00Z","data":{"label":"unit 7","engine":{"cylinders":6,"type":"example-15l","fuel_supply":"gallery"},"gears":{"9":1.0,"10":0.73},"axle_ratio":3.55,"tyre_rev_per_mile":500}}
{"kind":"complaint","id":"e2","at":"2026-03-02T08:01:00Z","data":{"words":"oil light at idle","families":["oil_press"]}}
{"kind":"test","id":"e3","at":"2026-03-02T08:02:00Z","data":{"test":"g_level","result":"negative"}}
{"kind":"test","id":"e4","at":"2026-03-02T08:03:00Z","data":{"test":"g_mech","result":"positive"}}
"""  # noqa: E501  (one entry a line)
OWN_BAND = """
schema = "witnessmark.pack/1.0"
name = "own_bands"
title = "Own bands"
version = "1"
[sources.sheet]
kind = "measured"
words = "the shop's own healthy engines"
[[bands]]
quantity = "oil_pressure"
low = "22 psi"
high = "40 psi"
rpm = [600, 800]
warm = true
engine_type = "example-15l"
words = "this engine at idle"
source = "sheet"
"""


def idle(bus: can.BusABC, seconds: float) -> None:
    """Say: 700 rpm, 10 % load, coolant 90 degC, oil pressure 34 x 4 kPa, parked."""
    begin = time.monotonic()
    while time.monotonic() - begin < seconds:
        for identifier, data in (
            (SPEED, "FF7D7DE015FFFF7D"), (COOLANT, "82FFFFFFFFFFFFFF"), (OIL, "FFFFFF22FFFFFFFF"),
            (0x0CF00300, "FF000AFFFFFFFFFF"), (0x18FEF100, "FF0000FFFFFFFFFF"),
        ):  # fmt: skip
            bus.send(can.Message(time.time(), identifier, True, data=bytes.fromhex(data)))
        time.sleep(0.02)


def test_a_case_gives_the_bands_and_the_card(tmp_path: Path) -> None:
    """The engine's type, its gears and the complaints come from the case."""
    case = tmp_path / "case.jsonl"
    case.write_text(CASE.strip() + "\n")
    runner = CliRunner()
    with can.Bus(interface="virtual", channel="cased") as speaker:
        thread = threading.Thread(target=idle, args=(speaker, 2.0))
        thread.start()
        done = runner.invoke(
            command,
            ["--bus", "virtual:cased", "--out", str(tmp_path / "a.log"), "--seconds", "2.2",
             "--case", str(case)],
        )  # fmt: skip
        thread.join()
    assert done.exit_code == 0, done.output
    # 34 x 4 kPa = 136 kPa = 19.7 psi; the pack's own band for a hot engine at idle is 15 to 35.
    assert "oil pressure 19.73 psi, in its band: 15 to 35 psi" in done.output
    assert "hot engine at idle" in done.output
    assert "judgement" in done.output
    assert "full load in gear 9 for 10 s is missing" in done.output


def test_the_band_of_the_engines_own_type_comes_first(tmp_path: Path) -> None:
    case, pack = tmp_path / "case.jsonl", tmp_path / "own.toml"
    case.write_text(CASE.strip() + "\n")
    pack.write_text(OWN_BAND)
    drive = drive_of(case, packs=[pack])
    with can.Bus(interface="virtual", channel="typed") as speaker:
        thread = threading.Thread(target=idle, args=(speaker, 1.0))
        thread.start()
        end = record(
            "virtual:typed", tmp_path / "b.log", seconds=1.2, truck=drive.truck,
            families=drive.families, knowledge=drive.knowledge,
        )  # fmt: skip
        thread.join()
    assert end.values["oil_pressure"] == "19.73 psi, below its band: 22 to 40 psi"
    assert "measured: the shop's own healthy engines" in end.bands["oil_pressure"]


def test_a_case_that_says_nothing_is_refused(tmp_path: Path) -> None:
    case = tmp_path / "empty.jsonl"
    case.write_text("")
    with pytest.raises(NothingUsable, match="no truck"):
        drive_of(case)


RECORDER = """
import sys, threading
sys.path.insert(0, {tests!r})
import can
from workflow.test_record import talk
from witnessmark.cli.main import run
speaker = can.Bus(interface="virtual", channel="killed")
threading.Thread(target=talk, args=(speaker, 30), daemon=True).start()
sys.argv = ["witnessmark", "record", "--bus", "virtual:killed", "--out", {out!r}]
run()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a POSIX system")
def test_killed_recorder_leaves_a_good_file(tmp_path: Path) -> None:
    """After kill -9 every line but perhaps the last is whole; at most the last second is lost."""
    out = tmp_path / "killed.log"
    program = RECORDER.format(tests=str(ROOT / "tests"), out=str(out))
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    process = subprocess.Popen(
        [sys.executable, "-c", program], env=environment,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline and (not out.exists() or out.stat().st_size < 20_000):
            time.sleep(0.05)
        process.kill()
        killed = time.time()
    finally:
        process.kill()
        process.wait()
    lines = out.read_bytes().split(b"\n")
    last_whole = float(lines[-2][1:18])
    assert killed - last_whole < 1.0
    recording = read_recording(out)
    assert recording.frames >= len(lines) - 2 > 300
    assert recording.channel("engine_speed") is not None
