"""DM1, DM2 and the transport protocol."""

from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readers.bus_text import candump
from witnessmark.readers import read_recording
from witnessmark.readers.bus.transport import Message, Reassembler
from witnessmark.readers.bus.trouble_codes import codes, lamps, older_spns
from witnessmark.workflow.recordings.look_into import as_json, look

BAM = [
    (1.0, 0x18ECFF00, "20120003FFCAFE00"),
    (1.05, 0x18EBFF00, "0100FF5B0003015C"),
    (1.10, 0x18EBFF00, "020004025D000503"),
    (1.15, 0x18EBFF00, "035E000604FFFFFF"),
]


def test_single_frame() -> None:
    """Source: check J-dm1a (tests of an open J1939 decoder): MIL on, SPN 91 FMI 3 OC 1 CM 0."""
    data = bytes.fromhex("40FF5B000301FFFF")
    assert lamps(data) == ("malfunction indicator",)
    (code,) = codes(data)
    assert (code.spn, code.fmi, code.count, code.older) == (91, 3, 1, False)


def test_no_faults() -> None:
    """Source: check J-dm1none."""
    assert codes(bytes.fromhex("00FF00000000FFFF")) == ()
    assert codes(b"\xff" * 8) == ()
    assert codes(b"\x00\xff") == ()


def test_largest_numbers() -> None:
    """Source: check J-dtcmax."""
    (code,) = codes(bytes.fromhex("00FF00F0FF7FFFFF"))
    assert (code.spn, code.fmi, code.count) == (520192, 31, None)  # 127 occurrences: n/a
    (code,) = codes(bytes.fromhex("00FFFFFFFF7FFFFF"))
    assert (code.spn, code.fmi) == (524287, 31)


def test_conversion_method_bit() -> None:
    """Source: check J-cm: SPN 1208 FMI 3 OC 10 packed by versions 1, 2, 3 and 4."""
    packed = bytes([0, 151, 3, 138, 151, 0, 3, 138, 184, 4, 3, 138, 184, 4, 3, 10])
    first, second, third, fourth = codes(b"\x00\xff" + packed)
    assert (fourth.spn, fourth.fmi, fourth.count, fourth.older) == (1208, 3, 10, False)
    assert (third.spn, third.older) == (1208, True)
    assert older_spns(first.spn)[0] == 1208
    assert older_spns(second.spn)[1] == 1208
    assert first.older
    assert second.older


def test_older_method_is_reported(tmp_path: Path) -> None:
    path = candump(tmp_path / "a.log", [(1.0, 0x18FECA03, "04FFB804038AFFFF")] * 2)
    recording = read_recording(path)
    assert any("older method" in p.what for p in recording.problems)


def test_broadcast_in_a_log(tmp_path: Path) -> None:
    """Source: check J-bam: SPNs 91 92 93 94, FMIs 3 4 5 6, OCs 1 2 3 4."""
    found = read_recording(candump(tmp_path / "bam.log", BAM)).trouble_codes
    assert [(c.spn, c.fmi, c.count) for c in found] == [
        (91, 3, 1),
        (92, 4, 2),
        (93, 5, 3),
        (94, 6, 4),
    ]
    assert all(c.active and c.source == 0 for c in found)


def test_previously_active_codes_are_told_apart(tmp_path: Path) -> None:
    path = candump(tmp_path / "a.log", [(1.0, 0x18FECB00, "00FF5B000301FFFF")] * 2)
    (code,) = read_recording(path).trouble_codes
    assert not code.active


def test_lost_packet_gives_nothing(tmp_path: Path) -> None:
    recording = read_recording(candump(tmp_path / "lost.log", BAM[:2] + BAM[3:]))
    assert recording.trouble_codes == ()
    assert recording.facts["multi_packet"] == {"announced": 1, "completed": 0}
    assert any("not complete" in p.what for p in recording.problems)


