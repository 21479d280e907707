"""Figures and nouns of a line with their places: units, ranges, swings, bounds, doubts."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from witnessmark.units import QUANTITIES, unit
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["CARRIED", "KINDS", "OTHER_KIND", "FigureMark", "NounMark", "figure_marks", "marks_said",
           "noun_marks", "said_at", "text_at", "units_said"]  # fmt: skip

#: Kinds of unit that a row of nouns may name a quantity for.
KINDS = ("pressure", "temperature", "flow", "voltage", "speed_of_rotation", "ratio", "length",
         "angle", "resistance", "current", "time", "fraction", "number", "mass_flow", "speed",
         "volume", "economy", "conductance", "mass")  # fmt: skip
#: What a figure may carry without being a reading -> the kind and unit it is where its noun asks.
CARRIED = {"!seconds": ("time", "s"), "!minutes": ("time", "min"), "!hours": ("time", "h"),
           "!parts": ("fraction", "ppm"), "!road speed": ("speed", "mph")}  # fmt: skip
#: Quantities that are never said by their own name: the line has other words for them, or none.
_NOT_SAID = frozenset(("distance", "torque", "vibration", "road_speed", "engine_speed", "trip_fuel",
                       "engine_hours", "total_distance", "total_distance_fine", "current_gear",
                       "selected_gear", "engine_revolutions", "trip_distance",
                       "exhaust_temperature_before", "exhaust_temperature_between",
                       "exhaust_temperature_behind"))  # fmt: skip
#: Words for units that are no units of the table -> what they measure.
OTHER_KIND = {"lbs": "pressure", "inches": "pressure", "degrees": "temperature"}


#: What may follow "in" where it is an inch.
_AFTER_INCH = frozenset(("", ",", ";", ".", "at", "@", "idle", "no", "full", "hot", "cold", "on"))
#: Words between a figure and the next unit that belong to what follows.
_BESIDE = frozenset(
    ("at", "to", "and", "or", "on", "in", "is", "with", "for", "of", "idle", "hot", "cold", "the",
     "a", "was", "then", "but", "cranking", "fuel", "oil", "gallery", "boost", "all")
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NounMark:
    """What a figure may be of, as said: a row of the table of nouns and its place."""

    row: Mapping[str, Any]
    first: int
    end: int
    said: str

    def quantity(self, kind: str) -> str:
        """Return the quantity it names with a unit of this kind, empty where it names none."""
        return str(self.row.get(kind, ""))


@dataclass(slots=True)
class FigureMark:
    """A figure with what was said about it.

    Attributes:
        values: one value, or two of a range or swing.
        first: its first token.
        end: one past its last, the unit included.
        symbol: its unit as the table writes it; empty where none was said.
        how: ``""``, about, below, above, swings or range.
        doubt: it may have been heard wrongly.
        turned: a "no" turned its bound round: "will not go over 40".
        used: tokens that belong to it.
    """

    values: tuple[float, ...]
    texts: tuple[str, ...]
    first: int
    end: int
    symbol: str = ""
    how: str = ""
    doubt: bool = False
    negative: bool = False
    change: bool = False
    turned: bool = False
    used: set[int] = field(default_factory=set)

    @property
    def kind(self) -> str:
        """The kind of its unit."""
        if not self.symbol or self.symbol.startswith("!"):
            return ""
        if self.symbol in OTHER_KIND:
            return OTHER_KIND[self.symbol]
        if self.symbol in {"thou"}:
            return "length"
        if self.symbol in {"quart", "liter", "gallon"}:
            return "volume"
        return unit(self.symbol).kind


@cache
def _nouns() -> Phrases:
    rows = [(said, row) for row in table("figures")["noun"] for said in row["say"]]
    return phrases([*rows, *_by_their_names({said for said, _ in rows})])


def _by_their_names(known: set[str]) -> list[tuple[str, dict[str, Any]]]:
    """Return a row for every quantity by its own name, whole and as the trade shortens it."""
    found: list[tuple[str, dict[str, Any]]] = []
    bare: dict[str, dict[str, Any]] = {}
    for quantity in QUANTITIES.values():
        if quantity.kind not in KINDS or quantity.name in _NOT_SAID:
            continue
        row = {quantity.kind: quantity.name}
        if quantity.kind in {"ratio", "number"}:
            row["bare"] = "%" if quantity.kind == "ratio" else "-"
        turns = quantity.kind == "speed_of_rotation"
        whole = quantity.name.replace("_", " ").replace("temperature", "temp")
        names = {whole}
        for said, short in table("figures")["short"].items():
            names |= {re.sub(rf"\b{said}\b", short, name) for name in names}
        for name in names:  # "charge air cooler outlet 155 F": the unit says which of its kinds
            head, _, last = name.rpartition(" ")
            if last in {"temp", "pressure"} and " " in head and head not in known:
                several = bare.setdefault(head, {})
                several[quantity.kind] = "" if quantity.kind in several else quantity.name
        found += [
            (name, {**row, "is_reading": True} if turns else dict(row))
            for name in sorted(names) if name not in known
        ]  # fmt: skip
    taken = known | {name for name, _ in found}
    found += [
        (head, {k: v for k, v in row.items() if v})
        for head, row in bare.items()
        if head not in taken and all(row.values())
    ]
    return found


@cache
def units_said() -> Phrases:
    """Return the units as they are said."""
    return phrases(list(table("figures")["units"].items()))


@cache
def marks_said(name: str) -> Phrases:
    """Return words that say how a figure is meant: about, below, swings, before."""
    return phrases([(said, True) for said in table("figures")["marks"][name]])


def noun_marks(tokens: Sequence[Token]) -> list[NounMark]:
    """Return everything in the line that a figure may be of, the longest names first."""
    found: list[NounMark] = []
    at = 0
    while at < len(tokens):
        hit = longest(tokens, at, _nouns())
        if hit is None:
            at += 1
            continue
        count, row = hit
        assert isinstance(row, dict)  # noqa: S101
        follows = tokens[at + count] if at + count < len(tokens) else None
        figure_next = follows is not None and follows.number is not None
        if row.get("before_figure") and (
            not figure_next or (at and tokens[at - 1].number is not None)
        ):
            word = tokens[at].text
            others = (r for w, r in _nouns()[word] if w == (word,) and "before_figure" not in r)
            row = next(others, None)
        if row is not None and "with" in row:  # of those said alike the one that fits the line
            words = tuple(t.text for t in tokens[at : at + count])
            line = {t.text for t in tokens}
            row = next((r for w, r in _nouns()[words[0]] if w == words
                        and set(r.get("with", line)) & line), None)  # fmt: skip
        if row is not None:
            said = " ".join(t.text for t in tokens[at : at + count])
            found.append(NounMark(row, at, at + count, said))
        at += count
    return found


def figure_marks(tokens: Sequence[Token], taken: set[int]) -> list[FigureMark]:
    """Return every figure that nothing else has taken, with unit, range and doubt."""
    found: list[FigureMark] = []
    at = 0
    while at < len(tokens):
        if tokens[at].number is None or at in taken:
            at += 1
            continue
        mark = _figure(tokens, at)
        last = found[-1] if found else None
        if (
            last is not None
            and last.change
            and text_at(tokens, last.end) == "to"
            and (mark.first == last.end + 1)
        ):
            mark.change = True  # "fell from 52 to 37": neither is taken before it is asked
        found.append(mark)
        at = max(mark.end, at + 1)
    return found


def _figure(tokens: Sequence[Token], at: int) -> FigureMark:
    first = tokens[at]
    assert first.number is not None  # noqa: S101
    mark = FigureMark((first.number,), (first.text,), at, at + 1, doubt=first.doubt)
    mark.used.add(at)
    unheard = text_at(tokens, at + 1)
    if unheard.isalpha() and longest(tokens, at + 1, units_said()) is None:
        mark.doubt = mark.doubt or (
            longest(tokens, at + 2, units_said()) is not None and unheard not in _BESIDE
        )
    if at and tokens[at - 1].text == "-" and (at == 1 or tokens[at - 2].number is None):
        mark.negative = tokens[at - 1].end == first.start
    if text_at(tokens, at - 1) in {"minus", "negative", "menos"}:
        mark.negative = True
        mark.used.add(at - 1)
    _take_unit(tokens, mark)
    joined = text_at(tokens, mark.end)
    more = 1 if (joined, text_at(tokens, mark.end + 1)) == ("up", "to") else 0
    joined = "to" if more else joined
    after = mark.end + 1 + more
    second = tokens[after] if after < len(tokens) else None
    spans = joined in {"to", "-", "through", "thru", "a"} or (
        joined in {"and"} and text_at(tokens, at - 1) == "between"
    )
    follows = tokens[after].number if after < len(tokens) else None
    if joined == "or" and follows is not None and follows <= 1.05 * first.number:
        spans = True  # "12.2 or 12.3": between the two; "15 or 50" is one of them
    if spans and second is not None and second.number is not None and not mark.negative:
        upper = FigureMark((second.number,), (second.text,), after, after + 1)
        upper.used.add(after)
        _take_unit(tokens, upper)
        same = not mark.symbol or not upper.symbol or mark.symbol == upper.symbol
        speed_next = second.number >= 500 and first.number < 300
        if (
            second.number > first.number
            and same
            and not speed_next
            and upper.symbol != "rpm"
            and not said_at(tokens, at)
        ):
            mark.values, mark.texts = (first.number, second.number), (first.text, second.text)
            mark.symbol = upper.symbol or mark.symbol
            mark.how, mark.doubt = "range", mark.doubt or second.doubt
            mark.used |= set(range(mark.end, after)) | upper.used
            mark.end = upper.end
    _take_manner(tokens, mark)
    ish = at + 2 if text_at(tokens, at + 1) == "-" else at + 1
    if text_at(tokens, ish) == "ish":
        mark.how, mark.doubt = "about", first.doubt
        mark.used |= set(range(at + 1, ish + 1))
        if not mark.symbol:
            mark.end = ish + 1
            _take_unit(tokens, mark)
    part_of_number = (
        at > 1
        and tokens[at - 1].text == "-"
        and tokens[at - 2].number is not None
        and tokens[at - 2].end == tokens[at - 1].start
    )
    if not mark.symbol and (part_of_number or longest(tokens, mark.end, marks_said("names"))):
        mark.symbol = "!name"
    return mark


def _take_unit(tokens: Sequence[Token], mark: FigureMark) -> None:
    if mark.end >= len(tokens):
        return
    hit = longest(tokens, mark.end, units_said())
    if hit is None and tokens[mark.end].text == "°" and mark.end + 1 < len(tokens):
        hit = longest(tokens, mark.end + 1, units_said())
        hit = (hit[0] + 1, hit[1]) if hit else None
    if hit is None:
        return
    count, symbol = hit
    word, after = tokens[mark.end].text, text_at(tokens, mark.end + count)
    if word == "in" and count == 1 and after not in _AFTER_INCH:
        return  # "2 in the tank" is no inch
    if word == "x":
        return
    mark.symbol = str(symbol)
    mark.used |= set(range(mark.end, mark.end + count))
    mark.end += count
    if mark.symbol == "inches" and text_at(tokens, mark.end) in {"vacuum", "vac"}:
        mark.used.add(mark.end)


def _take_manner(tokens: Sequence[Token], mark: FigureMark) -> None:
    near = []
    for place in range(mark.first - 1, max(-1, mark.first - 5), -1):
        if tokens[place].number is not None or tokens[place].text in {",", ";"}:
            break
        near.append(place)
    for place in reversed(near):  # the longest first: "no more than" before "more than"
        for how in ("about", "below", "above", "swings"):
            hit = longest(tokens, place, marks_said(how))
            if hit is None or place + hit[0] > mark.first:
                continue
            between = {t.text for t in tokens[place + hit[0] : mark.first]}
            if between - {"from", "between", "at", "to", "psi", "is", "like"}:
                continue
            if set(range(place, place + hit[0])) & mark.used:
                continue
            if how == "swings" and len(mark.values) == 1:
                mark.change = mark.change or not between
                continue
            if mark.how in {"", "range"} and not (
                mark.how == "range" and how in {"below", "above"}
            ):
                mark.how = how if mark.how == "" or how == "swings" else mark.how
                mark.used |= set(range(place, place + hit[0]))
        hit = longest(tokens, place, marks_said("change"))
        if hit is not None and place + hit[0] == mark.first and len(mark.values) == 1:
            mark.change = True
    if mark.how == "range" and text_at(tokens, mark.first - 1) == "from":
        mark.change = not any(
            longest(tokens, p, marks_said("swings"))
            for p in range(max(0, mark.first - 6), min(len(tokens), mark.end + 4))
        )
    if mark.how == "range":
        for place in range(max(0, mark.first - 6), min(len(tokens), mark.end + 4)):
            if longest(tokens, place, marks_said("swings")):
                mark.how = "swings"
                mark.used.add(place)


def text_at(tokens: Sequence[Token], at: int) -> str:
    """Return a token's word, empty beyond the ends."""
    return tokens[at].text if 0 <= at < len(tokens) else ""


def said_at(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether "at" stands before a token."""
    return text_at(tokens, at - 1) in {"at", "@"} or (
        text_at(tokens, at - 1) in {"about", "around"} and text_at(tokens, at - 2) in {"at", "@"}
    )
