"""Signals out of frames: a shift, a mask and a scale over whole arrays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel, Floats, Quality
from witnessmark.readers.bus.j1939_signals import Signal, Switch
from witnessmark.readers.bus.transport import Message
from witnessmark.readers.files.keep import Keeper
from witnessmark.readers.told import Words64
from witnessmark.units import QUANTITIES

__all__ = [
    "SignalGroup",
    "channel_of_signal",
    "channels_of",
    "decode",
    "long_channels",
    "motorola_end",
]

Bytes = npt.NDArray[np.uint8]
#: Frames decoded at once.
_PIECE = 2**18
_VALID, _ERROR, _NONE, _RESERVED, _BEYOND = (
    np.uint8(q)
    for q in (
        Quality.VALID,
        Quality.ERROR,
        Quality.NOT_AVAILABLE,
        Quality.RESERVED,
        Quality.IMPLAUSIBLE,
    )
)


@dataclass(frozen=True, slots=True)
class SignalGroup:
    """All frames of one parameter group from one sender, in order of time."""

    pgn: int
    source: int | None
    time_s: Floats
    data: Words64
    length: npt.NDArray[np.uint8] | None
    signals: tuple[Signal, ...]


def channels_of(groups: Iterable[SignalGroup], keeper: Keeper) -> Iterator[Channel]:
    """Decode every signal of every group, one group after the other to save memory."""
    for group in groups:
        whole = keeper.array(group.time_s)
        for signal in group.signals:
            time, data = whole, group.data
            if signal.sender is not None and signal.sender != group.source:
                continue
            if group.length is not None:
                enough = group.length >= min(signal.bytes_needed, 8)
                if not enough.all():
                    time, data = time[enough], data[enough]
            if signal.bytes_needed > 8 or not time.size:
                continue
            for switch in signal.when:
                there = np.isin(_raw(switch, data), list(switch.values))
                time, data = time[there], data[there]
            for part, here in _parts(signal, data):
                when, words = (time, data) if here is None else (time[here], data[here])
                if when.size:
                    values, quality = _in_pieces(words, part)
                    yield channel_of_signal(part, group.source, when, values, quality)


def _parts(signal: Signal, data: Words64) -> list[tuple[Signal, npt.NDArray[np.bool_] | None]]:
    """Take a signal apart by the field that names what it belongs to: a channel a tyre."""
    if signal.apart is None:
        return [(signal, None)]
    place = _raw(signal.apart, data)
    return [
        (replace(signal, label=f"{signal.label}, {_place(signal.part, number)}"), place == number)
        for number in np.unique(place).tolist()
    ]


def _place(part: str, number: int) -> str:
    """Name a tyre or an axle by its number: axle in the high four bits, position in the low."""
    if number >= 0xFE:
        return f"{part} not named"
    return f"{part} {number} (axle {(number >> 4) + 1}, position {(number & 15) + 1})"


def _in_pieces(data: Words64, signal: Signal) -> tuple[Floats, Bytes]:
    """Decode a series; what its message does not vouch for was not measured (yet)."""
    values, quality = _pieces(data, signal)
    for field in signal.sure:
        unsure = ~np.isin(_raw(field, data), list(field.values)) & (quality == _VALID)
        if unsure.any():
            values, quality = values.copy(), quality.copy()
            values[unsure], quality[unsure] = np.nan, np.uint8(Quality.START_UP)
    return values, quality


def _pieces(data: Words64, signal: Signal) -> tuple[Floats, Bytes]:
    """Decode a long series piece by piece: the steps between need no memory of its length."""
    if data.size <= _PIECE:
        return decode(_raw(signal, data), signal)
    values, quality = np.empty(data.size), np.empty(data.size, np.uint8)
    for start in range(0, data.size, _PIECE):
        here = slice(start, start + _PIECE)
        values[here], quality[here] = decode(_raw(signal, data[here]), signal)
    if quality.all():
        return np.broadcast_to(np.float64("nan"), data.shape), quality
    return values, quality


def decode(raw: Words64, signal: Signal) -> tuple[Floats, npt.NDArray[np.uint8]]:
    """Turn raw numbers into house values and qualities.

    Args:
        raw: shape (n,), the bits of the signal.
        signal: its scale, length and rules.

    Returns:
        Values with NaN wherever the quality is not ``VALID``, and the qualities; shapes (n,).
    """
    quality = _quality(raw, signal)
    bad = quality != _VALID
    if bad.all():
        return np.broadcast_to(np.float64("nan"), raw.shape), quality
    values = _real(raw, signal.bits) if signal.real else raw.astype(np.float64)
    if signal.real:
        quality[~np.isfinite(values)] = _BEYOND
        bad = quality != _VALID
    elif signal.signed:
        values[values >= 2.0 ** (signal.bits - 1)] -= 2.0**signal.bits
    if signal.scale != 1.0:
        values *= signal.scale
    if signal.offset != 0.0:
        values += signal.offset
    row = QUANTITIES.get(signal.name)
    if row is not None and not _always_possible(signal, row.lowest, row.highest):
        beyond = ((values < row.lowest) | (values > row.highest)) & ~bad
        if beyond.any():
            quality[beyond] = _BEYOND
            bad |= beyond
    if bad.any():
        values[bad] = np.nan
    return values, quality


def long_channels(messages: list[Message], groups: dict[int, tuple[Signal, ...]]) -> list[Channel]:
    """Decode the signals of multi-packet messages."""
    found = []
    by_sender: dict[tuple[int, int], list[Message]] = {}
    for message in messages:
        if message.pgn in groups:
            by_sender.setdefault((message.pgn, message.source), []).append(message)
    for (pgn, source), series in by_sender.items():
        for signal in groups[pgn]:
            last = signal.bytes_needed
            whole = [m for m in series if len(m.data) >= last and _switched(signal, m.data)]
            if not whole or signal.sender not in {None, source}:
                continue
            raw = np.array([bits_of(signal, m.data) for m in whole], np.uint64)
            values, quality = decode(raw, signal)
            time = np.array([m.time_s for m in whole])
            if (np.diff(time) < 0.0).any():
                by_time = np.argsort(time, kind="stable")
                time, values, quality = time[by_time], values[by_time], quality[by_time]
            found.append(channel_of_signal(signal, source, time, values, quality))
    return found


def channel_of_signal(
    signal: Signal, source: int | None, time: Floats, values: Floats, quality: npt.NDArray[np.uint8]
) -> Channel:
    """Return decoded values as the channel of a signal."""
    return Channel(
        name=signal.name,
        unit=signal.unit,
        time_s=time,
        values=values,
        quality=quality,
        label=signal.label,
        spn=signal.spn,
        source=source,
    )


def _real(raw: Words64, bits: int) -> Floats:
    """Read the bits as a floating-point number (IEEE 754)."""
    if bits == 64:
        return np.ascontiguousarray(raw).view(np.float64).copy()
    kind, word = (np.float32, np.uint32) if bits == 32 else (np.float16, np.uint16)
    return raw.astype(word).view(kind).astype(np.float64)


def _raw(signal: Signal | Switch, data: Words64) -> Words64:
    if signal.motorola:
        data, start = data.byteswap(), 64 - motorola_end(signal)
    else:
        start = signal.start
    raw = data >> np.uint64(start) if start else data
    if start + signal.bits < 64:
        raw = raw & np.uint64((1 << signal.bits) - 1)
    return raw


def motorola_end(signal: Signal | Switch) -> int:
    """Return the place behind the last bit, counted from the message's first bit."""
    byte, bit = divmod(signal.start, 8)
    return 8 * byte + (7 - bit) + signal.bits


