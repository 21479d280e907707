"""Looks and tests of the packs as they are said, with the result that was said and no other."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.hearing.moods import Clause, is_negated
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["Row", "Stretch", "checks_of", "not_run", "pattern_of", "said_of", "text_of"]

Row = Mapping[str, Any]
#: Who may have said it.
_SPEAKERS = ("driver", "customer", "owner", "dealer", "shop")


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the line as plain text, with the token of each place."""

    text: str
    starts: tuple[int, ...]
    first: int

    def token(self, place: int) -> int:
        """Return the token that stands at a place of the text."""
        return self.first + max(n for n, start in enumerate(self.starts) if start <= place)


@lru_cache(maxsize=4096)
def pattern_of(words: str) -> re.Pattern[str]:
    """Return the pattern of several words that are divided by "|", the longest first."""
    several = "|".join(re.escape(w) for w in sorted(words.split("|"), key=len, reverse=True))
    return re.compile(rf"(?<![\w-])(?:{several})(?![\w-])")


@cache
def _results() -> dict[str, re.Pattern[str]]:
    return {k: pattern_of("|".join(v)) for k, v in table("speech")["results"].items()}


def checks_of(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    knowledge: Knowledge,
    known: Sequence[Card],
) -> Part:
    """Read the looks and tests of a line; those of *known* cards are read already."""
    part = Part()
    stretches = _stretches(tokens, clauses)
    said_rows = {str(card.data.get("test", "")) for card in known}
    taken: list[set[int]] = []
    for row in (*_by_id(knowledge), *table("checks")["check"]):
        found = [(s, c, h) for s, c in stretches if (h := _match(row, s)) is not None]
        ids = _ids(row, knowledge) if found else []  # the packs are asked only for what was said
        if not ids or said_rows & set(ids):
            continue
        asked = len(part.asks)
        part.named |= {i.removeprefix("clue ") for i in ids}
        for stretch, clause, hit in found:
            if clause.moods & {"plan", "other", "book"}:
                continue
            if not_run(tokens, clause):
                part.asks.append(say.ask_result(_words(tokens, hit)))
                continue
            cards = _judge(row, ids, hit, stretch, tokens, clause, knowledge, part)
            if cards:
                said_rows |= set(ids)
                if any(hit & words for words in taken):
                    cards = [_in_doubt(card, knowledge) for card in cards]
                    part.cards = [
                        _in_doubt(card, knowledge) if hit & words else card
                        for card, words in zip(part.cards, taken, strict=True)
                    ]
                part.cards += cards
                taken += [set(hit) for _ in cards]
                part.used |= hit
                del part.asks[asked:]
                break
    return part


def _in_doubt(card: Card, knowledge: Knowledge) -> Card:
    """Return a card whose words serve another look as well: it is asked which was meant."""
    test = knowledge.test(str(card.data.get("test", "")))
    clue = knowledge.conditions.get(str(card.data.get("clue", "")))
    name = test.name if test else (clue.words if clue else "")
    return replace(card, needs=(*card.needs, say.ask_is_it_check(name)))


def _stretches(tokens: Sequence[Token], clauses: Sequence[Clause]) -> list[tuple[Stretch, Clause]]:
    """Each clause, and each two that follow one another, as text."""
    found = [(Stretch(*text_of(tokens, c.first, c.end), c.first), c) for c in clauses]
    for one, two in itertools.pairwise(clauses):
        both = Clause(one.first, two.end, one.moods | two.moods)
        found.append((Stretch(*text_of(tokens, one.first, two.end), one.first), both))
    return found


def text_of(tokens: Sequence[Token], first: int, end: int) -> tuple[str, tuple[int, ...]]:
    """Return tokens as plain text, and where each begins in it."""
    text, starts = "", []
    for token in tokens[first:end]:
        text += " " if text else ""
        starts.append(len(text))
        text += token.text
    return text, tuple(starts)


def _by_id(knowledge: Knowledge) -> list[Row]:
    """Rows for tests and looks that are named by their own id: "x_gas pos", "v neutral neg"."""
    return list(_rows_of_ids(tuple(t.id for f in knowledge.families.values() for t in f.tests)))


@lru_cache(maxsize=8)
def _rows_of_ids(ids: tuple[str, ...]) -> tuple[Row, ...]:
    rows: list[Row] = []
    for identity in dict.fromkeys(ids):
        # "f dp" is an id said aloud; "cut out" is the trade's word for something
        aloud = len(identity.partition("_")[0]) <= 2 and "_" in identity
        said = f"{identity}|{identity.replace('_', ' ')}" if aloud else identity
        if "_" in identity:
            rows.append({"test": identity, "named": True, "all": [said]})
    return tuple(rows)


def not_run(tokens: Sequence[Token], clause: Clause) -> bool:
    """Tell whether the clause says that nothing was looked at: "did not check the hose"."""
    rows = table("speech")["not_run"]
    text, _ = text_of(tokens, clause.first, clause.end)
    if pattern_of("|".join(rows["words"])).search(text):
        return True
    verbs = "|".join(re.escape(v) for v in rows["verbs"])
    return re.search(rf"\b(?:not|never|no|without|ever)(?: \w+)? (?:{verbs})\b", text) is not None


