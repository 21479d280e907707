"""Figures that are the result of a test, or a reading of their own: bus ohms, air lost a minute."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from witnessmark.units import unit
from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.checks_said import Row, Stretch, pattern_of, said_of, text_of
from witnessmark.workflow.saying.figures.figure_marks import CARRIED, FigureMark
from witnessmark.workflow.saying.figures.points_said import point_marks
from witnessmark.workflow.saying.hearing.moods import Clause, clause_at
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["measured_checks"]


def measured_checks(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    figures: Sequence[FigureMark],
    knowledge: Knowledge,
) -> Part:
    """Read figures that are the result of a test: the bus at 58 ohm, 47 psi across a filter."""
    part = Part()
    text = Stretch(*text_of(tokens, 0, len(tokens)), 0)
    for row in table("checks")["measured"]:
        if "test" in row and knowledge.test(row["test"]) is None:
            continue
        named = pattern_of(row["say"]).search(text.text)
        if named is None or ("unless" in row and pattern_of(row["unless"]).search(text.text)):
            continue
        if "with" in row and not pattern_of(row["with"]).search(text.text):
            continue
        for figure in figures:
            clause = clause_at(clauses, figure.first)
            if clause.moods & {"plan", "other", "book", "hearsay"} or len(figure.values) > 1:
                continue
            symbol = {"lbs": "psi", "inches": "in"}.get(figure.symbol, figure.symbol)
            if row["kind"] == "time":
                symbol = CARRIED.get(symbol, ("", symbol))[1]
            if not symbol or symbol.startswith("!") or symbol in {"thou", "quart", "liter",
                                                                  "degrees"}:  # fmt: skip
                continue
            if unit(symbol).kind != row["kind"]:
                continue
            spelled = f"{figure.texts[0]} {symbol}"
            if "quantity" in row:
                part.cards.append(_reading(row, spelled, tokens, figure, text, named))
                part.used |= figure.used | _span(text, named)
                break
            value = figure.values[0] * unit(symbol).factor
            low, high = row["good"]
            result = "negative" if low <= value <= high else "positive"
            data = {"test": row["test"], "result": result}
            if not row.get("beside"):
                data["value"] = spelled
                part.used |= figure.used
            elif result == "negative":
                break
            used = _span(text, named)
            part.used |= set() if row.get("beside") else used
            needs = (say.ask_figure(spelled),) if figure.doubt else ()
            part.cards.append(
                Card("test", data, said_of(tokens, used | figure.used), needs,
                     tuple(row.get("also", ())))
            )  # fmt: skip
            break
    return part


def _span(text: Stretch, hit: re.Match[str]) -> set[int]:
    return set(range(text.token(hit.start()), text.token(hit.end() - 1) + 1))


def _reading(
    row: Row,
    spelled: str,
    tokens: Sequence[Token],
    figure: FigureMark,
    text: Stretch,
    named: re.Match[str],
) -> Card:
    """Return a loss or an interval as the reading it is: "lost 4 psi in a minute, released"."""
    data: dict[str, Any] = {"quantity": row["quantity"], "value": spelled}
    points = {k: v for m in point_marks(tokens) for k, v in m.fields.items() if v == "off"}
    if points:
        data["point"] = points
    needs = tuple(row.get("needs", ()))
    needs += (say.ask_figure(spelled),) if figure.doubt else ()
    return Card("reading", data, said_of(tokens, _span(text, named) | figure.used), needs)
