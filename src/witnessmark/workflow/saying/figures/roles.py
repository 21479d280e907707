"""What a figure is in the line: a value, the speed at which it was read, or a name."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from witnessmark.workflow.saying.figures.figure_marks import (
    FigureMark,
    NounMark,
    said_at,
    text_at,
)
from witnessmark.workflow.saying.figures.points_said import PointMark
from witnessmark.workflow.saying.hearing.figures_in_words import written
from witnessmark.workflow.saying.hearing.moods import Clause
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["denied", "has_alternatives", "is_speed", "place_of", "speed_mark", "turned_bound"]


def is_speed(
    tokens: Sequence[Token], figure: FigureMark, nouns: Sequence[NounMark], alone: bool
) -> bool:
    """Tell whether a figure is the engine speed at which something was read."""
    value = figure.values[0]
    if len(figure.values) > 1:
        return False
    of_speed = [n for n in nouns if "speed_of_rotation" in n.row]
    near = any(abs(n.first - figure.first) <= 4 or abs(n.end - figure.first) <= 4 for n in of_speed)
    rpm_before = (
        text_at(tokens, figure.first - 1) == "rpm" or text_at(tokens, figure.first - 2) == "rpm"
    )
    if rpm_before and not figure.symbol and said_at(tokens, figure.first) and 400 <= value <= 3500:
        return True  # "fan speed 1900 rpm at 1500"
    if figure.symbol == "rpm" or (rpm_before and not figure.symbol):
        if value < 400 or (near and value < 450):
            return False
        return not any(
            n.row.get("is_reading") and (n.end <= figure.first or n.first - figure.end <= 3)
            for n in of_speed
        )
    if figure.symbol or figure.negative or figure.how in {"below", "above"}:
        return False
    hot = any(n.end == figure.first and set(n.row) & {"temperature", "fraction"} for n in nouns)
    if hot and not said_at(tokens, figure.first):
        return False  # "scr in 610, scr out 590 F"
    if alone and any(n.end == figure.first for n in nouns):
        return False  # "exhaust 900": the only figure is what was read
    if said_at(tokens, figure.first):
        return 400 <= value <= 3500
    return 500 <= value <= 2800 and value % 10 == 0


def speed_mark(figure: FigureMark, tokens: Sequence[Token]) -> PointMark:
    """Return the engine speed that a figure says, with the "at" before it."""
    value = figure.values[0]
    first = figure.first - 1 if said_at(tokens, figure.first) else figure.first
    rpm = int(value) if value == int(value) else value
    return PointMark("speed", {"rpm": rpm}, first, figure.end, f"at {written(value)} rpm")


def place_of(
    tokens: Sequence[Token], figure: FigureMark, nouns: Sequence[NounMark]
) -> tuple[int, str] | None:
    """Tell whether a figure names a cylinder: "leak down 4 is 38 percent", "cylinder 4"."""
    if figure.symbol or figure.values[0] > 24 or figure.values[0] != int(figure.values[0]):
        return None
    before, after = text_at(tokens, figure.first - 1), text_at(tokens, figure.end)
    follows = [t.number is not None for t in tokens[figure.end : figure.end + 3]]
    if before in _COUNTED and any(follows):  # "the other three 12.6"
        return figure.first, f"{before} {written(figure.values[0])}"
    named = next((n for n in nouns if n.end == figure.first), None)
    if (
        named is not None and after in {"is", "at", "has", "reads", "was", ":", "shows"}
        and any(t.number is not None for t in tokens[figure.end : figure.end + 4])
    ):  # fmt: skip
        return figure.first, f"{named.said} {written(figure.values[0])}"  # "battery 2 is at 11.8 V"
    ratio = any(n.row.get("by_cylinder") for n in nouns)
    if before in {"cylinder", "cylinders", "hole"} or (
        ratio and (after in {"is", "at", "has", "reads"} or before in {"number", "#", "no"})
    ):
        return figure.first, f"cylinder {written(figure.values[0])}"
    return None


def denied(tokens: Sequence[Token], figure: FigureMark, clause: Clause) -> bool:
    """Tell whether a figure is said not to be: "not 65 psi", "is not 80"."""
    before = [
        tokens[p].text
        for p in range(max(clause.first, figure.first - 4), figure.first)
        if p not in figure.used  # "no more than 8": this "no" is the bound's own
    ]
    joined = " ".join(before)
    if figure.how in {"below", "above"}:  # "will not go over 40" is no "over 40"
        turned = bool({"not", "never", "no"} & set(before))
        return turned and "not even" not in joined
    return bool({"not", "never"} & set(before[-3:]))


#: Verbs between a "no" and its bound: "will not go over 40", "never drops below 30".
_MOVES = frozenset(("go", "goes", "went", "get", "gets", "got", "come", "comes", "climb", "climbs",
                    "rise", "rises", "drop", "drops", "fall", "falls", "make", "makes", "build",
                    "builds", "pull", "pulls", "read", "reads", "do", "does", "hold", "holds",
                    "dip", "dips", "pass", "exceed"))  # fmt: skip


#: Behind these a small figure counts things.
_COUNTED = frozenset({"other", "others", "all", "both", "these", "those", "first", "last"})


def turned_bound(tokens: Sequence[Token], figure: FigureMark, clause: Clause) -> bool:
    """Tell whether a "no" turns a bound round, and turn it: "will not go over 40" is at most 40."""
    if figure.how not in {"below", "above"}:
        return False
    before = [
        tokens[p].text
        for p in range(max(clause.first, figure.first - 6), figure.first)
        if p not in figure.used
    ]
    if len(before) < 2 or before[-1] not in _MOVES or not {"not", "never"} & set(before[-3:]):
        return False
    figure.how = "below" if figure.how == "above" else "above"
    figure.turned = True
    return True


def has_alternatives(tokens: Sequence[Token], values: Sequence[FigureMark]) -> bool:
    """Tell whether the speaker gives one figure or another: "15 or 50"."""
    return any(
        text_at(tokens, one.end) == "or" and two.first == one.end + 1
        for one, two in itertools.pairwise(values)
    )
