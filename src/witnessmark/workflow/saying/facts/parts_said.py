"""Parts that are ordered, promised, here or sent back, as they are said."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.hours_said import hits, said_span
from witnessmark.workflow.saying.facts.part_names import (
    close_behind,
    name_before,
    name_behind,
    part_names,
)
from witnessmark.workflow.saying.figures.figure_marks import text_at
from witnessmark.workflow.saying.hearing.moods import NOT_DONE, Clause
from witnessmark.workflow.saying.hearing.spoken_tables import table, work_phrases
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["part_states"]

#: Words of time that may follow "came".
_DAYS = frozenset(("today", "yesterday", "monday", "tuesday", "wednesday", "thursday", "friday",
                   "saturday", "sunday", "this", "morning", "afternoon", "just",
                   "now"))  # fmt: skip
#: Who is waited for, and is no part.
_NOBODY = frozenset(("customer", "owner", "driver", "him", "her", "them", "approval", "boss",
                     "dispatch", "it", "you", "an", "word", "call"))  # fmt: skip
#: What is only meant: "will be ordered" is on no list yet.
_MEANT = frozenset(("will", "need", "needs", "gonna", "going", "want", "have", "if", "must",
                    "should", "to", "lets", "let's"))  # fmt: skip


def part_states(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read how it stands with parts: on order, promised, here, sent back."""
    states = table("work")["part_state"]
    for clause in clauses:
        if _it_went_back(tokens, clause, part):
            continue
        names = part_names(tokens, clause.first, clause.end)
        found: dict[str, tuple[int, int]] = {}
        for state in ("promised", "ordered", "arrived", "returned"):
            for first, end, _ in hits(tokens, work_phrases("part_state", state), part.used):
                read = text_at(tokens, end) == "at"  # "came in at 61 psi"
                if clause.first <= first < clause.end and not read:
                    found.setdefault(state, (first, end))
        away = _sent_back(tokens, clause.first, clause.end) if names and not found else None
        if away is not None:
            found["returned"] = away
        meant = {t.text for t in tokens[clause.first : clause.end]} & _MEANT
        on_its_way = found.keys() & {"promised"} or ("ordered" in found and not meant)
        moods = clause.moods - ({"plan"} if on_its_way else set())
        if found.get("ordered") and _NOBODY & {
            text_at(tokens, found["ordered"][1] + n) for n in (0, 1)
        }:
            continue  # "waiting on the customer to approve"
        if found and not names and not moods & NOT_DONE:
            names = _unlisted(tokens, clause, found)
        if not found and not moods & NOT_DONE:
            found, names = _came(tokens, clause, names)
        if not found or not names or moods & NOT_DONE:
            if found and clause.moods & {"plan"}:
                part.asks.append(say.ask_order())
            continue
        state = next(s for s in ("returned", "arrived", "promised", "ordered") if s in found)
        name, name_first, name_end = _whole_name(names)
        data: dict[str, Any] = {"name": name, "state": state}
        used = set(range(name_first, name_end))
        for first, end in found.values():
            used |= set(range(first, end))
        for place in range(clause.first, clause.end):
            if tokens[place].text in states["days"]:
                data["day"] = tokens[place].text
                used.add(place)
        number = _part_number(tokens, name_end, clause.end)
        if number:
            data["number"] = number[0]
            used |= number[1]
        ask = say.ask_which_part(name) if state == "returned" else say.ask_order()
        also = [ask] if state != "arrived" else []
        also += [say.ask_which_part(name)] if " " not in name else []
        part.cards.append(Card("part", data, said_span(tokens, min(used), max(used) + 1),
                               also=tuple(dict.fromkeys(also))))  # fmt: skip
        part.used |= used


def _it_went_back(tokens: Sequence[Token], clause: Clause, part: Part) -> bool:
    """Turn the part just said into one sent back: "wrong injector came, sent it back"."""
    said = " ".join(t.text for t in tokens[clause.first : clause.end])
    back = re.search(r"\b(?:sent|took|shipped|sending|going) (?:it|them|that) back\b", said)
    if back is None or not part.cards or part.cards[-1].kind != "part" or clause.moods & NOT_DONE:
        return False
    last = part.cards[-1]
    name = str(last.data["name"])
    part.cards[-1] = replace(
        last, data={**last.data, "state": "returned"}, also=(say.ask_which_part(name),)
    )
    part.used |= set(range(clause.first, clause.end))
    return True


def _unlisted(
    tokens: Sequence[Token], clause: Clause, found: Mapping[str, tuple[int, int]]
) -> list[tuple[str, int, int]]:
    """Name a part that no table knows: "waiting on the jake solenoid", "intake elbow on order"."""
    first, end = min(found.values())
    named = name_before(tokens, clause.first, first) or name_behind(tokens, end, clause.end)
    return [named] if named else []


def _came(
    tokens: Sequence[Token], clause: Clause, names: list[tuple[str, int, int]]
) -> tuple[dict[str, tuple[int, int]], list[tuple[str, int, int]]]:
    """Read "the hub seal came", "got the water pump today", "the parts house brought the drums"."""
    for place in range(clause.first, clause.end):
        word, after = tokens[place].text, tokens[place + 1 : clause.end]
        rest = {t.text for t in after}
        if word in {"parts", "part"} and part_names(tokens, clause.end, len(tokens)):
            arrived = {t.text for t in after} & {"came", "arrived", "here", "in"}
            if arrived:  # "parts came, lift pump and filter"
                listed = part_names(tokens, clause.end, len(tokens))
                return {"arrived": (place, clause.end)}, listed
        if word == "came" and not (rest - _DAYS - {"just", "finally", ".", "too"}):
            known = [n for n in names if n[2] <= place]
            named = known or [n for n in [name_before(tokens, clause.first, place)] if n]
            return ({"arrived": (place, place + 1)}, named) if named else ({}, names)
        got = word in {"got", "received", "brought"} and all(t.number is None for t in after)
        if got and names and names[0][1] > place and close_behind(tokens, place + 1, names[0][1]):
            end = names[-1][2]
            if not {t.text for t in tokens[end : clause.end]} - _DAYS - {"in", "."}:
                return {"arrived": (place, place + 1)}, names
    return {}, names


def _sent_back(tokens: Sequence[Token], first: int, end: int) -> tuple[int, int] | None:
    """Find "sent the starter core back": the part stands within the verb."""
    said = [t.text for t in tokens[first:end]]
    sent = next((n for n, word in enumerate(said) if word in {"sent", "took", "shipped"}), None)
    if sent is None or "back" not in said[sent + 2 :]:
        return None
    return first + sent, first + said.index("back", sent) + 1


def _whole_name(names: Sequence[tuple[str, int, int]]) -> tuple[str, int, int]:
    """Join parts that are said as one name: turbo clamp."""
    name, first, end = names[0]
    for following, a, b in names[1:]:
        if a == end:
            name, end = f"{name} {following}", b
    return name, first, end


def _part_number(tokens: Sequence[Token], first: int, end: int) -> tuple[str, set[int]] | None:
    for place in range(first, end):
        if tokens[place].number is None:
            continue
        used, text = {place}, tokens[place].text
        while (
            place + 2 < end
            and tokens[place + 1].text == "-"
            and tokens[place + 1].start == tokens[place].end
        ):
            text += "-" + tokens[place + 2].text
            used |= {place + 1, place + 2}
            place += 2  # noqa: PLW2901
        if len(text) >= 4:
            return text, used
    return None
