"""A user's own DBC files: signals of messages that are not in our table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal
from witnessmark.readers.told import Trouble

__all__ = ["read_signals"]

#: Longest message of the transport protocol.
_MOST_LENGTH = 1785
#: Most bytes of a DBC file.
_MOST_BYTES = 32 * 2**20


def read_signals(paths: tuple[Path, ...], trouble: Trouble) -> tuple[Signal, ...]:
    """Return the signals of DBC files for 29-bit messages: frames, long frames, packets.

    A signal whose bits are in our own table is left to the table. The indicator codes of
    J1939-71 (error, not available) apply to signals of J1939 messages.
    """
    import cantools.database  # noqa: PLC0415  (slow to load)

    known = {(s.pgn, s.start, s.bits) for s in SIGNALS}
    found: dict[tuple[int, int, int], Signal] = {}
    for path in paths:
        try:
            if path.stat().st_size > _MOST_BYTES:
                raise ValueError("it is absurdly large")
            database: Any = cantools.database.load_file(path, strict=False)
            messages = list(database.messages)
        except Exception as error:  # the library raises many kinds
            trouble.add(
                f"dbc {path.name}",
                f"The DBC file cannot be read: {str(error).splitlines()[0][:120]}.",
                do="Check the file; the signals that are known here are still read.",
                where=path.name,
            )
            continue
        for message in messages:
            if not message.is_extended_frame or message.length > _MOST_LENGTH:
                continue
            pgn = (message.frame_id >> 8) & 0x3FFFF
            pgn = pgn if (pgn >> 8) & 0xFF >= 240 else pgn & 0x3FF00
            for row in message.signals:
                signal = _signal(row, message.name, pgn)
                key = (pgn, signal.start, signal.bits)
                if key not in known and signal.bits <= 64:
                    found.setdefault(key, signal)
    return tuple(found.values())


def _signal(row: Any, message: str, pgn: int) -> Signal:
    return Signal(
        pgn=pgn,
        spn=int(row.spn) if getattr(row, "spn", None) else None,
        name=f"{message}.{row.name}",
        unit=row.unit or "",
        start=row.start,
        bits=row.length,
        scale=float(row.scale),
        offset=float(row.offset),
        signed=bool(row.is_signed),
        ranged=not row.is_signed and not row.is_float and row.length >= 2,
        motorola=row.byte_order == "big_endian",
        label=f"{message}.{row.name}",
        remark="DBC",
    )
