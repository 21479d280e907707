"""Points looked at for a pass, as they are said: tread, lining, stroke, lamps, what is torn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.hours_said import hits, said_span
from witnessmark.workflow.saying.figures.figure_marks import text_at
from witnessmark.workflow.saying.hearing.moods import NOT_DONE, Clause, clause_at
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table, work_phrases
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["inspected"]

#: Units of a depth.
_DEPTHS = frozenset({"mm", "in", "inch", "inches", "32nds"})
#: What is measured, not passed: "wheel bearing end play .004".
_READ_AS = frozenset({"play", "runout", "run-out", "wobble", "temp", "endplay"})


@cache
def _places() -> Phrases:
    return phrases(list(table("work")["places"].items()))


def inspected(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read points looked at; a figure needs the owner's book and passes nothing by itself."""
    for first, end, thing in hits(tokens, work_phrases("inspect", "things"), part.used):
        clause = clause_at(clauses, first)
        if clause.moods & (NOT_DONE | {"hearsay"}):
            continue
        if any(c.kind in {"work", "part", "decline"} for c in part.cards):
            return
        words = {t.text for t in tokens[clause.first : clause.end]}
        at_it = {text_at(tokens, first - 1), text_at(tokens, first - 2)} & {
            "at",
            "on",
            "near",
            "by",
        }
        if at_it and text_at(tokens, first - 1) in {*at_it, "the"}:
            continue  # "corroded at the frame" is not about the frame
        if words & _READ_AS:
            continue  # read by a gauge: no look for a pass
        place = next((str(p) for a, b, p in hits(tokens, _places(), set())
                      if clause.first <= a < clause.end), "")  # fmt: skip
        data: dict[str, Any] = {"point": f"{thing} {place}".strip()}
        used = set(range(first, end))
        for a, b, _ in hits(tokens, _places(), set()):
            if clause.first <= a < clause.end:
                used |= set(range(a, b))
        figure = next((p for p in range(clause.first, clause.end)
                       if tokens[p].number is not None), None)  # fmt: skip
        if figure is not None:
            unit = tokens[figure + 1].text if figure + 1 < len(tokens) else ""
            if "tire" in str(thing) and "/" not in tokens[figure].text and unit not in _DEPTHS:
                continue  # its pressure, hot or cold: no tread
            named = unit in {"mm", "in", "inch", "inches", "32nds", "psi"}
            if not named and "/" not in tokens[figure].text:
                part.asks.append(say.ask_inspect())
                continue
            symbol = {"mm": "mm", "psi": "psi"}.get(unit, "in")
            data["value"] = f"{tokens[figure].text} {symbol}"
            used.add(figure)
        elif (told := _passed(tokens, clause, str(thing))) is not None:
            data["result"] = told[0]
            used |= told[1]
        else:
            part.asks.append(say.ask_inspect())
            continue
        part.cards.append(Card("inspect", data, said_span(tokens, min(used), max(used) + 1),
                               needs=(say.ask_inspect(),)))  # fmt: skip
        part.used |= used
        if "value" in data:
            _same_thing(tokens, clauses, clause, str(thing), part)


def _same_thing(
    tokens: Sequence[Token], clauses: Sequence[Clause], said: Clause, thing: str, part: Part
) -> None:
    """Read on where only the place changes: "stroke left front 1 7/8, right front 1 3/4"."""
    figure = next(p for p in range(said.first, said.end) if tokens[p].number is not None)
    known = [(a, b, str(p)) for a, b, p in hits(tokens, _places()) if a > figure]
    others = [a for a, _, __ in hits(tokens, work_phrases("inspect", "things")) if a > figure]
    for number, (first, end, place) in enumerate(known):
        until = known[number + 1][0] if number + 1 < len(known) else len(tokens)
        figure = next((p for p in range(end, until) if tokens[p].number is not None), -1)
        unit = text_at(tokens, figure + 1)
        depth = figure >= 0 and ("/" in tokens[figure].text or unit in _DEPTHS)
        between = any(first <= a < max(figure, first) for a in others)
        if between or not depth or clause_at(clauses, first).moods:
            return
        symbol = "mm" if unit == "mm" else "in"
        data = {"point": f"{thing} {place}", "value": f"{tokens[figure].text} {symbol}"}
        used = {*range(first, end), figure}
        part.cards.append(Card("inspect", data, said_span(tokens, min(used), max(used) + 1),
                               needs=(say.ask_inspect(),)))  # fmt: skip
        part.used |= used


def _passed(tokens: Sequence[Token], clause: Clause, thing: str) -> tuple[str, set[int]] | None:
    """Return pass or fail as it was said of a thing looked at, and the words that said so."""
    rows: Mapping[str, Any] = table("work")["inspect"]
    for key in ("fail", "pass", "soft"):
        for first, end, _ in hits(tokens, work_phrases("inspect", key)):
            if not clause.first <= first < clause.end:
                continue
            if key == "soft" and thing not in rows["by_eye"]:
                return None  # looked good is no measurement
            before = {t.text for t in tokens[max(clause.first, first - 2) : first]}
            turned = bool(before & {"not", "no", "never"})
            bad = (key == "fail") != turned
            return ("fail" if bad else "pass"), set(range(first - turned, end))
    return None
