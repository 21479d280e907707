"""Whose a figure is: the noun before it, or behind it where the line is said so."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.units import QUANTITIES, unit
from witnessmark.words.say import line as say
from witnessmark.workflow.saying.figures.figure_marks import (
    KINDS,
    OTHER_KIND,
    FigureMark,
    NounMark,
    units_said,
)
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["fits_symbol", "owners_of", "stray_units", "usual_noun", "wheel_noun"]


def owners_of(
    tokens: Sequence[Token],
    values: Sequence[FigureMark],
    nouns: Sequence[NounMark],
    stray: Sequence[str],
) -> dict[int, NounMark]:
    """Find whose each figure is: the noun before it, or after it where the line is said so."""
    found: dict[int, NounMark] = {}
    if not nouns or not values:
        return found
    postfix = values[0].end <= nouns[0].first
    over = [n for n in nouns if "overrides" in n.row]
    for number, figure in enumerate(values):
        kind = figure.kind or _kind_of(stray)
        following_end = values[number + 1].first if number + 1 < len(values) else len(tokens)
        previous_end = values[number - 1].end if number else 0
        before = [n for n in nouns if n.first < figure.first and n.end <= figure.first]
        near_before = [n for n in before if n.first >= previous_end]
        after = [n for n in nouns if figure.end <= n.first < following_end]
        order = [after, near_before, before] if postfix else [near_before, before, after]
        after_told = [n for n in after if kind or n.row.get("strong", True)]
        dangling = (after_told and number + 1 == len(values)) or _parted(
            tokens, after_told, following_end
        )
        if not postfix and not near_before and dangling:
            order = [after_told, before]  # "coolant 195, 183 housing"
        for group in order:
            fitting = [n for n in group if fits(n, kind)]
            if fitting:
                told = [n for n in fitting if kind or n.row.get("bare")] or fitting
                found[figure.first] = _plainer(told[0] if group is after else told[-1], nouns, kind)
                break
        else:
            later = [n for n in nouns if n.first >= figure.end and fits(n, kind)]
            if postfix and later:
                found[figure.first] = later[0]
        held = found.get(figure.first)
        if over and held is not None and held.quantity(kind) == over[0].row["overrides"]:
            found[figure.first] = over[0]  # "return throttled, gallery comes up to 96 psi"
    return found


def _plainer(noun: NounMark, nouns: Sequence[NounMark], kind: str) -> NounMark:
    """Take the noun that says the same without a doubt: "fuel pressure 66 psi at the gallery"."""
    if not noun.row.get("needs") or not kind:
        return noun
    same = [n for n in nouns if n.quantity(kind) == noun.quantity(kind) and not n.row.get("needs")]
    return same[0] if same else noun


def fits(noun: NounMark, kind: str) -> bool:
    if noun.row.get("none"):
        return True
    if not kind:
        return any(k in noun.row for k in KINDS)
    if kind == "pressure" and "length" in noun.row:
        return True  # inches of length
    if kind == "temperature" and "angle" in noun.row:
        return True  # degrees of angle
    if kind == "volume":
        return "flow" in noun.row
    return kind in noun.row or (kind == "pressure" and "pressure_not" in noun.row)


def _parted(tokens: Sequence[Token], nouns: Sequence[NounMark], until: int) -> bool:
    """Tell whether a comma stands between these nouns and the next figure."""
    last = nouns[-1].end if nouns else until
    return any(t.text in {",", ";", "."} for t in tokens[last:until])


def _kind_of(stray: Sequence[str]) -> str:
    for symbol in stray:
        return OTHER_KIND.get(symbol) or unit(symbol).kind
    return ""


def fits_symbol(noun: NounMark, symbol: str) -> bool:
    """Tell whether a noun may be read in a unit."""
    return (OTHER_KIND.get(symbol) or unit(symbol).kind) in noun.row


def stray_units(tokens: Sequence[Token], values: Sequence[FigureMark]) -> list[str]:
    """Return units that stand apart from a figure: "fuel psi idle 66", "all psi"."""
    owned = {place for figure in values for place in figure.used}
    found = []
    for place, token in enumerate(tokens):
        apart = place > 0 and tokens[place - 1].text in {",", "all", "in", "("}
        ends = apart and token.text in {"inches", "inh2o", "volts", "f", "percent", "degrees"}
        if place not in owned and (token.text in {"psi", "kpa", "bar", "lbs", "inhg"} or ends):
            hit = longest(tokens, place, units_said())
            found += [str(hit[1])] if hit else []
    return found


#: What is read at a wheel in a unit: always asked back [kind of unit -> quantity].
_AT_A_WHEEL = {"pressure": "tyre_pressure", "temperature": "hub_temperature"}


def wheel_noun(values: Sequence[FigureMark], placed: bool) -> NounMark | None:
    """Stand in for a noun where each figure has a wheel of its own: "LF 108 psi RF 96 psi"."""
    kinds = {f.kind for f in values if f.kind}
    quantity = _AT_A_WHEEL.get(next(iter(kinds))) if len(kinds) == 1 else None
    if quantity is None or not placed or len(values) < 2:
        return None
    ask = say.ask_is_it(quantity.replace("_", " "))
    row = {next(iter(kinds)): quantity, "needs": [ask], "no_speed": True}
    return NounMark(row, values[0].first, values[0].first, "")


def usual_noun(values: Sequence[FigureMark], usual: Sequence[str]) -> NounMark | None:
    """Stand in for a noun that was not said: what this case is measured by, always asked back."""
    kinds = {f.kind for f in values if f.kind}
    for quantity in usual:
        row = QUANTITIES.get(quantity)
        if row is not None and kinds == {row.kind}:
            ask = say.ask_is_it(quantity.replace("_", " "))
            return NounMark({row.kind: quantity, "needs": [ask]}, values[0].first, values[0].first,
                            "")  # fmt: skip
    return None