def bits_of(field: Signal | Switch, data: bytes) -> int:
    """Return the raw number of a field of one message."""
    if field.motorola:
        whole = int.from_bytes(data, "big")
        return (whole >> (8 * len(data) - motorola_end(field))) & ((1 << field.bits) - 1)
    return (int.from_bytes(data, "little") >> field.start) & ((1 << field.bits) - 1)


def _switched(signal: Signal, data: bytes) -> bool:
    return all(bits_of(switch, data) in switch.values for switch in signal.when)


def _quality(raw: Words64, signal: Signal) -> npt.NDArray[np.uint8]:
    bits = signal.bits
    if not signal.ranged or bits == 1:
        return np.zeros(raw.shape, np.uint8)
    if bits > 8:
        return _RANGES[8][(raw >> np.uint64(bits - 8)).astype(np.uint8)]
    table = _RANGES[bits]
    if signal.values or signal.no_values:
        table = table.copy()
        table[list(signal.values)] = _VALID
        table[list(signal.no_values)] = _RESERVED
    return table[raw.astype(np.uint8)]


def _ranges() -> dict[int, npt.NDArray[np.uint8]]:
    """Return for each length the quality of each raw number (SAE J1939-71, indicator ranges).

    Fields of two bits have a code for error, whole bytes too. In fields of three to seven bits the
    last number means not available; what the others mean is the field's own.
    """
    tables = {}
    for bits in range(2, 9):
        table = np.full(2**bits, _VALID, np.uint8)
        table[-1] = _NONE
        if bits in {2, 8}:
            table[-2] = _ERROR
        if bits == 8:
            table[0xFB:0xFE] = _RESERVED
        tables[bits] = table
    return tables


_RANGES = _ranges()


def _always_possible(signal: Signal, lowest: float, highest: float) -> bool:
    if signal.real:
        return False
    if signal.values:
        return False
    top = {8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}.get(signal.bits, 2**signal.bits - 1)
    ends = (signal.offset, top * signal.scale + signal.offset)
    return bool(lowest <= min(ends) and max(ends) <= highest)