def _words(tokens: Sequence[Token], hit: set[int]) -> str:
    return " ".join(t.text for t in tokens[min(hit) : max(hit) + 1])


def _ids(row: Row, knowledge: Knowledge) -> list[str]:
    tests = row.get("test", [])
    found = [t for t in ([tests] if isinstance(tests, str) else tests) if knowledge.test(t)]
    clue = row.get("clue")
    return found + ([f"clue {clue}"] if clue in knowledge.conditions else [])


def _match(row: Row, stretch: Stretch) -> set[int] | None:
    """Return the tokens that a row was recognised by, where it is said here."""
    if "unless" in row and pattern_of(row["unless"]).search(stretch.text):
        return None
    if "with" in row and not pattern_of(row["with"]).search(stretch.text):
        return None
    used: set[int] = set()
    for group in row["all"]:
        hit = pattern_of(group).search(stretch.text)
        if hit is None:
            return None
        used |= set(range(stretch.token(hit.start()), stretch.token(hit.end() - 1) + 1))
    return used


def _judge(
    row: Row,
    ids: Sequence[str],
    hit: set[int],
    stretch: Stretch,
    tokens: Sequence[Token],
    clause: Clause,
    knowledge: Knowledge,
    part: Part,
) -> list[Card]:
    sign = pattern_of(row["all"][0]).search(stretch.text)
    assert sign is not None  # noqa: S101
    if "plain" in row and not row.get("absolute") and _both_ways(row, tokens):
        part.asks.append(say.ask_result(_words(tokens, hit)))
        return []
    negated = _negated(tokens, stretch, stretch.token(sign.start()), sign.end(), row)
    if "plain" in row and not row.get("absolute") and not negated and row["plain"] != "yes":
        negated = any(  # "shakes only when pulling, not coasting"
            is_negated(tokens, stretch.token(found.start()), stretch.first)
            for found in (pattern_of(group).search(stretch.text) for group in row["all"][1:])
            if found is not None
        )
    result = _result(row, stretch, negated, tokens)
    if row.get("falls"):
        result = _fell(tokens, stretch) or result
    if row.get("only_ask"):
        part.asks += list(row.get("needs", ()))
        return []
    hearsay = "hearsay" in clause.moods
    clue_only = all(i.startswith("clue ") for i in ids)
    if result is None:
        if row.get("named"):
            part.asks.append(say.ask_result(_words(tokens, hit)))
            part.asks += list(row.get("also", ()))
        return []
    if "guess" in clause.moods:
        part.asks.append(say.ask_guess())
        return []
    if hearsay and not clue_only:
        part.asks.append(say.ask_hearsay())
        return []
    needs, also = list(row.get("needs", ())), list(row.get("also", ()))
    if negated and row.get("needs_negated"):
        part.asks.append(row["needs_negated"])
        return []
    extra = row.get("also_unless")
    if extra and not pattern_of(extra["unless"]).search(stretch.text):
        also.append(extra["ask"])
    if hearsay:
        needs.append(say.ask_hearsay())
    _use_result_words(stretch, hit, row)
    said = said_of(tokens, hit)
    marks = ("somebody's word",) if hearsay else ()
    cards = []
    for identity in ids:
        data: dict[str, Any]
        if identity.startswith("clue "):
            data = {"clue": identity.removeprefix("clue "), "seen": result != "negative"}
            for word, cause in row.get("parts", {}).items():
                if pattern_of(word).search(stretch.text) and knowledge.cause(cause):
                    data["cause"] = cause
            if hearsay:
                words = {t.text for t in tokens}
                data["by"] = next((w for w in _SPEAKERS if w in words), "somebody else")
        else:
            data = {
                "test": identity,
                "result": _outcome(row, stretch, result, identity, knowledge, tokens),
            }
        cards.append(Card("clue" if "clue" in data else "test", data, said, tuple(needs),
                          tuple(also), marks))  # fmt: skip
    return cards


def _negated(tokens: Sequence[Token], stretch: Stretch, sign: int, sign_end: int, row: Row) -> bool:
    if row.get("absolute"):
        return False
    before = is_negated(tokens, sign, stretch.first)
    if row.get("negation_anywhere") and not before:
        words = [t.text for t in tokens[stretch.first : stretch.first + len(stretch.starts)]]
        before = any(w in {"no", "not", "never", "none", "without"} for w in words)
    after = stretch.text[sign_end:]
    behind = pattern_of("|".join(table("speech")["negations"]["after"])).match(after.lstrip())
    return before or (behind is not None and not before)


