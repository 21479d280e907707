"""Where on the truck a figure was read, and two instruments held against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.figures.figure_marks import FigureMark, NounMark, text_at
from witnessmark.workflow.saying.figures.points_said import PointMark
from witnessmark.workflow.saying.figures.values import shown
from witnessmark.workflow.saying.hearing.moods import Clause
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["compared", "placed", "where_said"]

_DASH = frozenset({"dash", "cluster"})
_GAUGE = frozenset({"gauge", "mechanical", "mech", "master"})


def compared(
    tokens: Sequence[Token],
    values: Sequence[FigureMark],
    nouns: Sequence[NounMark],
    marks: Sequence[PointMark],
    part: Part,
) -> Part:
    """Read a gauge and the dash at the same instant: one card, never two readings of one kind."""
    part.asks.append(say.ask_dash())
    kinds = {v.kind for v in values if v.kind}
    if len(values) != 2 or len(kinds) != 1 or any(len(v.values) > 1 for v in values):
        return part
    symbol = next(v.symbol for v in values if v.symbol)
    words = [(p, t.text) for p, t in enumerate(tokens) if t.text in _DASH | _GAUGE]
    led = words[0][0] < values[0].first  # the instrument stands before its figure, or behind it
    found: dict[str, str] = {}
    for number, figure in enumerate(values):
        low = values[number - 1].end if number else 0
        high = values[number + 1].first if number + 1 < len(values) else len(tokens)
        inside = range(low, figure.first) if led else range(figure.end, high)
        said = {w for p, w in words if p in inside}
        if bool(said & _DASH) == bool(said & _GAUGE):
            return part  # which is which was not said
        found["b" if said & _DASH else "a"] = shown(figure, symbol)
    if len(found) != 2:
        return part
    mechanical = any(w in {"mechanical", "mech"} for _, w in words)
    data: dict[str, object] = {
        "a": "mechanical gauge" if mechanical else "gauge", "b": "dash",
        "value_a": found["a"], "value_b": found["b"],
    }  # fmt: skip
    kind = next(iter(kinds))
    quantities = {n.quantity(kind) for n in nouns if n.quantity(kind) and not n.row.get("needs")}
    if len(quantities) == 1:
        data["quantity"] = quantities.pop()
    point: dict[str, object] = {}
    for mark in marks:
        point |= mark.fields
    if point:
        data["point"] = point
    used = {p for v in values for p in v.used} | {p for p, _ in words}
    used |= {p for m in marks for p in range(m.first, m.end)}
    used |= {p for n in nouns for p in range(n.first, n.end)}
    said_at = f"{tokens[min(used)].start}:{tokens[max(used)].end}"
    part.cards.append(Card("compare", data, said_at, needs=(say.ask_dash(),)))
    part.asks.clear()
    part.used |= used
    return part


def placed(tokens: Sequence[Token], figure: FigureMark, values: Sequence[FigureMark]) -> bool:
    """Tell whether each of the figures of one noun has its own place on the truck."""
    known = set(table("work")["places"])
    places = [
        p for p in range(len(tokens))
        if {text_at(tokens, p), f"{text_at(tokens, p)} {text_at(tokens, p + 1)}"} & known
    ]  # fmt: skip
    if len(values) == 1:
        return bool(places)
    bounds = [0, *(v.first for v in values), len(tokens)]
    before = [any(bounds[n] <= p < v.first for p in places) for n, v in enumerate(values)]
    after = [any(v.end <= p < bounds[n + 2] for p in places) for n, v in enumerate(values)]
    return figure in values and (all(before) or all(after))


def where_said(
    tokens: Sequence[Token],
    figure: FigureMark,
    clause: Clause,
    places: Mapping[int, str],
    noun: NounMark,
) -> str:
    """Return where on the truck a figure was read, empty where that was not said."""
    known = table("work")["places"]
    own = noun.row.get("places")
    if own:
        before = [t.text for t in tokens[clause.first : figure.first] if t.text in own]
        if before:
            return "transmission" if before[-1] == "trans" else before[-1]
    named = [p for p in places if clause.first <= p < figure.first]
    if named and not noun.row.get("by_cylinder"):
        return places[named[-1]]
    if places and noun.row.get("by_cylinder"):
        before_places = [p for p in places if p < figure.first]
        if before_places and not any(
            t.text in {"others", "rest"} for t in tokens[before_places[-1] : figure.first]
        ):
            return places[before_places[-1]]
    if noun.row.get("by_cylinder") and any(
        t.text in {"others", "rest"} for t in tokens[max(0, figure.first - 3) : figure.first]
    ):
        return "other cylinders"
    for place in range(max(clause.first, figure.first - 3), figure.first):
        rest = tokens[place].text == "rest" and text_at(tokens, place - 1) != "at"
        if rest or tokens[place].text == "others":
            return "the others"
    found: list[tuple[int, str]] = []
    for place in range(clause.first, clause.end):
        two = f"{text_at(tokens, place)} {text_at(tokens, place + 1)}"
        said = next((w for w in (two, text_at(tokens, place)) if w in known), "")
        if said and not (found and found[-1][0] == place - 1 and " " in said):
            found.append((place, str(known[said])))
    before_it = [w for p, w in found if p < figure.first]
    return before_it[-1] if before_it else (found[0][1] if found else "")
