"""A data bus as a recorder writes it: SAE J1939 frames as ``candump -L`` text.

Rates: engine speed every 10 or 20 ms, pedal and load 50 ms, road speed and fuel rate 100 ms,
pressures 0.5 s, temperatures and active codes 1 s. Values are rounded to the bus's own steps; a
quantity that the truck does not send goes out as "not available".
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["ActiveCode", "BusTrack", "candump", "zipped"]

Floats = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]

_NOT_AVAILABLE_8, _ERROR_8 = 0xFF, 0xFE
#: Seconds between two packets of one broadcast message (J1939-21: 50 to 200 ms).
_PACKET_S = 0.05
#: Time one frame of eight bytes takes on the wire at 250 kbit/s [s].
_FRAME_S = 0.00054


@dataclass(frozen=True, slots=True)
class ActiveCode:
    """An active trouble code: number, failure mode, count, from when to when [s]."""

    spn: int
    fmi: int
    count: int
    start_s: float = 0.0
    end_s: float = float("inf")


@dataclass(frozen=True, slots=True)
class BusTrack:
    """What is on the bus over a drive.

    Attributes:
        time: shape (n,) [s].
        channels: quantity name -> values, shape (n,), in the unit of the table below; NaN means
            the sensor circuit is faulted and goes out as "error".
        codes: active codes of the engine.
        engine_period_s: 0.01 or 0.02.
        lamps: first byte of the active-code message when a code is active.
    """

    time: Floats
    channels: Mapping[str, Floats]
    codes: tuple[ActiveCode, ...] = ()
    engine_period_s: float = 0.02
    lamps: int = 0x04


@dataclass(frozen=True, slots=True)
class _Field:
    """A signal in its message: first byte from 0, bytes, ``raw = (value - offset) / step``."""

    name: str
    byte: int
    size: int
    step: float
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class _Group:
    pgn: int
    priority: int
    period_s: float
    fields: tuple[_Field, ...]
    source: int = 0


def _groups(engine_period_s: float) -> tuple[_Group, ...]:
    """Return the messages (layout from public tables of SAE J1939-71)."""
    # fmt: off
    return (
        _Group(61444, 3, engine_period_s, (
            _Field("demand_torque", 1, 1, 1, -125), _Field("engine_torque", 2, 1, 1, -125),
            _Field("engine_speed", 3, 2, 0.125))),
        _Group(61443, 3, 0.05, (
            _Field("pedal_position", 1, 1, 0.4), _Field("engine_load", 2, 1, 1))),
        _Group(65265, 6, 0.1, (_Field("road_speed", 1, 2, 1 / 256),), source=11),
        _Group(65266, 6, 0.1, (_Field("fuel_rate", 0, 2, 0.05),)),
        _Group(65263, 6, 0.5, (
            _Field("fuel_delivery_pressure", 0, 1, 4), _Field("oil_pressure", 3, 1, 4),
            _Field("coolant_level", 7, 1, 0.4))),
        _Group(65270, 6, 0.5, (
            _Field("boost_pressure", 1, 1, 2), _Field("intake_air_temperature", 2, 1, 1, -40))),
        _Group(65262, 6, 1.0, (
            _Field("coolant_temperature", 0, 1, 1, -40),
            _Field("oil_temperature", 2, 2, 0.03125, -273))),
        _Group(65269, 6, 1.0, (
            _Field("barometric_pressure", 0, 1, 0.5),
            _Field("ambient_temperature", 3, 2, 0.03125, -273))),
        _Group(65271, 6, 1.0, (_Field("battery_voltage", 4, 2, 0.05),)),
    )
    # fmt: on


def candump(track: BusTrack, rng: np.random.Generator, *, began: float = 1.6e9) -> str:
    """Return the log text.

    Args:
        track: what is on the bus.
        rng: source of the senders' jitter.
        began: time stamp of the first moment [s since 1970].
    """
    rows: list[tuple[float, str]] = []
    for group in _groups(track.engine_period_s):
        if not any(f.name in track.channels for f in group.fields):
            continue
        times = _times(track, group.period_s, rng)
        identifier = group.priority << 26 | group.pgn << 8 | group.source
        hexed = _payload(group, track, times).tobytes().hex().upper()
        rows += [
            (t, f"{identifier:08X}#{hexed[16 * k : 16 * k + 16]}")
            for k, t in enumerate(times.tolist())
        ]
    rows += _code_messages(track, rng)
    rows.sort(key=lambda row: row[0])
    # One frame after the other: the wire carries one at a time.
    slots = np.arange(len(rows)) * _FRAME_S
    sent = np.maximum.accumulate(np.array([t for t, _ in rows]) - slots) + slots + began
    return "".join(
        [f"({t:.6f}) can0 {frame}\n" for t, (_, frame) in zip(sent.tolist(), rows, strict=True)]
    )


def zipped(text: str) -> bytes:
    """Return the text gzip-compressed, the same bytes every time."""
    out = io.BytesIO()
    with gzip.GzipFile(fileobj=out, mode="wb", compresslevel=5, mtime=0, filename="") as packed:
        packed.write(text.encode("ascii"))
    return out.getvalue()


def _times(track: BusTrack, period_s: float, rng: np.random.Generator) -> Floats:
    """Return sending times: even to the period, each late by a fraction of a millisecond."""
    count = int(track.time[-1] / period_s)
    phase = float(rng.uniform(0, period_s))
    late = np.abs(rng.normal(0.0, 0.00015, count))
    sent = phase + np.arange(count) * period_s + np.minimum(late, 0.4 * period_s)
    return np.asarray(sent, dtype=np.float64)


def _payload(group: _Group, track: BusTrack, times: Floats) -> Bytes:
    data = np.full((times.size, 8), _NOT_AVAILABLE_8, np.uint8)
    for field in group.fields:
        if field.name not in track.channels:
            continue
        values = _sampled(track, field.name, times)
        highest = 0xFA if field.size == 1 else 0xFAFF
        raw = np.rint((np.nan_to_num(values) - field.offset) / field.step)
        raw = np.clip(raw, 0, highest).astype(np.int64)
        raw[np.isnan(values)] = _ERROR_8 if field.size == 1 else 0xFE00
        for k in range(field.size):
            data[:, field.byte + k] = (raw >> (8 * k)) & 0xFF
    return data


def _sampled(track: BusTrack, name: str, times: Floats) -> Floats:
    """Return the latest value at each sending time: a control unit sends what it last had."""
    place = np.searchsorted(track.time, times, side="right") - 1
    return track.channels[name][np.clip(place, 0, track.time.size - 1)]


def _code_messages(track: BusTrack, rng: np.random.Generator) -> list[tuple[float, str]]:
    rows: list[tuple[float, str]] = []
    for t in _times(track, 1.0, rng).tolist():
        active = [c for c in track.codes if c.start_s <= t <= c.end_s]
        body = bytes([track.lamps if active else 0x00, 0xFF]) + (
            b"".join(map(_four, active)) or bytes(4)
        )
        if len(body) <= 8:
            single = body.ljust(8, b"\xff").hex().upper()
            rows.append((t, f"18FECA00#{single}"))
        else:
            rows += _broadcast(t, 65226, body)
    return rows


def _four(code: ActiveCode) -> bytes:
    return bytes(
        [
            code.spn & 0xFF,
            (code.spn >> 8) & 0xFF,
            (code.spn >> 16 & 0x07) << 5 | (code.fmi & 0x1F),
            code.count & 0x7F,
        ]
    )


def _broadcast(t: float, pgn: int, body: bytes) -> list[tuple[float, str]]:
    """Return a message of more than eight bytes as announcement and packets (J1939-21)."""
    packets = -(-len(body) // 7)
    announce = bytes([32, len(body) & 0xFF, len(body) >> 8, packets, 0xFF])
    announce += pgn.to_bytes(3, "little")
    rows = [(t, f"1CECFF00#{announce.hex().upper()}")]
    for k in range(packets):
        piece = bytes([k + 1]) + body[7 * k : 7 * k + 7].ljust(7, b"\xff")
        rows.append((t + _PACKET_S * (k + 1), f"1CEBFF00#{piece.hex().upper()}"))
    return rows
