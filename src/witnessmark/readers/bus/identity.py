"""Identifiers of the truck and its parts that travel on the bus: only a masked form is kept."""

from __future__ import annotations

from witnessmark.readers.bus.transport import Message

__all__ = ["GROUPS", "mask", "masked"]

#: PGN -> what it identifies.
GROUPS = {65260: "vehicle identification", 65259: "component identification",
          65131: "driver identification"}  # fmt: skip


def mask(text: str) -> str:
    """Return *text* hidden; of a vehicle's 17 characters the last three stay to tell two apart."""
    return "*" * 14 + text[-3:] if len(text) == 17 else "*" * len(text)


def masked(messages: list[Message]) -> list[dict[str, object]]:
    """Return each identifier once, masked, with the control unit that sent it."""
    found: dict[tuple[int, int, str], None] = {}
    for message in messages:
        if message.pgn in GROUPS:
            for part in message.data.split(b"*"):
                text = part.decode("latin-1").strip("\0 \xff")
                if len(text) >= 2 and text.isprintable():
                    found.setdefault((message.pgn, message.source, mask(text)))
    return [{"what": GROUPS[pgn], "source": source, "masked": text} for pgn, source, text in found]
