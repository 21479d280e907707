"""A line as words and figures: each with its place, so that what is left over can be shown."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from witnessmark.workflow.saying.hearing.spoken_tables import (
    Phrases,
    every_text,
    phrases,
    table,
)

__all__ = ["Token", "longest", "made_plain", "tokens_of"]


@dataclass(frozen=True, slots=True)
class Token:
    """One word, figure or sign.

    Attributes:
        text: the plain word in small letters; of a figure as it was written.
        start: where it begins in the line.
        end: where it ends in the line.
        number: its value, where it is a figure.
        doubt: it may have been heard wrongly.
    """

    text: str
    start: int
    end: int
    number: float | None = None
    doubt: bool = False


_PIECES = re.compile(
    r"(?P<letter_code>\b[pbcu][0-9a-f]{4}\b)"
    r"|(?P<id>[a-z]+_[a-z0-9_]+)"
    r"|(?P<clock>\d{1,2}:\d{2}\b)"
    r"|(?P<grouped>\d{1,3}(?:,\d{3})+(?:\.\d+)?(?!\d|,\d))"
    r"|(?P<comma>\d+,\d{1,2}(?![\d,]))"
    r"|(?P<mixed>\d{1,3}[ -]\d{1,2}/(?:2|4|8|16|32|64)\b)"
    r"|(?P<fraction>(?<![\d/])\d{1,2}/(?:2|4|8|16|32|64)\b)"
    r"|(?P<number>\d+\.\d+|\.\d+|\d+)"
    r"|(?P<unit>in\.?h2o\b|h2o\b|r/min|gal/min|l/min|l/h|w/o\b|j1939)"
    r"|(?P<word>[^\W\d_]+(?:['’.-][^\W\d_]+)*)"
    r"|(?P<sign>[^\s])"
)


def tokens_of(line: str) -> list[Token]:
    """Cut a line into words and figures, the trade's short forms and mishearings made plain."""
    return made_plain(_cut(line))


def longest(tokens: Sequence[Token], at: int, known: Phrases) -> tuple[int, object] | None:
    """Return how many tokens the longest phrase that begins *at* takes, and its meaning."""
    if not 0 <= at < len(tokens):
        return None
    for words, meaning in known.get(tokens[at].text, ()):
        if len(words) <= len(tokens) - at and all(
            tokens[at + n].text == word for n, word in enumerate(words)
        ):
            return len(words), meaning
    return None


def _cut(line: str) -> list[Token]:
    found: list[Token] = []
    low = line.lower().replace("’", "'").replace("−", "-").replace("º", "°")
    if len(low) != len(line):  # a letter whose small form is longer: places would be shifted
        low = line.replace("’", "'").replace("−", "-").replace("º", "°")
    for piece in _PIECES.finditer(low):
        text, start, end, kind = piece.group(), piece.start(), piece.end(), piece.lastgroup
        if kind == "grouped":
            found.append(Token(text, start, end, float(text.replace(",", ""))))
        elif kind == "comma":
            whole, part = text.split(",")
            doubt = len(whole) > 1 and len(part) > 1  # "65,78" may be two figures
            found.append(Token(text, start, end, float(f"{whole}.{part}"), doubt))
        elif kind == "mixed" and _is_fraction(text.replace("-", " ").split(" ")[1]):
            whole, part = text.replace("-", " ").split(" ")
            found.append(Token(f"{whole} {part}", start, end, float(whole) + _fraction(part)))
        elif kind == "fraction" and _is_fraction(text):
            found.append(Token(text, start, end, _fraction(text)))
        elif kind in {"mixed", "fraction"}:
            found += [replace(t, start=t.start + start, end=t.end + start) for t in _figures(text)]
        elif kind == "number":
            found.append(Token(text, start, end, float(text)))
        elif kind == "word":
            after = bool(found) and found[-1].number is not None
            amps = after and text == "a" and line[start] == "A"  # "0.8 A", not "8 a day"
            found += [Token("amps", start, end)] if amps else _words(text, start)
        elif text in {'"', "”"} and found and found[-1].number is not None:
            found.append(Token("inches", start, end))
        else:
            found.append(Token(text, start, end))
    return found


def _is_fraction(text: str) -> bool:
    above, below = text.split("/")
    return int(above) < int(below) and (int(above) % 2 == 1 or int(below) >= 32)


def _fraction(text: str) -> float:
    above, below = text.split("/")
    return int(above) / int(below)


def _figures(text: str) -> list[Token]:
    return [
        Token(m.group(), m.start(), m.end(), float(m.group()) if m.group().isdigit() else None)
        for m in re.finditer(r"\d+|[-/]", text)
    ]


def _words(text: str, start: int) -> list[Token]:
    """Return one word, or the parts of one joined by dashes that the tables do not hold."""
    text = text.strip(".")
    if text.endswith("'s") and text not in _known_words() and len(text) > 3:
        return _words(text.removesuffix("'s"), start)  # "thermostat's on order"
    if text in _joined_words() or not re.search(r"[-.]", text):
        return [Token(text, start, start + len(text))]
    return [
        Token(m.group(), start + m.start(), start + m.end()) for m in re.finditer(r"[^-.]+", text)
    ]


@cache
def _joined_words() -> frozenset[str]:
    """Return every word with a dash or dot inside that one of the tables holds."""
    words = (w for said in every_text() for w in re.split(r"[\s|]+", said))
    return frozenset(w for w in words if re.search(r"\w[-.]\w", w))


@cache
def _known_words() -> frozenset[str]:
    """Return every word with a small mark inside that the table of plain words holds."""
    speech = table("speech")
    said = (*speech["same"], *(w for mood in speech["moods"].values() for w in mood))
    return frozenset(word for phrase in said for word in phrase.split() if "'" in word)


@cache
def _plain_words() -> Phrases:
    speech = table("speech")
    rows = [(said, (plain, False)) for said, plain in speech["same"].items()]
    rows += [(said, (plain, True)) for said, plain in speech["misheard"].items()]
    return phrases(rows)


def made_plain(tokens: Sequence[Token]) -> list[Token]:
    """Return the tokens with short forms and mishearings as the plain words."""
    found: list[Token] = []
    at = 0
    while at < len(tokens):
        hit = longest(tokens, at, _plain_words())
        if hit is None:
            found.append(tokens[at])
            at += 1
            continue
        count, meaning = hit
        assert isinstance(meaning, tuple)  # noqa: S101
        plain, doubt = meaning
        doubt = doubt or any(t.doubt for t in tokens[at : at + count])
        start, end = tokens[at].start, tokens[at + count - 1].end
        found += [Token(word, start, end, None, doubt) for word in plain.split()]
        at += count
    return found
