"""An adapter that only listens: opened so, and the bit rate found without disturbing the bus.

The adapter at the other end of a pseudo-terminal speaks the open serial-line protocol of such
adapters; the driver that talks to it is the real one.
"""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import can.interfaces.slcan
import pytest

from patience import PATIENCE_S
from witnessmark.cli.for_recordings.record_command import command
from witnessmark.errors import InputRefused, NothingUsable
from witnessmark.readers import read_recording
from witnessmark.workflow.recordings.adapters import RATES, find_bitrate, quiet_options
from witnessmark.workflow.recordings.record_bus import record

#: 700 r/min as J1939 sends it: 5600 steps of 0.125 r/min in bytes 4 and 5.
FRAME = b"T0CF004008FF7D7DE015FFFF7D\r"
SPEEDS = {b"S5": 250_000, b"S6": 500_000}


@dataclass
class Adapter:
    """A truck's bus of one bit rate behind an adapter; *disturbed* counts error flags put on it."""

    handle: int
    truck: int | None
    rate: int = 0
    told: list[bytes] = field(default_factory=list)
    disturbed: int = 0

    def serve(self) -> None:
        held, running, listens = b"", False, False
        while True:
            try:
                held += os.read(self.handle, 256)
            except OSError:
                return
            *words, held = held.split(b"\r")
            for word in words:
                self.told.append(word)
                if word in SPEEDS:
                    self.rate = SPEEDS[word]
                running = word in {b"L", b"O"} or (running and word != b"C")
                listens = word == b"L" or (listens and word != b"O")
                os.write(self.handle, b"\r")
                if running and word in {b"L", b"O"} and self.truck is not None:
                    if self.rate == self.truck:
                        os.write(self.handle, FRAME * 20)
                    elif not listens:
                        self.disturbed += 1


@pytest.fixture
def adapter(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Adapter, str]]:
    monkeypatch.setattr(can.interfaces.slcan.slcanBus, "_SLEEP_AFTER_SERIAL_OPEN", 0)
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    made = Adapter(ours, 500_000)
    thread = threading.Thread(target=made.serve, daemon=True)
    thread.start()
    yield made, os.ttyname(theirs)
    os.close(theirs)
    thread.join(PATIENCE_S)
    os.close(ours)


def test_the_bit_rate_is_found_by_listening_alone(adapter: tuple[Adapter, str]) -> None:
    made, channel = adapter
    assert find_bitrate("slcan", channel, listen_s=0.3) == 500_000
    assert made.disturbed == 0
    assert b"O" not in made.told
    assert b"L" in made.told
    assert [SPEEDS[w] for w in made.told if w in SPEEDS] == list(RATES)


def test_a_silent_bus_is_told_and_nothing_was_sent(adapter: tuple[Adapter, str]) -> None:
    made, channel = adapter
    made.truck = None
    with pytest.raises(NothingUsable, match="Nothing can be read at 250,000 or 500,000"):
        find_bitrate("slcan", channel, listen_s=0.2)
    assert b"O" not in made.told
    assert not any(word[:1] in {b"t", b"T"} for word in made.told)


def test_a_recording_is_opened_listening_only(adapter: tuple[Adapter, str], tmp_path: Path) -> None:
    made, channel = adapter
    end = record(f"slcan:{channel}", tmp_path / "drive.log", seconds=0.6, bitrate=500_000)
    assert end.listens_only == {f"slcan:{channel}": True}
    assert b"O" not in made.told
    (speed,) = [
        c for c in read_recording(tmp_path / "drive.log").channels if c.name == "engine_speed"
    ]
    assert set(speed.values) == {700.0}


@pytest.mark.parametrize("interface", ["virtual", "udp_multicast", "socketcan", "nothing"])
def test_a_driver_that_cannot_listen_only_tries_out_no_bit_rate(interface: str) -> None:
    assert quiet_options(interface) is None
    with pytest.raises(InputRefused, match="error flags on the bus") as refused:
        find_bitrate(interface, "x")
    assert "--bitrate 250000 or 500000" in str(refused.value)


@pytest.mark.parametrize(("text", "asked"), [("250000", 250_000), ("auto", "auto"), (None, None)])
def test_the_bit_rate_as_it_is_asked_for(text: str | None, asked: object) -> None:
    from witnessmark.cli.for_recordings.record_command import _rate

    assert _rate(text) == asked
    option = next(p for p in command.params if p.name == "bitrate")
    assert "refused" in str(getattr(option, "help", ""))


def test_a_bit_rate_that_is_none_is_refused(witnessmark) -> None:  # type: ignore[no-untyped-def]
    done = witnessmark("record", "--bus", "virtual:x", "--out", "x.log", "--bitrate", "fast")
    assert done.returncode == 2
    assert "'fast' is no bit rate" in done.stderr
