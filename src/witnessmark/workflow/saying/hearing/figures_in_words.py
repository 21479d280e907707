"""Figures said in words: English, some Spanish, and what a phone hears instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["with_figures", "written"]


def _table(name: str, first: int, step: int) -> dict[str, int]:
    rows = table("speech")["number_words"][name]
    return {w: first + step * n for n, row in enumerate(rows) for w in row.split()}


_ONES = _table("ones", 0, 1)
_TEENS = _table("teens", 10, 1)
_TENS = _table("tens", 20, 10)
_HUNDREDS: dict[str, int] = table("speech")["number_words"]["hundreds"]
_THOUSAND = ("thousand", "mil")


@dataclass(frozen=True, slots=True)
class _Said:
    """A figure: its value, how many tokens it took, whether it may be another."""

    value: float
    count: int
    doubt: bool


def written(value: float) -> str:
    """Write a figure without needless zeros."""
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"


def with_figures(tokens: Sequence[Token]) -> list[Token]:
    """Return the tokens with every figure that was said in words as one figure."""
    found: list[Token] = []
    at = 0
    while at < len(tokens):
        said = _figure(tokens, at)
        if said is None:
            if _timed_measure(tokens, at):  # "a quart in 22 seconds" is one quart
                found.append(Token("1", tokens[at].start, tokens[at].start, 1.0))
            found.append(tokens[at])
            at += 1
            continue
        first, last = tokens[at], tokens[at + said.count - 1]
        doubt = said.doubt or any(t.doubt for t in tokens[at : at + said.count])
        doubt = doubt or (at > 0 and tokens[at - 1].text in {"too", "ate", "won", "fore"})
        text = first.text if said.count == 1 and first.number is not None else written(said.value)
        found.append(Token(text, first.start, last.end, said.value, doubt))
        at += said.count
    return found


def _figure(tokens: Sequence[Token], at: int) -> _Said | None:
    first = tokens[at]
    if (share := _quarters(tokens, at)) is not None:
        return share
    base = _numeral(tokens, at) if first.number is not None else _digits(tokens, at)
    base = base or _group(tokens, at)
    if base is None and first.text in {"point", "."} and _one(tokens, at + 1, True) is not None:
        base = _Said(0.0, 0, False)
    if base is None:
        return _fraction_word(tokens, at)
    base = _with_point(tokens, at, base)
    base = _with_half(tokens, at, base)
    lone = base.count == 1 and first.number is None and first.text in {"one", "uno"}
    if lone and not _before_unit(tokens, at + 1):
        return None  # "this one" is no figure
    return base if base.count else None


def _numeral(tokens: Sequence[Token], at: int) -> _Said:
    value, doubt = tokens[at].number, tokens[at].doubt
    assert value is not None  # noqa: S101
    if _text(tokens, at + 1) == "hundred" and value < 100:
        return _Said(value * 100, 2, doubt)
    if _text(tokens, at + 1) in _THOUSAND and value < 1000:
        return _Said(value * 1000, 2, doubt)
    return _Said(value, 1, doubt)


def _digits(tokens: Sequence[Token], at: int) -> _Said | None:
    """A row of three or more single figures, as codes are said: three two five one."""
    run: list[int] = []
    doubt = False
    while (one := _one(tokens, at + len(run), bool(run))) is not None:
        run.append(one[0])
        doubt = doubt or one[1]
    if len(run) < 3 or _text(tokens, at + len(run)) in {"hundred", *_THOUSAND}:
        return None
    return _Said(float("".join(map(str, run))), len(run), doubt)


def _group(tokens: Sequence[Token], at: int) -> _Said | None:
    """Below a thousand, then thousands: sixty-five, one ninety, fourteen hundred, hundred ten."""
    first = _below_hundred(tokens, at)
    word = _text(tokens, at)
    if first is None and word in _HUNDREDS:
        first = _Said(0.0, 0, False)
        rest = _below_hundred(tokens, at + 1)
        value = _HUNDREDS[word] + (rest.value if rest else 0)
        first = _Said(value, 1 + (rest.count if rest else 0), False)
        return _with_thousand(tokens, at, first)
    if first is None:
        start = at + 1 if word == "a" and _text(tokens, at + 1) == "hundred" else at
        if _text(tokens, start) == "hundred":
            return _after_hundred(tokens, at, _Said(1.0, start - at, False))
        if word == "mil":
            return _with_thousand(tokens, at, _Said(1.0, 0, False))
        return None
    if _text(tokens, at + first.count) == "hundred":
        return _with_thousand(tokens, at, _after_hundred(tokens, at, first))
    if _text(tokens, at + first.count) in _THOUSAND:
        return _with_thousand(tokens, at, first)
    second = _below_hundred(tokens, at + first.count)
    if second is not None and first.value <= 30 and second.value >= 10:
        # one ninety, fifteen fifty; "twenty thirty" may be two figures
        doubt = first.doubt or second.doubt or first.value > 19
        return _Said(first.value * 100 + second.value, first.count + second.count, doubt)
    zero = _one(tokens, at + first.count, True)
    if zero is not None and zero[0] == 0 and 10 <= first.value <= 30:
        last = _one(tokens, at + first.count + 1, True)
        if last is not None:  # sixteen oh five
            return _Said(first.value * 100 + last[0], first.count + 2, first.doubt)
    return first


def _after_hundred(tokens: Sequence[Token], at: int, first: _Said) -> _Said:
    count = first.count + 1
    follows = _below_hundred(tokens, at + count)
    if follows is None and _text(tokens, at + count) == "and":
        follows = _below_hundred(tokens, at + count + 1)
        count += 1 if follows else 0
    extra = follows or _Said(0.0, 0, False)
    return _Said(first.value * 100 + extra.value, count + extra.count, first.doubt or extra.doubt)


def _with_thousand(tokens: Sequence[Token], at: int, said: _Said) -> _Said:
    if _text(tokens, at + said.count) not in _THOUSAND or said.value >= 1000:
        return said
    count = said.count + 1
    rest = _group(tokens, at + count)
    if rest is None or rest.value >= 1000:
        return _Said(said.value * 1000, count, said.doubt)
    return _Said(said.value * 1000 + rest.value, count + rest.count, said.doubt or rest.doubt)


def _below_hundred(tokens: Sequence[Token], at: int) -> _Said | None:
    word = _text(tokens, at)
    if word in _TENS:
        count = 1
        joined = _text(tokens, at + 1) == "and" and word not in {"twenty", "thirty"}
        spanish = joined and word.endswith(("ta", "te"))
        one = _one(tokens, at + 1, True) or (_one(tokens, at + 2, True) if spanish else None)
        if one is not None and one[0] > 0:
            count += 2 if spanish and _one(tokens, at + 1, True) is None else 1
            return _Said(_TENS[word] + one[0], count, one[1] or tokens[at].doubt)
        return _Said(_TENS[word], 1, tokens[at].doubt)
    if word in _TEENS:
        return _Said(_TEENS[word], 1, tokens[at].doubt)
    one = _one(tokens, at, False)
    if one is None:
        return None
    second = _one(tokens, at + 1, True)
    if second is not None and _one(tokens, at + 2, True) is None:
        return _Said(one[0] * 10 + second[0], 2, True)  # "six five" may be two figures
    return _Said(one[0], 1, one[1])


def _one(tokens: Sequence[Token], at: int, after_figure: bool) -> tuple[int, bool] | None:
    """Return a single figure and whether it was heard as another word."""
    word = _text(tokens, at)
    if word in _ONES:
        return _ONES[word], tokens[at].doubt
    heard = table("speech")["homophones"].get(word)
    if heard is None:
        return None
    if word in {"oh", "o"}:
        return (0, False) if after_figure else None
    if word in {"to", "for", "fore"}:
        pointed = _text(tokens, at + 1) == "point"
        ends = after_figure and (at + 1 >= len(tokens) or _before_unit(tokens, at + 1))
        tens = after_figure and _text(tokens, at - 1) in _TENS
        return (_ONES[heard], True) if (pointed and not after_figure) or (ends and tens) else None
    return (_ONES[heard], True) if after_figure else None


def _with_point(tokens: Sequence[Token], at: int, base: _Said) -> _Said:
    if _text(tokens, at + base.count) not in {"point", "punto"}:
        return base
    place, text, doubt = at + base.count + 1, "", base.doubt
    while (one := _one(tokens, place, True)) is not None:
        text, doubt, place = text + str(one[0]), doubt or one[1], place + 1
    following = tokens[place] if place < len(tokens) else None
    if not text and following is not None and following.number is not None:
        text, place = f"{following.number:.0f}", place + 1
    if not text:
        group = _below_hundred(tokens, place)
        if group is None:
            return base
        text, place = f"{group.value:.0f}", place + group.count
    return _Said(float(f"{base.value:.0f}.{text}"), place - at, doubt)


def _with_half(tokens: Sequence[Token], at: int, base: _Said) -> _Said:
    after = tuple(_text(tokens, at + base.count + n) for n in range(3))
    parts = {("and", "a", "half"): 0.5, ("and", "one", "half"): 0.5, ("and", "a", "quarter"): 0.25,
             ("and", "three", "quarters"): 0.75}  # fmt: skip
    if base.count and after in parts:
        return _Said(base.value + parts[after], base.count + 3, base.doubt)
    return base


def _fraction_word(tokens: Sequence[Token], at: int) -> _Said | None:
    words = (_text(tokens, at), _text(tokens, at + 1))
    if words[0] in {"half", "quarter"} and (_before_unit(tokens, at + 1) or words[1] == "a"):
        count = 2 if words[1] == "a" else 1
        if _before_unit(tokens, at + count):
            return _Said(0.5 if words[0] == "half" else 0.25, count, False)
    return None


def _quarters(tokens: Sequence[Token], at: int) -> _Said | None:
    """Read "three quarters of an inch", "a quarter of a quart", "half an inch"."""
    place = at + 1 if _text(tokens, at) == "a" else at
    shares = {("three", "quarters"): 0.75, ("quarter",): 0.25, ("half",): 0.5,
              ("an", "eighth"): 0.125, ("one", "eighth"): 0.125,
              ("three", "eighths"): 0.375, ("five", "eighths"): 0.625}  # fmt: skip
    for words, value in shares.items():
        if tuple(_text(tokens, place + n) for n in range(len(words))) != words:
            continue
        end = place + len(words)
        end += 1 if _text(tokens, end) == "of" else 0
        end += 1 if _text(tokens, end) in {"a", "an"} else 0
        if end > place + len(words) and _before_unit(tokens, end):
            if words == ("half",) and _text(tokens, end) == "hour":
                return None  # read with the hours
            return _Said(value, end - at, False)
    return None


def _timed_measure(tokens: Sequence[Token], at: int) -> bool:
    measure = tokens[at].text in {"quart", "gallon", "liter", "litre"}
    before = tokens[at - 1] if at else None
    figure = before is not None and (before.number is not None or before.text in _ONES)
    return measure and not figure and _text(tokens, at + 1) == "in"


def _before_unit(tokens: Sequence[Token], at: int) -> bool:
    return _text(tokens, at).split(" ")[0] in _unit_words()


def _unit_words() -> frozenset[str]:
    return frozenset(u.split()[0] for u in table("figures")["units"] if u not in {"in", "x"})


def _text(tokens: Sequence[Token], at: int) -> str:
    return tokens[at].text if 0 <= at < len(tokens) else ""