def _both_ways(row: Row, tokens: Sequence[Token]) -> bool:
    """Tell whether the sign is said to be there and not to be: none at idle, some at 1,500."""
    line = Stretch(*text_of(tokens, 0, len(tokens)), 0)
    found = set()
    for hit in pattern_of(row["all"][0]).finditer(line.text):
        place = line.token(hit.start())
        behind = pattern_of("|".join(table("speech")["negations"]["after"])).match(
            line.text[hit.end() :].lstrip()
        )
        breaks = [p + 1 for p in range(place) if tokens[p].text in {",", ";", ".", ":", "but"}]
        found.add(is_negated(tokens, place, max(breaks, default=0)) or behind is not None)
    later_none = any(t.text == "none" for t in tokens)
    return len(found) > 1 or (found == {False} and later_none)


def _fell(tokens: Sequence[Token], stretch: Stretch) -> str | None:
    """Judge two figures of one quantity, with a thing and then without it."""
    words = tokens[stretch.first : stretch.first + len(stretch.starts)]
    figures = [t.number for t in words if t.number is not None and t.number < 400]
    if len(figures) != 2 or not figures[0]:
        return None
    left = figures[1] / figures[0]
    return "positive" if left <= 0.7 else ("negative" if left >= 0.9 else None)


def _result(row: Row, stretch: Stretch, negated: bool, tokens: Sequence[Token]) -> str | None:
    """Return positive, negative or maybe; ``None`` where no result was said."""
    text = stretch.text
    if _results()["maybe"].search(text):
        return "maybe"
    good, bad = (_plainly(row.get(k), stretch, tokens) for k in ("good", "bad"))
    for words, result in row.get("results_plain", {}).items():
        if not negated and _plainly(words, stretch, tokens):
            return str(result) if result in {"positive", "negative"} else "positive"
    if "named" in row or "good" in row or "bad" in row:
        bad = bad or ("bad" in row and _plainly_generic("positive", stretch, tokens, row))
        good = good or ("good" in row and _plainly_generic("negative", stretch, tokens, row))
    if good and bad and not _good_wins(row, text):
        return None
    if good or bad:
        return "negative" if good or (negated and not good) else "positive"
    if row.get("named") or ("plain" not in row):
        if all(_plainly_generic(r, stretch, tokens, row) for r in ("positive", "negative")):
            return None
        for result in ("positive", "negative"):
            found = _results()[result].search(text)
            if found is not None:
                turned = is_negated(tokens, stretch.token(found.start()), stretch.first)
                return None if turned else result
        return None
    plain = row["plain"]
    if row.get("only_negative"):
        return "negative" if negated else None
    if plain == "yes":
        return "negative" if negated else "positive"
    if negated:
        return "positive" if row.get("inverse") else "negative"
    return str(plain)


def _plainly_generic(result: str, stretch: Stretch, tokens: Sequence[Token], row: Row) -> bool:
    """Tell whether a result word is said that does not mean the other result in this row."""
    other = str(row.get("good" if result == "positive" else "bad", "")).split("|")
    return any(
        hit.group() not in other
        and not is_negated(tokens, stretch.token(hit.start()), stretch.first)
        for hit in _results()[result].finditer(stretch.text)
    )


def _plainly(words: str | None, stretch: Stretch, tokens: Sequence[Token]) -> bool:
    """Tell whether one of the words is said without a "no" before it."""
    if words is None:
        return False
    return any(
        not is_negated(tokens, stretch.token(hit.start()), stretch.first)
        for hit in pattern_of(words).finditer(stretch.text)
    )


def _good_wins(row: Row, text: str) -> bool:
    """A good word that holds a bad one in it ("no leak", "did not change") is the good one."""
    if not {"good", "bad"} <= set(row):
        return False
    good, bad = pattern_of(row["good"]).search(text), pattern_of(row["bad"]).search(text)
    return bool(good and bad and good.start() <= bad.start() and good.end() >= bad.end())


def _outcome(
    row: Row,
    stretch: Stretch,
    result: str,
    identity: str,
    knowledge: Knowledge,
    tokens: Sequence[Token],
) -> str:
    """Return the outcome of the pack that the words name, else the plain result."""
    test = knowledge.test(identity)
    if result == "positive" and test is not None:
        for words, outcome in {**row.get("results", {}), **row.get("results_plain", {})}.items():
            if outcome in test.outcomes and _plainly(words, stretch, tokens):
                return str(outcome)
    good = row.get("good_outcome")
    return str(good) if good and result == "negative" and test and good in test.outcomes else result


def _use_result_words(stretch: Stretch, hit: set[int], row: Row) -> None:
    groups = [row[k] for k in ("good", "bad") if k in row]
    patterns = [pattern_of(g) for g in groups] + list(_results().values())
    patterns.append(pattern_of("|".join(table("speech")["negations"]["words"])))
    for pattern in patterns:
        for found in pattern.finditer(stretch.text):
            hit |= set(range(stretch.token(found.start()), stretch.token(found.end() - 1) + 1))


def said_of(tokens: Sequence[Token], used: set[int]) -> str:
    """Return where in the line the used tokens stand."""
    return f"{tokens[min(used)].start}:{tokens[max(used)].end}"
