"""Identifiers of the truck and its parts that travel on the bus: only a masked form is kept."""

from __future__ import annotations

import hashlib
import hmac

from witnessmark.readers.bus.transport import Message

__all__ = ["GROUPS", "digest", "mask", "masked"]

#: PGN -> what it identifies.
GROUPS = {65260: "vehicle identification", 65259: "component identification",
          65131: "driver identification"}  # fmt: skip
#: Make, model, serial number and unit number of a component come in this order (SAE J1939-71); the
#: unit number is the one its owner gave it.
_COMPONENT, _UNIT = 65259, 3


def mask(text: str) -> str:
    """Return *text* hidden, all of it."""
    return "*" * len(text)


def digest(text: str, key: bytes) -> str:
    """Return what tells two identifiers apart without naming them; needs the key to be made."""
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()[:16]


def masked(
    messages: list[Message], *, key: bytes = b"", show: bool = False
) -> list[dict[str, object]]:
    """Return each identifier once, masked, with the control unit that sent it.

    Args:
        messages: as they came.
        key: makes a digest of each, where there is one.
        show: do not mask.
    """
    found: dict[tuple[int, int, str, bool], None] = {}
    for message in messages:
        if message.pgn in GROUPS:
            for place, part in enumerate(message.data.split(b"*")):
                text = part.decode("latin-1").strip("\0 \xff")
                if len(text) >= 2 and text.isprintable():
                    unit = message.pgn == _COMPONENT and place == _UNIT
                    found.setdefault((message.pgn, message.source, text, unit))
    rows: dict[str, dict[str, object]] = {}
    for pgn, source, text, unit in found:
        row: dict[str, object] = {
            "what": GROUPS[pgn], "source": source, "masked": text if show else mask(text),
        }  # fmt: skip
        if unit:
            row["field"] = "unit number"
        if key:
            row["digest"] = digest(text, key)
        rows.setdefault(str(row), row)
    return list(rows.values())
