"""Figures and what they are of: readings with their points, ranges, swings and doubts."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.figures.figure_marks import (
    CARRIED,
    FigureMark,
    NounMark,
    figure_marks,
    marks_said,
    noun_marks,
    said_at,
    text_at,
    units_said,
)
from witnessmark.workflow.saying.figures.places_said import compared, placed, where_said
from witnessmark.workflow.saying.figures.points_said import (
    Figured,
    PointMark,
    point_marks,
    spread,
)
from witnessmark.workflow.saying.figures.roles import (
    denied,
    has_alternatives,
    is_speed,
    place_of,
    speed_mark,
    turned_bound,
)
from witnessmark.workflow.saying.figures.values import quantity_and_value, shown
from witnessmark.workflow.saying.figures.whose import owners_of, stray_units, usual_noun, wheel_noun
from witnessmark.workflow.saying.hearing.moods import NAMED, Clause, clause_at
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["readings_of"]


def readings_of(
    tokens: Sequence[Token],
    taken: set[int],
    clauses: Sequence[Clause],
    worked: bool,
    usual: Sequence[str] = (),
) -> Part:
    """Read the figures of a line.

    Args:
        tokens: the line.
        taken: tokens that codes, work and the like have taken.
        clauses: its clauses with their moods.
        worked: whether the line also says what was done, so that "before" and "now" are of work.
        usual: quantities that this case is measured by, the likeliest first; asked back where the
            line names none.
    """
    part = Part()
    nouns = [n for n in noun_marks(tokens) if not set(range(n.first, n.end)) & taken]
    figures = figure_marks(tokens, taken)
    for figure in figures:
        kind, symbol = CARRIED.get(figure.symbol, ("", ""))
        if kind and any(kind in n.row for n in nouns):
            figure.symbol = symbol  # seconds, parts: a reading only where something is read in them
    figures = [f for f in figures if not f.symbol.startswith("!")]
    by_cylinder = any(n.row.get("by_cylinder") for n in nouns)
    figures = [
        f for f in figures if by_cylinder or text_at(tokens, f.first - 1) not in NAMED or f.symbol
    ]
    for figure in figures:
        if figure.symbol == "psi" and said_at(tokens, figure.first) and figure.values[0] >= 500:
            figure.symbol, figure.used = "", {figure.first}  # "40 at 1500 psi": psi is of the 40
    owned = {place for f in figures for place in f.used}
    nouns = [n for n in nouns if not set(range(n.first, n.end)) & owned]
    marks = [m for m in point_marks(tokens) if m.first not in taken]
    beside_dash = _held_together(tokens)
    values: list[FigureMark] = []
    places: dict[int, str] = {}
    for figure in figures:
        clause = clause_at(clauses, figure.first)
        if not turned_bound(tokens, figure, clause) and denied(tokens, figure, clause):
            part.asks.append(say.ask_figure(shown(figure, figure.symbol)))
        elif _past(tokens, clause):
            continue  # "was 22 yesterday, today 14": what was then is kept in words
        elif clause.moods & {"plan", "other", "book"} and not (
            beside_dash and clause.moods == {"other"}  # "mech 52 vs dash 21"
        ):
            part.asks += [say.ask_who_measured()] if "book" in clause.moods else []
        elif "hearsay" in clause.moods and not _READ_OFF & {t.text for t in tokens}:
            part.asks.append(say.ask_hearsay())  # a figure told, and nobody knows read off what
        elif figure.symbol == "%" and text_at(tokens, figure.end) == "load":
            marks.append(_load_mark(figure))
        elif is_speed(tokens, figure, nouns, len(figures) == 1):
            marks.append(speed_mark(figure, tokens))
        elif (where := place_of(tokens, figure, nouns)) is not None:
            places[where[0]] = where[1]
        else:
            values.append(figure)
    if beside_dash and len(values) > 1:
        return compared(tokens, values, nouns, marks, part)
    if has_alternatives(tokens, values):
        part.asks.append(say.ask_one_of([f.texts[0] for f in values[:2]]))
        return part
    marks = _of_figures(tokens, marks, values, clauses)
    _read(tokens, values, nouns, marks, clauses, part, worked, places, usual)
    return part


def _held_together(tokens: Sequence[Token]) -> bool:
    """Tell whether a gauge and the dash are said in one line."""
    said = {t.text for t in tokens}
    return bool(said & {"dash", "cluster"}) and bool(said & {"gauge", "mechanical", "mech"})


def _past(tokens: Sequence[Token], clause: Clause) -> bool:
    """Tell whether a clause speaks of another day: "it was 22 psi yesterday"."""
    words = {t.text for t in tokens[clause.first : clause.end]}
    return bool(words & {"was", "were", "had"}) and bool(words & {"yesterday", "last", "ago"})


def _load_mark(figure: FigureMark) -> PointMark:
    share = figure.values[0]
    load = "none" if share == 0 else ("full" if share == 100 else f"{figure.texts[0]} %")
    return PointMark("load", {"load": load}, figure.first, figure.end + 1, f"load {load}")


#: What a figure that somebody tells was read off.
_READ_OFF = frozenset({"dash", "gauge", "cluster", "needle", "screen"})
#: Behind these "hot" or "idle" tells no point: "ran hot", "not warm".
_NO_POINT_AFTER = frozenset({"ran", "runs", "run", "gets", "got", "too", "not", "no", "rough"})


def _of_figures(
    tokens: Sequence[Token],
    marks: Sequence[PointMark],
    values: Sequence[FigureMark],
    clauses: Sequence[Clause],
) -> list[PointMark]:
    """Leave out points that stand in a clause about something else: "rough at idle, ..."."""
    fillers = set(table("speech")["fillers"]["words"])
    said = {p for m in marks for p in range(m.first, m.end)}
    found = []
    for mark in marks:
        clause = clause_at(clauses, mark.first)
        inside = range(clause.first, clause.end)
        measured = any(f.first in inside for f in values)
        bare = all(p in said or tokens[p].text in fillers for p in inside)
        ran = text_at(tokens, mark.first - 1) in _NO_POINT_AFTER
        if (measured or bare) and not ran:
            found.append(mark)
    return found


def _read(
    tokens: Sequence[Token],
    values: list[FigureMark],
    nouns: list[NounMark],
    marks: list[PointMark],
    clauses: Sequence[Clause],
    part: Part,
    worked: bool,
    places: Mapping[int, str],
    usual: Sequence[str],
) -> None:
    timed = {p for n in nouns if "time" in n.row for p in range(n.first, n.end)}
    if any(f.kind == "time" for f in values):  # "eleven seconds of cranking" says no point
        marks = [m for m in marks if m.first not in timed]
    stray = stray_units(tokens, values)
    owners = owners_of(tokens, values, nouns, stray)
    if not nouns and values:
        stand_in = usual_noun(values, usual) or wheel_noun(
            values, all(placed(tokens, f, values) for f in values)
        )
        owners = {f.first: stand_in for f in values} if stand_in is not None else owners
    drafts: list[tuple[FigureMark, NounMark, Figured, str, str]] = []
    held = False
    for figure in values:
        noun = owners.get(figure.first)
        if figure.change:
            part.asks.append(say.ask_change(shown(figure, figure.symbol)))
            held = True
            continue
        if noun is None:
            part.asks.append(say.ask_quantity(shown(figure, figure.symbol)))
            if figure.kind == "volume":
                part.asks.append(say.ask_level())
            if {"before", "after"} <= {t.text for t in tokens}:
                part.asks.append(say.ask_before_after())
            if not figure.symbol:
                part.asks.append(say.ask_unit(shown(figure, ""), "psi"))
            held = True
            continue
        if noun.row.get("none"):
            part.asks.append(str(noun.row["ask"]))
            held = True
            continue
        if noun.row.get("each_where") and not placed(
            tokens, figure, [v for v in values if owners.get(v.first) is noun]
        ):
            part.asks.append(str(noun.row["each_where"]))
            held = True
            continue
        draft = quantity_and_value(tokens, figure, noun, values, stray, owners, part)
        if draft is None:
            held = True
            continue
        drafts.append((figure, noun, *draft))
    figured = [d[2] for d in drafts]
    for noun_mark in nouns:
        speed = noun_mark.row.get("speed_at")
        if speed and not any(m.first == noun_mark.first for m in marks):
            marks.append(
                PointMark("speed", {"engine": speed}, noun_mark.first, noun_mark.end, speed)
            )
    for figure, noun, spoken, quantity, _ in drafts:
        if noun.row.get("speed_at"):
            spoken.point["engine"] = noun.row["speed_at"]
        elif quantity == "engine_speed" and figure.values[-1] < noun.row.get(
            "below_is_cranking", 0
        ):
            spoken.point["engine"] = "cranking"
    # a cranking speed is its own point; the other marks are spread over the others
    spread(
        [f for f, d in zip(figured, drafts, strict=True) if "engine" not in f.point]
        if any(m.axis == "speed" and m.fields.get("engine") != "cranking" for m in marks)
        else figured,
        [m for m in marks if m.axis == "speed"],
        tokens,
    )
    _spread_rest(figured, marks, tokens)
    if figured or not values:
        for mark in marks:
            part.used |= set(range(mark.first, mark.end)) if figured else set()
    for one, two in itertools.combinations(figured, 2):
        if one.noun == two.noun and one.point == two.point and one.point.get("rpm"):
            for figured_one in (one, two):  # two values of one quantity at one point
                figured_one.needs.append(say.ask_which_point())
    unclear_order = _before_and_after(tokens, clauses, drafts, nouns, worked)
    if unclear_order == "hold":
        part.asks.append(say.ask_before_after())
        part.used.clear()
        return
    for number, (figure, noun, spoken, quantity, text) in enumerate(drafts):
        clause = clause_at(clauses, figure.first)
        part.cards.append(
            _card(tokens, figure, noun, spoken, quantity, text, clause, held, part, places)
        )
        if worked and unclear_order == "work" and number:
            part.cards[-1] = _later(part.cards[-1])


def _spread_rest(figured: list[Figured], marks: list[PointMark], tokens: Sequence[Token]) -> None:
    speeds = [m for m in marks if m.axis == "speed"]
    shared = [f for f in figured if speeds and f.point and len(speeds) == 1]
    rest = [m for m in marks if m.axis != "speed"]
    if len(figured) > 1 and len(shared) == len(figured) and len(speeds) == 1:
        # one speed for all: a load or heat said with it, at the end, is for all as well
        last = figured[-1].end
        trailing = [m for m in rest if m.first >= last]
        for axis in ("load", "warm"):
            own = [m for m in trailing if m.axis == axis]
            if len(own) == 1 and sum(m.axis == axis for m in rest) == 1:
                for figure in figured:
                    figure.point.update(own[0].fields)
                rest = [m for m in rest if m.axis != axis]
    spread(figured, rest, tokens)


def _later(card: Card) -> Card:
    return Card(
        card.kind, card.data, card.said, card.needs, card.also, (*card.marks, "after"), card.sure
    )


def _before_and_after(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    drafts: Sequence[tuple[FigureMark, NounMark, Figured, str, str]],
    nouns: Sequence[NounMark],
    worked: bool,
) -> str:
    """Tell what before and now speak of: ``hold``, ``work`` or nothing."""
    in_noun = {p for n in nouns for p in range(n.first, n.end)}
    in_noun |= {p for c in clauses if _past(tokens, c) for p in range(c.first, c.end)}
    words = {
        name: [
            p for p in range(len(tokens))
            if p not in in_noun and longest(tokens, p, marks_said(name)) and not _spell(tokens, p)
        ]
        for name in ("before", "after")
    }  # fmt: skip
    same = len({d[3] for d in drafts}) < len(drafts)
    if not words["before"] and not words["after"]:
        return ""
    if not same:
        return "hold" if words["before"] and words["after"] and len(drafts) > 1 else ""
    if worked and words["before"]:
        return "work"
    if words["before"] and words["after"] and {"new", "old"} & {t.text for t in tokens}:
        for draft in drafts:  # "before the new filter 51, after it 79": which work is asked
            draft[2].needs.append(say.ask_before_after())
        return ""
    return "hold"


def _spell(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether "after" speaks of a distance or time: "after 9 miles"."""
    figure = tokens[at + 1] if at + 1 < len(tokens) else None
    hit = longest(tokens, at + 2, units_said()) if figure and at + 2 < len(tokens) else None
    return (
        figure is not None
        and figure.number is not None
        and bool(hit and str(hit[1]).startswith("!"))
    )