def _session(
    data: bytes, source: int, destination: int, pgn: int = 65226
) -> list[tuple[int, bytes]]:
    packets = -(-len(data) // 7)
    size = len(data).to_bytes(2, "little")
    kind = 32 if destination == 255 else 16
    control = bytes([kind, *size, packets, 255, *pgn.to_bytes(3, "little")])
    frames = [(0x18EC0000 | destination << 8 | source, control)]
    for number in range(packets):
        part = data[7 * number : 7 * number + 7].ljust(7, b"\xff")
        frames.append((0x18EB0000 | destination << 8 | source, bytes([number + 1, *part])))
    return frames


@given(st.binary(min_size=9, max_size=1785), st.binary(min_size=9, max_size=300), st.randoms())
def test_interleaved_sessions(first: bytes, second: bytes, random: object) -> None:
    """Sessions of several senders mix in any way; each message comes out whole."""
    lanes = [_session(first, 0, 255), _session(second, 11, 255), _session(second, 0, 3)]
    feed, found = Reassembler(), []
    time = 0.0
    while any(lanes):
        lane = random.choice([one for one in lanes if one])  # type: ignore[attr-defined]
        identifier, data = lane.pop(0)
        time += 0.0001
        message = feed.feed(time, identifier, data)
        if message is not None:
            found.append(message)
    assert {(m.source, m.destination, m.data) for m in found} == {
        (0, 255, first), (11, 255, second), (0, 3, second)
    }  # fmt: skip
    assert (feed.announced, feed.completed) == (3, 3)


def test_addressed_session_takes_a_packet_sent_again() -> None:
    data = bytes(range(20))
    control, one, two, three = _session(data, 0, 3)
    feed = Reassembler()
    found: list[Message] = []
    cts = (0x18EC0003, bytes([17, 2, 2, 255, 255, 0xCA, 0xFE, 0]))
    for n, frame in enumerate([control, one, three, cts, two]):
        message = feed.feed(n * 0.01, *frame)
        if message is not None:
            found.append(message)
    assert [m.data for m in found] == [data]


def test_abort_and_silence_end_a_session() -> None:
    control, one, *_ = _session(bytes(20), 0, 255)
    feed = Reassembler()
    assert feed.feed(0.0, *control) is None
    assert feed.feed(10.0, *one) is None  # far too late
    assert feed.feed(0.0, 0x18ECFF00, bytes([255] + [255] * 7)) is None
    assert feed.completed == 0


@pytest.mark.parametrize("size", [0, 8, 1786, 65535])
def test_impossible_sizes_are_not_begun(size: int) -> None:
    feed = Reassembler()
    control = bytes([32, *size.to_bytes(2, "little"), 3, 255, 0xCA, 0xFE, 0])
    feed.feed(0.0, 0x18ECFF00, control)
    for number in range(1, 4):
        assert feed.feed(0.01 * number, 0x18EBFF00, bytes([number] + [0] * 7)) is None


VIN = b"1AAZZ99X9YY000042"


@pytest.mark.parametrize("addressed", [False, True])
def test_an_identification_never_leaves_unmasked(tmp_path: Path, addressed: bool) -> None:
    body = (VIN + b"*").ljust(21, b"\xff")
    to = 0x03 if addressed else 0xFF
    kind = "10" if addressed else "20"
    frames = [(1.0, 0x18EC0000 | to << 8, f"{kind}120003FFECFE00")]
    frames += [
        (1.1 + n / 10, 0x18EB0000 | to << 8, f"{n + 1:02X}{body[7 * n : 7 * n + 7].hex()}")
        for n in range(3)
    ]
    (look_,) = look([candump(tmp_path / "a.log", frames)])
    shown = json.dumps(as_json(look_))
    assert "*" * 17 in shown  # all of it: the last three told one truck of a shop from another
    assert "042" not in json.dumps(look_.recording.facts if look_.recording else {})
    assert VIN.decode() not in shown
    assert VIN.decode() not in repr(look_.recording)


def test_a_session_is_not_filled_by_another_sender_bus_or_receiver(tmp_path: Path) -> None:
    first = [(t, i, d) for t, i, d in BAM]
    wrong = [(1.12, 0x18EBFF03, "035E000604FFFFFF"), (1.13, 0x18EB0300, "035E000604FFFFFF")]
    recording = read_recording(candump(tmp_path / "a.log", sorted(first[:3] + wrong)))
    assert recording.trouble_codes == ()
    assert recording.facts["multi_packet"] == {"announced": 1, "completed": 0}
    path = tmp_path / "b.log"
    text = candump(tmp_path / "a.log", first).read_text().splitlines()
    path.write_text("\n".join([*text[:3], text[3].replace("can0", "can1")]) + "\n")
    assert read_recording(path).trouble_codes == ()


def test_a_flood_of_senders_and_sessions_stays_small(tmp_path: Path) -> None:
    """Every frame another identifier, then sessions that announce much and give nothing."""
    random = np.random.default_rng(5)
    lines = [
        f"(1.{n:06d}) can0 {int(i):08X}#{int(d):016X}\n"
        for n, (i, d) in enumerate(
            zip(random.integers(0, 2**29, 150_000), random.integers(0, 2**62, 150_000), strict=True)
        )
    ]
    for n in range(50_000):
        pair = 0x18EC0000 | (n & 0xFFFF)
        lines.append(f"(2.{n:06d}) can0 {pair:08X}#10F906FFFFCAFE00\n")
    path = tmp_path / "flood.log"
    path.write_text("".join(lines))
    begun = time.process_time()
    recording = read_recording(path)
    assert time.process_time() - begun < 10.0
    assert any("different identifiers" in p.what for p in recording.problems)
    assert recording.facts["multi_packet"]["completed"] == 0  # type: ignore[index]
