"""Where the engine was when something was read: which point belongs to which figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["Figured", "PointMark", "point_marks", "spread"]

AXES = ("speed", "load", "warm")


@dataclass(slots=True)
class PointMark:
    """A point as said: ``axis`` speed, load or warm; the fields of a point; its place."""

    axis: str
    fields: dict[str, Any]
    first: int
    end: int
    said: str
    ask: str = ""


@dataclass(slots=True)
class Figured:
    """A figure that is being read: its place, whose it is, and the point found for it."""

    first: int
    end: int
    noun: str
    text: str = ""
    point: dict[str, Any] = field(default_factory=dict)
    needs: list[str] = field(default_factory=list)
    also: list[str] = field(default_factory=list)


@cache
def _known() -> Phrases:
    return phrases([(said, row) for row in table("figures")["point"] for said in row["say"]])


def point_marks(tokens: Sequence[Token]) -> list[PointMark]:
    """Return every point that is said, but for bare engine speeds."""
    found: list[PointMark] = []
    at = 0
    while at < len(tokens):
        hit = longest(tokens, at, _known())
        if hit is None:
            at += 1
            continue
        count, row = hit
        assert isinstance(row, dict)  # noqa: S101
        if row.get("after_figure") and (at == 0 or tokens[at - 1].number is None):
            at += count
            continue
        if at + count < len(tokens) and tokens[at + count].text in row.get("unless_next", ()):
            at += count
            continue
        said = " ".join(t.text for t in tokens[at : at + count])
        fields = {k: row[k] for k in ("engine", "load", "warm") if k in row}
        axis = "speed" if "engine" in fields else ("warm" if "warm" in fields else "load")
        axis = str(row.get("axis", axis))
        found.append(PointMark(axis, fields, at, at + count, said, row.get("ask", "")))
        at += count
    return found


def spread(figures: Sequence[Figured], marks: Sequence[PointMark], tokens: Sequence[Token]) -> None:
    """Give each figure its point. What was said of one figure is not given to another unasked."""
    if not figures:
        return
    speed_for_all = False
    for axis in AXES:
        own = _joined([m for m in marks if m.axis == axis], tokens, figures)
        if own:
            shared = _give(figures, own, axis, tokens, speed_for_all)
            speed_for_all = speed_for_all or (axis == "speed" and shared)


def _joined(
    marks: Sequence[PointMark], tokens: Sequence[Token], figures: Sequence[Figured]
) -> list[PointMark]:
    """Join what is said twice of one point: "idle 700 rpm", "idle, fan on, 655 rpm"."""
    found: list[PointMark] = []
    for mark in sorted(marks, key=lambda m: m.first):
        last = found[-1] if found else None
        between = [] if last is None else [t.text for t in tokens[last.end : mark.first]]
        near = last is not None and set(between) <= {"at", "@", "(", "is", "of", "about", "engine"}
        heading = last is not None and figures[0].first >= mark.end
        near = near or heading
        if last is not None and near and _agree(last.fields, mark.fields):
            fields = {**last.fields, **mark.fields}
            ask = last.ask if "rpm" not in fields else mark.ask
            said = f"{last.said} {mark.said}"
            found[-1] = PointMark(mark.axis, fields, last.first, mark.end, said, ask)
        else:
            found.append(mark)
    return found


def _agree(one: dict[str, Any], two: dict[str, Any]) -> bool:
    both = {**one, **two}
    if any(one.get(k, v) != v for k, v in two.items()):
        return False
    rpm, engine = both.get("rpm"), both.get("engine")
    if rpm is None or engine is None:
        return True
    limits = {"idle": (400, 1000), "cranking": (40, 400), "running": (400, 4000)}
    low, high = limits.get(engine, (0, 0))
    return bool(low <= rpm <= high)


def _give(
    figures: Sequence[Figured],
    marks: Sequence[PointMark],
    axis: str,
    tokens: Sequence[Token],
    speed_for_all: bool,
) -> bool:
    """Give the points of one axis; return whether one point was given to all figures."""
    if len(figures) == 1:
        fields = [m.fields for m in marks]
        if all(_agree(fields[0], f) for f in fields[1:]):
            for mark in marks:
                _put(figures[0], mark)
        else:
            figures[0].needs.append(say.ask_which_point())
        return False
    if len(marks) == 1:
        return _one_for_several(figures, marks[0], axis, tokens, speed_for_all)
    if len(marks) == len(figures):
        for figure, mark in zip(figures, marks, strict=True):
            _put(figure, mark)
        return False
    if len(marks) > len(figures):
        for figure in figures:
            figure.needs.append(say.ask_which_point())
        return False
    leading = marks[0].first < figures[0].first
    for number, figure in enumerate(figures):
        if leading:
            before = [m for m in marks if m.first < figure.first]
            mark = before[-1]
        else:
            after = [m for m in marks if m.first >= figure.end]
            if not after:
                figure.also.append(say.ask_rpm())
                continue
            mark = after[0]
        if number and figures[number - 1].noun == figure.noun and axis == "speed":
            previous = figures[number - 1].point
            if all(previous.get(k) == v for k, v in mark.fields.items()):
                figure.also.append(say.ask_rpm())  # two values of one quantity at one point
                continue
        _put(figure, mark)
        figure.needs.append(say.ask_which_point())
    return False


def _one_for_several(
    figures: Sequence[Figured],
    mark: PointMark,
    axis: str,
    tokens: Sequence[Token],
    speed_for_all: bool,
) -> bool:
    same_noun = len({f.noun for f in figures}) == 1
    last, first = figures[-1], figures[0]
    if mark.first >= last.end:
        between = {t.text for t in tokens[last.end : mark.first]}
        alone = bool(between & {",", ";", "."})
        gap = {t.text for t in tokens[figures[-2].end : last.first]}
        if not alone and gap & {",", ";", "."} and not between & {"all", "both"}:
            _put(last, mark)  # "52 psi cold, 21 psi hot idle": idle is the second's
            for figure in figures[:-1]:
                figure.also.append(say.ask_same_point(figure.text, mark.said))
            return False
        apart = bool(between & {",", ";", "all", "both"}) or axis == "speed"
        if speed_for_all or "all" in between or "both" in between or (axis == "speed" and apart):
            for figure in figures:
                _put(figure, mark)
                if not same_noun and not between & {"all", "both"}:
                    figure.needs.append(say.ask_same_point(figure.text, mark.said))
            return axis == "speed"
        _put(last, mark)
        for figure in figures[:-1]:
            figure.also.append(say.ask_same_point(figure.text, mark.said))
        return False
    if mark.end <= first.first:
        heading = mark.first == 0 or not same_noun
        if heading and not (axis == "speed" and same_noun):
            for figure in figures:
                _put(figure, mark)
            return axis == "speed"
        _put(first, mark)
        for figure in figures[1:]:
            figure.also.append(say.ask_same_point(figure.text, mark.said))
        return False
    before = [f for f in figures if f.end <= mark.first]
    after = [f for f in figures if f.first >= mark.end]
    parted = {t.text for t in tokens[before[-1].end : mark.first]} & {",", ";", "and", ".", "but"}
    if mark.fields.get("engine") == "cranking" and not same_noun and not parted:
        for figure in (*before, *after):
            _put(figure, mark)
        return False
    target = after[0] if parted and after else before[-1]
    _put(target, mark)
    for figure in figures:
        if figure is not target:
            figure.also.append(
                say.ask_same_point(figure.text, mark.said) if axis != "speed" else say.ask_rpm()
            )
    return False


def _put(figure: Figured, mark: PointMark) -> None:
    figure.point.update(mark.fields)
    if mark.ask and mark.ask not in figure.also:
        figure.also.append(mark.ask)