def _card(
    tokens: Sequence[Token],
    figure: FigureMark,
    noun: NounMark,
    spoken: Figured,
    quantity: str,
    text: str,
    clause: Clause,
    held: bool,
    part: Part,
    places: Mapping[int, str],
) -> Card:
    data: dict[str, Any] = {"quantity": quantity, "value": text}
    if figure.kind == "temperature" and spoken.point.get("warm"):
        del spoken.point["warm"]  # "coolant hot 225 F" says how hot, not how it stood
    if noun.row.get("own_heat"):
        spoken.point.pop("warm", None)  # a tyre's "cold" is not the engine's
    if noun.quantity("time") == quantity:
        spoken.point.pop("engine", None)  # a time of cranking is its own point
    if spoken.point:
        data["point"] = dict(spoken.point)
    needs, also, marks = list(spoken.needs), list(spoken.also), []
    if figure.turned:
        needs.append(say.ask_bound(shown(figure, figure.symbol), figure.how == "below"))
    beside = text_at(tokens, noun.first - 1)
    if beside in table("figures")["beside"]["words"]:
        needs.append(say.ask_is_it(f"{beside} {noun.said}"))
    if clause.moods & {"hearsay", "guess"}:
        needs.append(say.ask_hearsay() if "hearsay" in clause.moods else say.ask_guess())
        marks.append("somebody's word" if "hearsay" in clause.moods else "a guess")
    where = where_said(tokens, figure, clause, places, noun)
    if where:
        data["where"] = where
    elif noun.row.get("needs_where"):
        needs.append(str(noun.row["needs_where"]))
    pointless = not needs and set(spoken.point) <= {"warm", "load"}
    if pointless and not noun.row.get("no_speed"):
        also.append(say.ask_rpm())
    if noun.row.get("load_also") and "load" not in spoken.point:
        also.append(str(noun.row["load_also"]))
    words = {t.text for t in tokens}
    if words & set(noun.row.get("signed", ())) and not figure.negative:
        needs.append(str(noun.row["signed_ask"]))
    if words & {"dash", "cluster"}:
        data["instrument"] = "dash"
        needs.append(say.ask_on_dash())
    part.used |= figure.used | set(range(noun.first, noun.end))
    if data.get("where"):
        known = table("work")["places"]
        words = {w for said in known for w in said.split()} - {"front", "rear"}
        part.used |= {p for p in range(clause.first, clause.end) if tokens[p].text in words}
        part.used |= {
            p for p in range(clause.first + 1, clause.end)
            if f"{tokens[p - 1].text} {tokens[p].text}" in known
        }  # fmt: skip
    if held:
        needs.append(say.ask_which_point())
    low, high = tokens[min(noun.first, figure.first)], tokens[max(noun.end, figure.end) - 1]
    said = f"{low.start}:{high.end}"
    return Card("reading", data, said, tuple(dict.fromkeys(needs)), tuple(dict.fromkeys(also)),
                tuple(marks))  # fmt: skip
