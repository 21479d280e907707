"""Long sentences of the program made short, for a paper that a customer reads.

A person's own words never pass through here.
"""

from __future__ import annotations

import re

from witnessmark.words.strength import capital

__all__ = ["LONGEST", "ended", "sentences", "short_sentences"]

#: The longest sentence on a customer's paper [words].
LONGEST = 25
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9\u201c(])")
_REMARK = re.compile(r"\s*\([^()]*\)")
#: A clause that says nothing by itself stays with what follows it.
_LEADS_IN = re.compile(
    r"(When|Where|If|While|Because|Once|Until|Unless|Although|Before|After|As|Since)\b"
)


def sentences(text: str) -> list[str]:
    """Return the sentences of a text."""
    return [s for s in _END.split(text.strip()) if s]


def ended(text: str) -> str:
    """Return *text* with one mark at its end: its own, or a full stop."""
    said = text.rstrip().rstrip(".").rstrip()
    return said if said.endswith(("!", "?", "\u201d", "?)")) else f"{said}."


def short_sentences(text: str) -> str:
    """Return *text* with its long sentences cut where they pause.

    A sentence over :data:`LONGEST` words is cut at its semicolons; what is still too long loses
    its remarks in brackets, and is then cut at a colon, at a comma, and last before an "or".
    Nothing else is lost.
    """
    return " ".join(part for said in sentences(text) for part in _cut(said))


def _cut(said: str) -> list[str]:
    if _fits(said):
        return [said]
    parts = _split(said, "; ")
    parts = [p if _fits(p) else _REMARK.sub("", p) for p in parts]
    for pause in (": ", ", "):
        parts = [q for p in parts for q in ([p] if _fits(p) else _halves(p, pause))]
    parts = [q for p in parts for q in ([p] if _fits(p) else _choices(p))]
    return [capital(p) for p in parts]


def _fits(said: str) -> bool:
    return len(said.split()) <= LONGEST


def _split(said: str, pause: str) -> list[str]:
    *first, last = said.split(pause)
    return [*(f"{p.rstrip('.')}." for p in first), last]


def _choices(said: str) -> list[str]:
    """Cut what is still too long where it gives a choice: the next piece begins with "or"."""
    first, *rest = said.split(" or ")
    pieces, line = [], first
    for part in rest:
        if _fits(f"{line} or {part}"):
            line = f"{line} or {part}"
        else:
            pieces.append(f"{line}.")
            line = f"or {part}"
    return [*pieces, line]


def _halves(said: str, pause: str) -> list[str]:
    """Cut at the pauses so that every piece fits, with as few cuts as possible."""
    pieces, line = [], ""
    parts = said.split(pause)
    if _LEADS_IN.match(said) and len(parts) > 1:
        parts[:2] = [pause.join(parts[:2])]
    for part in parts:
        longer = f"{line}{pause}{part}" if line else part
        if line and not _fits(longer):
            pieces.append(f"{line}.")
            line = part
        else:
            line = longer
    return [*pieces, line]
