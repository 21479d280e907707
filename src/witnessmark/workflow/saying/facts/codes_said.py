"""Trouble codes as they are said: "3251/0 twice", "spn 100 fmi 1 active red lamp"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.hearing.moods import Clause, clause_at
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["codes_of"]

_MOST_SPN, _MOST_FMI = 524287, 31
_KEYS = {"code", "codes", "spn", "fault", "dtc", "faults"}
_LAMPS = {"red": "red stop", "amber": "amber warning", "yellow": "amber warning",
          "protect": "protect", "mil": "malfunction indicator",
          "engine": "malfunction indicator"}  # fmt: skip
_OF_A_CODE = frozenset({"times", "twice", "active", "inactive", "stored", "x"})
_OFF = frozenset(("inactive", "stored", "historic", "historical", "previous", "old", "previously"))


def codes_of(tokens: Sequence[Token], clauses: Sequence[Clause]) -> Part:
    """Read the codes of a line. What is no SPN with its FMI is asked for, never made one."""
    part = Part()
    found: list[tuple[int, int, int, int]] = []
    at = 0
    while at < len(tokens):
        pair = (
            _pair(tokens, at)
            or _in_a_row(tokens, at, found)
            or _turned(tokens, at)
            or _two_modes(tokens, at, found)
            or _again(tokens, at, found)
        )
        broken = (
            pair is not None
            and pair[0] == at
            and at > 0
            and (tokens[at - 1].number is not None and not (found and found[-1][1] == at))
        )
        if pair is not None and not broken:
            found.append(pair)
            at = pair[1]
        else:
            at += 1
    states = [n for n, t in enumerate(tokens) if t.text in _OFF or t.text == "active"]
    leading = bool(found and states and states[0] < found[0][0])
    only_leading = leading and states[-1] < found[0][0]
    for number, (first, end, spn, fmi) in enumerate(found):
        clause = clause_at(clauses, first)
        if clause.moods & {"plan", "other", "book"}:
            continue
        until = found[number + 1][0] if number + 1 < len(found) else len(tokens)
        last_end = found[-1][1]
        data: dict[str, Any] = {"spn": spn, "fmi": fmi}
        before = found[number - 1][1] if number else 0
        if leading and only_leading:
            data |= _said_of(tokens, 0, found[0][0], part)
        elif leading:
            data |= _said_of(tokens, before, first, part)
        else:
            data |= _said_of(tokens, end, until, part)
        shared = len(found) > 1 and any(t.text in {"both", "all"} for t in tokens[last_end:])
        needs: list[str] = []
        if shared and number + 1 < len(found):
            extra = _said_of(tokens, last_end, len(tokens), part)
            data = {**extra, **data}
        if shared and "count" in data:
            needs.append(say.ask_each("the count"))
        trailing = len(found) > 1 and number + 1 == len(found) and not shared
        if (trailing or (only_leading and len(found) > 1)) and len(data) > 2:
            needs.append(say.ask_each("what was said last"))
        if any(t.doubt for t in tokens[first:end]):
            needs.append(say.ask_figure(f"{spn} / {fmi}"))
        if "hearsay" in clause.moods:
            needs.append(say.ask_hearsay())
        if "guess" in clause.moods:
            needs.append(say.ask_guess())
        also = [] if {"lamp", "count", "source"} <= set(data) else [say.ask_active()]
        part.used |= set(range(first, end))
        said = f"{tokens[first].start}:{tokens[end - 1].end}"
        also = [a for a in also if a not in needs]
        told = "active" in data  # the entry holds a code for active where nothing is said
        part.cards.append(Card("code", data, said, tuple(needs), tuple(also), sure=told))
    _unread(tokens, part, found)
    return part


def _pair(tokens: Sequence[Token], at: int) -> tuple[int, int, int, int] | None:
    """Return first and end token, SPN and FMI, where a code begins here."""
    spn = _whole(tokens, at, _MOST_SPN)
    if spn is None:
        return None
    key = any(t.text in _KEYS for t in tokens[max(0, at - 3) : at]) and not any(
        t.number is not None for t in tokens[max(0, at - 1) : at]
    )
    place, joined = at + 1, _text(tokens, at + 1)
    if joined in {"/", "-", ",", ":"}:
        place += 1
    said_fmi = _text(tokens, place) == "fmi"
    place += 1 if said_fmi else 0
    fmi = _whole(tokens, place, _MOST_FMI)
    if fmi is None:
        return None
    follows = _text(tokens, place + 1)
    measured = follows in {"psi", "rpm", "volts", "v", "f", "c", "min", "miles", "times", "%"}
    if said_fmi:
        fits = True
    elif joined == "/":
        fits = spn >= 32 and not measured
    elif joined == "-":
        close = tokens[at].end == tokens[at + 1].start
        fits = (key or spn >= 100) and close and fmi < spn and not measured
    elif joined in {",", ":"}:
        fits = False
    else:
        counted = {_text(tokens, place + 1), _text(tokens, place + 2)} & _OF_A_CODE
        bare = at == 0 and spn >= 100 and bool(counted)  # "3251 0 three times"
        fits = (key and not measured and _text(tokens, at - 1) in _KEYS) or bare
    if not fits:
        return None
    first = at
    while first and tokens[first - 1].text in _KEYS:
        first -= 1
    return first, place + 1, spn, fmi


def _in_a_row(
    tokens: Sequence[Token], at: int, found: Sequence[tuple[int, int, int, int]]
) -> tuple[int, int, int, int] | None:
    """A further pair behind one word: "fault 100 1 and 110 0"."""
    if not found or at - found[-1][1] != 1 or _text(tokens, at - 1) not in {"and", ",", "&"}:
        return None
    keyed = any(t.text in _KEYS for t in tokens[found[-1][0] : found[-1][1]])
    spn, fmi = _whole(tokens, at, _MOST_SPN), _whole(tokens, at + 1, _MOST_FMI)
    if not keyed or spn is None or fmi is None or spn < 32:
        return None
    follows = _text(tokens, at + 2)
    if follows in {"psi", "rpm", "volts", "v", "f", "c", "min", "miles", "times", "%"}:
        return None
    return at, at + 2, spn, fmi


def _turned(tokens: Sequence[Token], at: int) -> tuple[int, int, int, int] | None:
    """The other way round: "fmi 3 on spn 102"."""
    if _text(tokens, at) != "fmi" or _text(tokens, at + 2) not in {"on", "for", "of", "spn"}:
        return None
    place = at + 3 if _text(tokens, at + 2) == "spn" else at + 4
    fmi, spn = _whole(tokens, at + 1, _MOST_FMI), _whole(tokens, place, _MOST_SPN)
    if fmi is None or spn is None or _text(tokens, place - 1) not in {"spn", "code"}:
        return None
    return at, place + 1, spn, fmi


def _two_modes(
    tokens: Sequence[Token], at: int, found: Sequence[tuple[int, int, int, int]]
) -> tuple[int, int, int, int] | None:
    """Two failure modes before their code: "fmi 3 and 4 on 105"; first the one, then the other."""
    start = at if _text(tokens, at) == "fmi" else at - 3
    if start < 0 or _text(tokens, start) != "fmi" or _text(tokens, start + 2) not in {"and", "&"}:
        return None
    place = start + 5 + (_text(tokens, start + 5) == "spn")
    spn = _whole(tokens, place, _MOST_SPN)
    modes = [_whole(tokens, start + n, _MOST_FMI) for n in (1, 3)]
    if _text(tokens, start + 4) not in {"on", "for", "of"} or spn is None or None in modes:
        return None
    if at == start:
        return (at, at + 3, spn, modes[0] or 0)
    return (at, place + 1, spn, modes[1] or 0) if found and found[-1][1] == at else None


def _again(
    tokens: Sequence[Token], at: int, found: Sequence[tuple[int, int, int, int]]
) -> tuple[int, int, int, int] | None:
    """A further failure mode of the code just said: "spn 102 fmi 3 and fmi 4"."""
    if not found or _text(tokens, at) != "fmi" or at - found[-1][1] > 1:
        return None
    fmi = _whole(tokens, at + 1, _MOST_FMI)
    return None if fmi is None else (at, at + 2, found[-1][2], fmi)


def _said_of(tokens: Sequence[Token], first: int, end: int, part: Part) -> dict[str, Any]:
    """Read what is said of a code behind it: active, lamp, count, source."""
    data: dict[str, Any] = {}
    for place in range(first, end):
        word, after = tokens[place].text, _text(tokens, place + 1)
        before = _text(tokens, place - 1)
        took = {place}
        if word in _OFF or (word == "active" and before in {"not", "no", "previously"}):
            data["active"] = False
        elif word == "active" and "active" not in data:
            data["active"] = True
        elif word == "on" and after == "now" and "active" not in data:
            data["active"] = True  # "red lamp on now"
        elif word == "twice" or (word == "once" and place == first):
            data["count"] = 2 if word == "twice" else 1
        elif word in {"lamp", "light"} and before in _LAMPS:
            data["lamp"] = _LAMPS[before]
            took.add(place - 1)
        elif word == "lamp" and _text(tokens, place - 2) in _LAMPS:
            data["lamp"] = _LAMPS[_text(tokens, place - 2)]
            took |= {place - 1, place - 2}
        elif (
            (word == "x" and (count := _whole(tokens, place + 1, 126)) is not None)
            or (
                word in {"count", "occurrence", "occurrences", "oc"}
                and ((count := _whole(tokens, place + 1, 126)) is not None)
            )
            or (
                after in {"times", "counts", "x", "veces"}
                and ((count := _whole(tokens, place, 126)) is not None)
            )
        ):
            data["count"] = count
            took.add(place + 1)
        elif word in {"sa", "src", "source", "address"} and (
            (source := _whole(tokens, place + 1, 253)) is not None
        ):
            data["source"] = source
            took.add(place + 1)
        elif word not in {"both", "all"}:
            continue
        part.used |= took
    return data


def _unread(
    tokens: Sequence[Token], part: Part, found: Sequence[tuple[int, int, int, int]]
) -> None:
    held = {p for first, end, _, _ in found for p in range(first, end)}
    for place, token in enumerate(tokens):
        if place in held:
            continue
        if re.fullmatch(r"[pbcu]\d[0-9a-f]{3}", token.text):
            part.asks.append(say.ask_letter_code(token.text.upper()))
        elif token.text in {"code", "spn"} and not found:
            number = _whole(tokens, place + 1, _MOST_SPN)
            if number is not None:
                part.asks.append(say.ask_fmi(number))
                part.used.add(place + 1)
        elif (
            token.text == "codes"
            and not found
            and not any(t.text in {"no", "none"} for t in tokens)
        ):
            part.asks.append(say.ask_codes())


def _whole(tokens: Sequence[Token], at: int, most: int) -> int | None:
    value = tokens[at].number if 0 <= at < len(tokens) else None
    if value is None or value != int(value) or not 0 <= value <= most:
        return None
    return int(value)


def _text(tokens: Sequence[Token], at: int) -> str:
    return tokens[at].text if 0 <= at < len(tokens) else ""
