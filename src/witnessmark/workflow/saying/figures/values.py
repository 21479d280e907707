"""The value of a figure: its unit, whether it can be, and what is asked of it first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from witnessmark.errors import UnitRefused
from witnessmark.units import parse_quantity, unit
from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Part
from witnessmark.workflow.saying.figures.figure_marks import (
    KINDS,
    FigureMark,
    NounMark,
    marks_said,
    text_at,
)
from witnessmark.workflow.saying.figures.points_said import Figured
from witnessmark.workflow.saying.figures.whose import fits_symbol
from witnessmark.workflow.saying.hearing.figures_in_words import written
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["quantity_and_value", "shown"]


def quantity_and_value(
    tokens: Sequence[Token],
    figure: FigureMark,
    noun: NounMark,
    values: Sequence[FigureMark],
    stray: Sequence[str],
    owners: Mapping[int, NounMark],
    part: Part,
) -> tuple[Figured, str, str] | None:
    """Return the figure with its quantity and value; ``None`` where it must be asked first."""
    row = noun.row
    symbol = figure.symbol
    needs: list[str] = []
    also: list[str] = []
    figure_said = shown(figure, symbol)
    if not symbol:
        others = [v for v in values if v.symbol and v is not figure and v.first in owners]
        mates = [v for v in others if _same_quantity(owners[v.first], noun)]
        if mates:
            symbol = mates[0].symbol
            ratio = max(figure.values) / max(*mates[0].values, 1e-9)
            if not 0.1 <= ratio <= 10:  # hardly the same quantity in the same unit
                needs.append(say.ask_unit(figure_said, symbol))
        elif one_kind := _only_kind(noun, values, figure):
            symbol = one_kind.symbol
            ratio = max(figure.values) / max(*one_kind.values, 1e-9)
            if not 0.05 <= ratio <= 20:
                needs.append(say.ask_unit(figure_said, symbol))
        elif "temperature" in row and (warm := [v for v in values if v.kind == "temperature"]):
            symbol = warm[0].symbol
        elif any(fits_symbol(noun, s) for s in stray):
            symbol = next(s for s in stray if fits_symbol(noun, s))
    if not symbol and figure.values[-1] < row.get("bare_below", 0):
        symbol = "rpm"
    if not symbol:
        bare, strong = str(row.get("bare", "")), row.get("strong", True)
        if bare and strong:
            symbol = bare
            if not row.get("sure_bare"):
                needs.append(say.ask_unit(figure_said, bare))
        else:
            is_warm = any("temperature" in n.row for n in [noun]) and not row.get("pressure")
            part.asks.append(
                say.ask_degrees(shown(figure, "")) if is_warm else say.ask_unit(figure_said, "psi")
            )
            part.asks.append(say.ask_quantity(figure_said))
            return None
    if symbol == "lbs" and "pressure" in row:
        symbol = "psi"
    if symbol == "inches":
        if "length" in row:
            symbol = "in"
        elif "inches" in row:
            symbol = str(row["inches"])
            (also if "needs_inches" not in row else needs).extend(row.get("inches_also", ()))
        else:
            part.asks.append(say.ask_unit(figure_said, "inHg or inH2O"))
            return None
    if symbol == "degrees":
        if "angle" in row:
            symbol = "deg"
        else:  # the shop's own; Celsius is asked
            symbol = "F"
            needs.append(say.ask_degrees(shown(figure, "")))
    if symbol == "thou":
        figure.values, symbol = tuple(v / 1000 for v in figure.values), "in"
        figure.texts = tuple(written(v) for v in figure.values)
    if symbol in {"quart", "liter", "gallon"}:
        return _timed_flow(tokens, figure, noun, symbol, part)
    kind = unit(symbol).kind
    if figure.values[0] < row.get("least", -1e9):
        part.asks.append(say.ask_quantity(figure_said))
        return None
    if symbol == "bar" and row.get("bar_also"):
        also.append(str(row["bar_also"]))
    quantity = noun.quantity(kind)
    if not quantity:
        part.asks.append(str(row.get("pressure_not") or say.ask_quantity(figure_said)))
        return None
    for value in figure.values:
        signed = -value if figure.negative else value
        try:
            parse_quantity(quantity, f"{signed:.6g} {symbol}")
        except UnitRefused:
            signed = -1e9
        if (signed < 0 and kind in {"pressure", "flow", "speed_of_rotation"}) or signed == -1e9:
            part.asks.append(say.ask_possible(shown(figure, symbol)))
            return None
    text = _value_text(figure, symbol)
    spoken = Figured(figure.first, figure.end, quantity, shown(figure, symbol))
    spoken.needs += [*row.get("needs", ()), *row.get(f"{kind}_needs", ()), *needs]
    spoken.also += [*row.get("also", ()), *also]
    if figure.doubt:
        spoken.needs.append(say.ask_figure(shown(figure, symbol)))
    if figure.how == "about" and quantity:
        spoken.also += [say.ask_swings()] if _swinging(tokens) else []
    if _swinging(tokens) and figure.how not in {"swings", "range"}:
        spoken.needs.append(say.ask_swings())
    return spoken, quantity, text


def _same_quantity(one: NounMark, two: NounMark) -> bool:
    """Tell whether two nouns are said of one quantity: "wet tank 122, cuts in at 98 psi"."""
    named = [{k: n.row[k] for k in KINDS if k in n.row} for n in (one, two)]
    return one is two or (bool(named[0]) and named[0] == named[1])


def _only_kind(
    noun: NounMark, values: Sequence[FigureMark], figure: FigureMark
) -> FigureMark | None:
    """Return a figure whose unit serves this noun, too: "nox out 290, nox in 310 ppm"."""
    kinds = [k for k in KINDS if k in noun.row]
    if len(kinds) != 1 or kinds[0] not in {"fraction", "temperature", "ratio", "length", "angle"}:
        return None
    return next((v for v in values if v is not figure and v.kind == kinds[0]), None)


def _timed_flow(
    tokens: Sequence[Token], figure: FigureMark, noun: NounMark, symbol: str, part: Part
) -> tuple[Figured, str, str] | None:
    """A volume in a time: "a quart in 22 seconds"."""
    for place in range(figure.end, min(len(tokens), figure.end + 4)):
        seconds = tokens[place].number
        if seconds and text_at(tokens, place + 1) in {"sec", "secs", "seconds", "s"}:
            per_minute = figure.values[0] * 60 / seconds
            amount = per_minute / 4 if symbol == "quart" else per_minute
            to = "L/min" if symbol == "liter" else "gal/min"
            quantity = noun.quantity("flow")
            spoken = Figured(figure.first, place + 2, quantity, f"{figure.texts[0]} {symbol}")
            spoken.needs.append(
                f"Exactly {figure.texts[0]} {symbol} in {written(seconds)} seconds? "
                f"That is {amount:.3g} {to}."
            )
            figure.used |= set(range(figure.first, place + 2))
            figure.end = place + 2
            return spoken, quantity, f"{amount:.4g} {to}"
    part.asks.append(say.ask_quantity(shown(figure, symbol)))
    return None


def _swinging(tokens: Sequence[Token]) -> bool:
    return any(longest(tokens, at, marks_said("swings")) for at in range(len(tokens)))


def _value_text(figure: FigureMark, symbol: str) -> str:
    texts = [written(v) for v in figure.values]
    sign = "-" if figure.negative else ""
    if len(texts) == 2:
        low, high = texts
        return (
            f"swings {low} to {high} {symbol}"
            if figure.how == "swings"
            else (f"{low}-{high} {symbol}")
        )
    how = {"about": "about ", "below": "< ", "above": "> "}.get(figure.how, "")
    return f"{how}{sign}{texts[0]} {symbol}"


def shown(figure: FigureMark, symbol: str) -> str:
    """Write a figure as it was said."""
    sign = "-" if figure.negative else ""
    joined = " to ".join(figure.texts)
    return f"{sign}{joined} {symbol}".strip()
