"""A user's own DBC files: signals of messages that are not in our table."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal, Switch
from witnessmark.readers.told import Trouble

__all__ = ["read_signals"]

#: Longest message of the transport protocol.
_MOST_LENGTH = 1785
#: Most bytes of a DBC file.
_MOST_BYTES = 32 * 2**20
#: Address that stands for every sender in DBC files of J1939.
_ANYBODY = 0xFE
#: Switches that hang on switches; more is a circle.
_DEEPEST = 8
_NO_VALUE = re.compile(r"(?i)error|fault|not.?avail|n/?a\b|unavail|reserved|invalid|sna\b")


def read_signals(paths: tuple[Path, ...], trouble: Trouble) -> tuple[Signal, ...]:
    """Return the signals of DBC files: frames, long frames, packets.

    A signal whose bits are in our own table is left to the table. The indicator codes of
    J1939-71 (error, not available) apply to signals of J1939 messages.
    """
    import cantools.database  # noqa: PLC0415  (slow to load)

    known = {(s.pgn, s.start, s.bits) for s in SIGNALS}
    found: dict[tuple[object, ...], Signal] = {}
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
            if message.length > _MOST_LENGTH:
                continue
            group = _group(message)
            shared = len({m.frame_id & 0xFF for m in messages if _group(m) == group}) > 1
            sender = message.frame_id & 0xFF if shared and group >= 0 else None
            if sender == _ANYBODY:
                sender = None
            for row in message.signals:
                signal = _signal(row, message, group, sender)
                place = (group, signal.start, signal.bits)
                if (signal.when or sender is not None or place not in known) and (
                    signal.bits <= 64
                ):
                    found.setdefault((*place, signal.when, sender), signal)
    return tuple(found.values())


def _group(message: Any) -> int:
    """Return the parameter group of a message; an identifier of 11 bits is its own."""
    if not message.is_extended_frame:
        return -1 - int(message.frame_id)
    pgn = (int(message.frame_id) >> 8) & 0x3FFFF
    return pgn if (pgn >> 8) & 0xFF >= 240 else pgn & 0x3FF00


def _switches(row: Any, message: Any) -> tuple[Switch, ...]:
    """Return what has to stand right for a signal to be there; switches may hang on switches."""
    found: list[Switch] = []
    while row.multiplexer_ids is not None and len(found) < _DEEPEST:
        above = _above(row, message)
        if above is None:
            break
        ids = frozenset(int(i) for i in row.multiplexer_ids)
        found.append(Switch(above.start, above.length, above.byte_order == "big_endian", ids))
        row = above
    return tuple(found)


def _above(row: Any, message: Any) -> Any:
    """Return the switch a signal hangs on; a plain multiplexer is not named by its signals."""
    if row.multiplexer_signal is not None:
        return next((s for s in message.signals if s.name == row.multiplexer_signal), None)
    return next((s for s in message.signals if s.is_multiplexer and s is not row), None)


def _values(row: Any) -> tuple[int, ...]:
    """Return the raw numbers that the file itself names as something other than no value."""
    named = (row.choices or {}) if row.length <= 8 else {}
    return tuple(
        int(raw) for raw, words in named.items()
        if 0 <= int(raw) < 2**row.length and not _NO_VALUE.search(str(words))
    )  # fmt: skip


def _signal(row: Any, message: Any, pgn: int, sender: int | None) -> Signal:
    return Signal(
        pgn=pgn,
        spn=int(row.spn) if getattr(row, "spn", None) else None,
        name=f"{message.name}.{row.name}",
        unit=row.unit or "",
        start=row.start,
        bits=row.length,
        scale=float(row.scale),
        offset=float(row.offset),
        signed=bool(row.is_signed),
        ranged=pgn >= 0 and not row.is_signed and not row.is_float and row.length >= 2,
        motorola=row.byte_order == "big_endian",
        label=f"{message.name}.{row.name}",
        remark="DBC",
        when=_switches(row, message),
        sender=sender,
        real=bool(row.is_float),
        values=_values(row),
    )
