"""Looks and tests said in the packs' own words: offered with their name, always asked back.

The tables of trade words hold what is said often; this finds the rest, a shop's own pack included,
by the words of its looks and the names of its tests, for the families of the case only.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge, clues_of
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.hearing.moods import Clause, is_negated
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["pack_words_of"]

#: So much of a clause must be the pack's words, and so much of these must be said (judgement).
_OF_CLAUSE, _OF_WORDS = 0.75, 0.4


def pack_words_of(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    knowledge: Knowledge,
    families: Sequence[str],
    used: set[int],
) -> Part:
    """Read looks and tests by the packs' words, in clauses of which nothing else was taken."""
    part = Part()
    for clause in clauses:
        inside = range(clause.first, clause.end)
        if clause.moods or used & set(inside) or not families:
            continue
        words = {stem: p for p in inside if (stem := _stem(tokens[p])) is not None}
        if len(words) >= 2:
            _read_clause(tokens, clause, words, knowledge, families, part)
    return part


def _read_clause(
    tokens: Sequence[Token],
    clause: Clause,
    words: dict[str, int],
    knowledge: Knowledge,
    families: Sequence[str],
    part: Part,
) -> None:
    negated = any(is_negated(tokens, p, clause.first) for p in words.values())
    scored: list[tuple[float, str, str, str]] = []
    for clue, _ in clues_of(knowledge, tuple(families)):
        score = _alike(words, clue.words)
        if score and not clue.part_scoped:
            scored.append((score, "clue", clue.id, clue.words))
    result = _result(tokens, clause)
    for family in (knowledge.families[f] for f in families if f in knowledge.families):
        for test in family.tests:
            score = _alike(words, test.name)
            if score and result is not None:
                scored.append((score, "test", test.id, test.name))
    scored.sort(reverse=True)
    if not scored or (len(scored) > 1 and scored[1][0] > 0.9 * scored[0][0]):
        return
    _, kind, identity, name = scored[0]
    data: dict[str, object] = {kind: identity}
    if kind == "clue":
        data["seen"] = not negated
    else:
        data["result"] = result
    used = set(words.values())
    said = f"{tokens[min(used)].start}:{tokens[max(used)].end}"
    part.cards.append(Card(kind, data, said, needs=(say.ask_is_it_check(name),)))
    part.used |= used


def _alike(words: dict[str, int], text: str) -> float:
    """Return how alike a clause and a pack's words are, 0 where they are not."""
    known = _stems(text)
    shared = known & set(words)
    if len(shared) < 2 or len(shared) < _OF_CLAUSE * len(words):
        return 0.0
    covered = len(shared) / len(known)
    return covered * len(shared) / len(words) if covered >= _OF_WORDS else 0.0


@lru_cache(maxsize=4096)
def _stems(text: str) -> frozenset[str]:
    found = (_short(w) for w in re.findall(r"[a-z]+", text.lower()))
    return frozenset(w for w in found if w is not None)


def _stem(token: Token) -> str | None:
    return None if token.number is not None or not token.text.isalpha() else _short(token.text)


def _short(word: str) -> str | None:
    """Cut a word's ending; words that say nothing by themselves are none."""
    if len(word) < 3 or word in _empty():
        return None
    for ending in ("ing", "ed", "es", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            return word[: -len(ending)]
    return word


@lru_cache(maxsize=1)
def _empty() -> frozenset[str]:
    speech = table("speech")
    rows = [*speech["fillers"]["words"], *speech["negations"]["words"], "off", "only", "one", "any"]
    results = [w for several in speech["results"].values() for w in several]
    return frozenset(w for row in (*rows, *results) for w in row.split())


def _result(tokens: Sequence[Token], clause: Clause) -> str | None:
    text = " ".join(t.text for t in tokens[clause.first : clause.end])
    found = [
        name
        for name, rows in table("speech")["results"].items()
        if re.search(rf"\b(?:{'|'.join(map(re.escape, rows))})\b", text)
    ]
    turned = re.search(r"\b(?:not|no|never) (?:so |very )?(?:good|ok|bad|fine)\b", text)
    return found[0] if len(found) == 1 and not turned else None
