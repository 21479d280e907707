"""Trouble codes as they are broadcast: DM1 (active) and DM2 (previously active), SAE J1939-73."""

from __future__ import annotations

from dataclasses import dataclass, field

from witnessmark.model.recording import TroubleCode

__all__ = ["DM1", "DM2", "Code", "CodeLog", "codes", "lamps", "older_spns"]

DM1, DM2 = 65226, 65227
_LAMPS = (
    (6, "malfunction indicator"),
    (4, "red stop"),
    (2, "amber warning"),
    (0, "protect"),
)


@dataclass(frozen=True, slots=True)
class Code:
    """One code of a message. *older* says the conversion bit was set."""

    spn: int
    fmi: int
    count: int | None
    older: bool = False


def lamps(data: bytes) -> tuple[str, ...]:
    """Return the lamps that are on in a DM1 or DM2 message."""
    if not data:
        return ()
    return tuple(words for shift, words in _LAMPS if (data[0] >> shift) & 3 == 1)


def codes(data: bytes) -> tuple[Code, ...]:
    """Return the codes of a DM1 or DM2 message; all zero and all ones mean none.

    Conversion method 0 is version 4 of the standard, the one in use. With the bit set the
    sender uses version 1, 2 or 3, which the bits do not tell apart; the number is then read as
    version 3 and :func:`older_spns` gives the other two.
    """
    found = []
    for at in range(2, len(data) - 3, 4):
        four = data[at : at + 4]
        spn = four[0] | four[1] << 8 | (four[2] >> 5) << 16
        fmi = four[2] & 0x1F
        if (spn == 0 and fmi == 0) or four == b"\xff\xff\xff\xff":
            continue
        if len(data) == 8 and at > 2:
            break
        times = four[3] & 0x7F
        found.append(Code(spn, fmi, None if times == 127 else times, bool(four[3] & 0x80)))
    return tuple(found)


def older_spns(spn: int) -> tuple[int, int]:
    """Return what the bytes of *spn* (read as version 3) mean in versions 1 and 2."""
    low, middle, high = spn & 0xFF, (spn >> 8) & 0xFF, spn >> 16
    return low << 11 | middle << 3 | high, middle << 11 | low << 3 | high


@dataclass(slots=True)
class _Seen:
    count: int | None
    first_s: float
    last_s: float
    messages: int = 0
    lamps: set[str] = field(default_factory=set)


class CodeLog:
    """Gathers the codes of all messages.

    Attributes:
        older: SPNs that came with the conversion bit set, by source.
    """

    def __init__(self) -> None:
        self.older: dict[int, set[int]] = {}
        self._seen: dict[tuple[bool, int, int, int], _Seen] = {}
        self._senders: dict[int, dict[str, object]] = {}

    def add(self, first_s: float, last_s: float, active: bool, source: int, data: bytes,
            messages: int = 1) -> None:  # fmt: skip
        """Take a message that came *messages* times between *first_s* and *last_s*."""
        found, lit = codes(data), lamps(data)
        if active:
            sender = self._senders.setdefault(source, {"messages": 0, "without_code": 0, "lit": {}})
            sender["messages"] = int(str(sender["messages"])) + messages
            if not found:
                sender["without_code"] = int(str(sender["without_code"])) + messages
            lit_counts = sender["lit"]
            if isinstance(lit_counts, dict):
                for lamp in lit:
                    lit_counts[lamp] = lit_counts.get(lamp, 0) + messages
        for code in dict.fromkeys(found):
            key = (active, source, code.spn, code.fmi)
            seen = self._seen.setdefault(key, _Seen(code.count, first_s, last_s))
            seen.first_s = min(seen.first_s, first_s)
            seen.last_s = max(seen.last_s, last_s)
            seen.messages += messages
            seen.lamps.update(lit)
            if code.count is not None:
                seen.count = max(seen.count or 0, code.count)
            if code.older:
                self.older.setdefault(source, set()).add(code.spn)

    def result(self) -> tuple[TroubleCode, ...]:
        """Return every code once, by first appearance."""
        order = [words for _, words in _LAMPS]
        found = [
            TroubleCode(
                spn=spn,
                fmi=fmi,
                count=seen.count,
                source=source,
                first_s=round(seen.first_s, 6),
                last_s=round(seen.last_s, 6),
                active=active,
                lamps=tuple(sorted(seen.lamps, key=order.index)),
                messages=seen.messages,
            )
            for (active, source, spn, fmi), seen in self._seen.items()
        ]
        return tuple(sorted(found, key=lambda c: (c.first_s, c.source, not c.active, c.spn, c.fmi)))

    def senders(self) -> dict[str, object]:
        """Return for every control unit how many DM1 it sent, how many without a code, lamps."""
        return {str(source): facts for source, facts in sorted(self._senders.items())}
