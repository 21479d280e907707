"""Every decoded signal at the lowest and highest number that is no indicator, through the doors.

The layouts are those of the decoder's own table; the ends are of SAE J1939-71: a byte counts up
to 0xFA, a word to 0xFAFF, a double word to 0xFAFFFFFF; of n bits the two highest are indicators.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from conftest import Run
from witnessmark.fleet.screening import screen_file
from witnessmark.model.entries.entry_data import load_fraction
from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal, by_group
from witnessmark.workflow.recordings.look_into import as_json, look

GROUPS = by_group(SIGNALS)
#: A warm engine at 1,500 rpm under load on the road: PGN -> SPN -> raw number.
DRIVING = {
    61444: {190: 12000, 513: 200}, 61443: {92: 60, 91: 125}, 65262: {110: 125},
    65265: {84: 20000}, 65263: {94: 100, 100: 75},
}  # fmt: skip
Raws = dict[int, dict[int, int]]


def ends(signal: Signal) -> dict[str, int]:
    top = {8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}
    return {"lowest": 0, "highest": top.get(signal.bits, 2**signal.bits - 3)}


def bus_log(path: Path, extreme: Raws, *, seconds: float = 15.0) -> Path:
    groups = {pgn: {**DRIVING.get(pgn, {}), **extreme.get(pgn, {})}
              for pgn in {**DRIVING, **extreme}}  # fmt: skip
    lines = []
    for step in range(int(seconds * 10)):
        for pgn, raws in groups.items():
            for after, identifier, data in frames(pgn, payload(pgn, raws)):
                time = step * 0.1 + after
                lines.append(f"({time:.6f}) can0 {identifier:08X}#{data.hex().upper()}\n")
    path.write_text("".join(lines))
    return path


def payload(pgn: int, raws: dict[int, int]) -> bytes:
    size = max(8, *(signal.bytes_needed for signal in GROUPS[pgn]))
    word = (1 << 8 * size) - 1  # not available, all of it
    for signal in GROUPS[pgn]:
        if signal.spn in raws:
            word &= ~(((1 << signal.bits) - 1) << signal.start)
            word |= raws[signal.spn] << signal.start
    return word.to_bytes(size, "little")


def frames(pgn: int, data: bytes) -> list[tuple[float, int, bytes]]:
    """Return one frame, or the broadcast announcement and packets of J1939-21."""
    if len(data) == 8:
        return [(0.0, 0x18000000 | pgn << 8, data)]
    count = -(-len(data) // 7)
    head = bytes([0x20, len(data), 0, count, 0xFF, pgn & 255, pgn >> 8, 0])
    pieces = [bytes([n + 1]) + data[7 * n : 7 * n + 7].ljust(7, b"\xff") for n in range(count)]
    rest = [(0.001 * (n + 1), 0x1CEBFF00, piece) for n, piece in enumerate(pieces)]
    return [(0.0, 0x1CECFF00, head), *rest]


def at_the_end(end: str, *groups: int) -> Raws:
    return {pgn: {s.spn: ends(s)[end] for s in GROUPS[pgn] if s.spn is not None} for pgn in groups}


@pytest.mark.parametrize("end", ["lowest", "highest"])
@pytest.mark.parametrize("pgn", sorted(GROUPS))
def test_a_group_at_its_end_is_looked_at_and_screened(pgn: int, end: str, tmp_path: Path) -> None:
    """Each signal is a reading or is named as none; nothing fails."""
    path = bus_log(tmp_path / "bus.log", at_the_end(end, pgn))
    (one,) = look([path])
    json.dumps(as_json(one), allow_nan=False)
    assert one.recording is not None
    named = {flag.channel for flag in one.recording.flags} | {p.where for p in one.problems}
    for signal in GROUPS[pgn]:
        channel = one.recording.channel(signal.name)
        assert channel is not None, signal.name
        assert channel.valid().any() or any(signal.name in place for place in named), signal.name
    row = screen_file(path)
    assert row.sha256, row.problems
    assert not row.failed


@pytest.mark.parametrize("end", ["lowest", "highest"])
def test_all_at_once_through_every_command(
    witnessmark: Run, apart: Run, tmp_path: Path, end: str
) -> None:
    bus_log(tmp_path / "bus.log", at_the_end(end, *GROUPS))
    bus_log(tmp_path / "load.log", at_the_end(end, 61443))
    rows = [
        ("truck", {"label": "unit 7", "engine": {"cylinders": 6, "fuel_supply": "gallery"}}),
        ("complaint", {"words": "x", "families": ["fuel_low", "cool_unstable", "electrical"]}),
        ("recording", {"path": "bus.log", "holds": "bus"}),
        ("recording", {"path": "load.log", "holds": "bus"}),
    ]
    case = tmp_path / "case.jsonl"
    case.write_text("\n".join(
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ))  # fmt: skip
    logs = (tmp_path / "bus.log", tmp_path / "load.log")
    for found in (
        witnessmark("look", *logs, "--json"),
        witnessmark("assess", case, "--json"),
        apart("screen", *logs, "--json"),
    ):
        assert found.returncode == 0, found.stderr
        json.loads(found.stdout)


def test_a_load_beyond_the_standard_is_refused_with_a_sentence() -> None:
    """SPN 92: 0 to 250 %, 1 % a bit (SAE J1939-71)."""
    assert load_fraction("250 %") == 2.5
    assert load_fraction("121 %") == pytest.approx(1.21)
    for beyond in ("251 %", "-1 %"):
        with pytest.raises(ValueError, match="percentage"):
            load_fraction(beyond)
