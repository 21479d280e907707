"""Looks and tests by the packs' own words and the shop's: offered by name, always asked back.

The tables of checks hold what is said often and plainly. This finds the rest, a shop's own pack
included: every clue and every result of a test has its words, and examples of how the shop says it
(``examples.toml``, data). A clause belongs to the one whose words it holds best, or to none.
"""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.checks_said import not_run
from witnessmark.workflow.saying.hearing.moods import Clause
from witnessmark.workflow.saying.hearing.spoken_tables import table
from witnessmark.workflow.saying.hearing.tokens import Token, tokens_of

__all__ = ["pack_words_of"]

#: So much of a clause must be known words, so much of the words must be said, so well must both
#: fit, and so much better than the next (judgement, set on lines that were seen). The case's own
#: families need less.
_OF_CLAUSE, _OF_CORE, _FITS, _OWN, _AHEAD = 0.4, 0.7, 0.54, 1.25, 1.06
#: Of the packs' own words, which are long and general, more must be said.
_OF_PACK = 0.7
#: What a test's name counts beside the words of its result.
_OF_NAME = 0.35
_GENERIC = ("positive", "negative")
_NO = frozenset({"no", "not", "never", "none", "without", "nothing", "zero", "nor"})


@dataclass(frozen=True, slots=True)
class _Saying:
    """One way to say a clue or a result: its words, and whether they hold a "no" or a figure."""

    kind: str
    identity: str
    result: str
    core: frozenset[str]
    name: frozenset[str]
    denied: bool
    figure: bool = False
    example: bool = False


def pack_words_of(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    knowledge: Knowledge,
    families: Sequence[str],
    used: set[int],
    named: Collection[str] = (),
) -> Part:
    """Read looks and tests by their words, in clauses of which nothing else was taken.

    Args:
        tokens: the line.
        clauses: its clauses; two that follow one another are tried together as well.
        knowledge: the packs.
        families: the families of the case, which are likelier.
        used: tokens that another reader has taken.
        named: looks and tests that the line was found to speak of already.
    """
    part = Part()
    sayings, weights = _sayings(_sources(knowledge))
    own = frozenset(_ids_of(knowledge, families))
    same = set(named)
    done: set[int] = set()
    runs = _runs(clauses, used)
    pairs = [Clause(a.first, b.end, a.moods | b.moods) for a, b in itertools.pairwise(clauses)]
    for clause in (*pairs, *clauses, *runs):
        inside = set(range(clause.first, clause.end))
        if clause.moods or (used | done) & inside or not_run(tokens, clause):
            continue
        words = {stem: p for p in sorted(inside) if (stem := _stem(tokens[p])) is not None}
        if len(words) < 2:
            continue
        told = [s for s in sayings if s.figure or not _open(tokens, clause)]
        ranked = _ranked(words, _denied(tokens, clause), told, weights, own)
        if clause in runs:  # beside what was read all of a saying must stand
            ranked = [row for row in ranked if row[1].core <= words.keys()]
        for best in _clear(ranked, knowledge):
            if _alike_ids(best.identity, knowledge) & same or not _of_both(
                best, words, clause, clauses if clause in pairs else ()
            ):
                continue
            same.add(best.identity)
            done |= inside
            _offer(tokens, clause, words, best, knowledge, part)
    return part


def _alike_ids(identity: str, knowledge: Knowledge) -> set[str]:
    test = knowledge.test(identity)
    return {identity, *(test.same_as if test else ())}


def _runs(clauses: Sequence[Clause], used: Collection[int]) -> list[Clause]:
    """Return what stands of each clause beside what other readers took."""
    found: list[Clause] = []
    for clause in clauses:
        first = clause.first
        for place in (*sorted(p for p in used if clause.first <= p < clause.end), clause.end):
            if 1 < place - first < clause.end - clause.first:
                found.append(Clause(first, place, clause.moods))
            first = place + 1
    return found


def _of_both(
    saying: _Saying, words: Mapping[str, int], pair: Clause, clauses: Sequence[Clause]
) -> bool:
    """Tell whether a saying holds words of each clause that it was tried on."""
    places = {words[w] for w in saying.core if w in words}
    return all(
        any(c.first <= p < c.end for p in places)
        for c in clauses
        if pair.first <= c.first and c.end <= pair.end
    )


def _clear(ranked: Sequence[tuple[float, _Saying]], knowledge: Knowledge) -> tuple[_Saying, ...]:
    """Return the best, with a clue beside a test that fits as well; none where two contend."""
    if not ranked:
        return ()
    score, best = ranked[0]
    alike = _alike_ids(best.identity, knowledge)
    near = [s for n, s in ranked[1:] if score < _AHEAD * n and s.identity not in alike]
    if not near:
        return (best,)
    other = next((s for s in near if s.kind != best.kind), None)
    same_kind = any(s.kind == best.kind for s in near)
    return () if other is None or same_kind else (best, other)


def _ranked(
    words: Mapping[str, int],
    denied: bool,
    sayings: Sequence[_Saying],
    weights: Mapping[str, float],
    own: frozenset[str],
) -> list[tuple[float, _Saying]]:
    said = frozenset(words)
    whole = sum(weights.get(w, _rarest(weights)) for w in said)
    found: dict[tuple[str, str], tuple[float, _Saying]] = {}
    for saying in sayings:
        shared = said & saying.core
        if not shared:
            continue
        named = (said & saying.name) - shared
        # of a pack's words alone "jumps with lamps" leaves open what jumps
        told_of = saying.example or len(named) + len(shared) > 2
        if len(shared) + len(named) < 2 or not told_of:
            continue
        told = _turned(saying, denied)
        if told is None:
            continue
        covered = sum(weights[w] for w in (*shared, *named)) / whole
        core = sum(weights[w] for w in shared) / sum(weights[w] for w in saying.core)
        if covered < (_OF_CLAUSE if saying.example else _OF_PACK) or core < _OF_CORE:
            continue
        score = covered**0.5 * core * (_OWN if saying.identity in own else 1.0)
        key = (told.identity, told.result)
        if score >= _FITS and score > found.get(key, (0.0, told))[0]:
            found[key] = (score, told)
    return sorted(found.values(), key=lambda row: -row[0])


def _turned(saying: _Saying, denied: bool) -> _Saying | None:
    """Return what is meant where the "no" of the line and that of the words differ."""
    if saying.denied == denied:
        return saying
    other = {"positive": "negative", "negative": "positive", "seen": "not seen"}
    if saying.result not in other or saying.denied:
        return None  # "fan comes on" denies no "fan never comes on"
    return replace(saying, result=other[saying.result], denied=denied)


def _offer(
    tokens: Sequence[Token],
    clause: Clause,
    words: Mapping[str, int],
    best: _Saying,
    knowledge: Knowledge,
    part: Part,
) -> None:
    data: dict[str, object] = {best.kind: best.identity}
    if best.kind == "clue":
        data["seen"] = best.result == "seen"
        name = knowledge.conditions[best.identity].words
    else:
        data["result"] = best.result
        test = knowledge.test(best.identity)
        name = test.name if test else best.identity
    used = set(words.values()) | {p for p in range(clause.first, clause.end)
                                  if tokens[p].text in _NO}  # fmt: skip
    said = f"{tokens[min(used)].start}:{tokens[max(used)].end}"
    part.cards.append(Card(best.kind, data, said, needs=(say.ask_is_it_check(name),)))
    part.used |= used


def _ids_of(knowledge: Knowledge, families: Sequence[str]) -> Iterator[str]:
    for family in (knowledge.families[f] for f in families if f in knowledge.families):
        yield from (test.id for test in family.tests)
        for cause in family.causes:
            yield from cause.odds_multipliers


def _sources(knowledge: Knowledge) -> tuple[tuple[str, str, str, str, str], ...]:
    """Return (kind, id, result, its words, the test's name) for every clue and result."""
    found = [
        ("clue", c.id, "seen", c.words, "")
        for c in knowledge.conditions.values()
        if not c.part_scoped
    ]
    for test in {t.id: t for f in knowledge.families.values() for t in f.tests}.values():
        for result in test.outcomes or _GENERIC:
            words = test.outcome_words.get(result, "")
            found.append(("test", test.id, result, words if words != result else "", test.name))
    return tuple(found)


@lru_cache(maxsize=4)
def _sayings(
    sources: tuple[tuple[str, str, str, str, str], ...],
) -> tuple[tuple[_Saying, ...], Mapping[str, float]]:
    """Return every saying, and how much each word tells."""
    examples = table("examples")
    found: list[_Saying] = []
    for kind, identity, result, words, name in sources:
        row = examples[kind].get(identity, {})
        told = row if isinstance(row, list) else row.get(result, [])
        title = _stems(name)
        for text in (*_alternatives(words), *told):
            core = _stems(text)
            cut = kind == "clue" and text != words and text not in told
            if len(core) > (2 if cut else 0):  # a piece of a clue's words may be anything
                found.append(
                    _Saying(kind, identity, result, core, title, *_marks(text), text in told)
                )
    counts = Counter(w for s in found for w in s.core | s.name)
    weights = {w: math.log((len(found) + 1) / n) for w, n in counts.items()}
    return tuple(found), weights


def _rarest(weights: Mapping[str, float]) -> float:
    """Return what a word counts that no pack knows: less than most."""
    return 0.3 * math.log(max(2, len(weights)))


def _alternatives(words: str) -> list[str]:
    """Return the words whole, and each of several ways: "stiff, gritty or does not reach"."""
    parts = [p.strip() for p in re.split(r"[,;]| or |\(|\)", words) if p.strip()]
    return list(dict.fromkeys([words, *parts])) if words else []


@lru_cache(maxsize=8192)
def _stems(text: str) -> frozenset[str]:
    found = (_stem(token) for token in tokens_of(text))
    return frozenset(w for w in found if w is not None)


@lru_cache(maxsize=8192)
def _marks(text: str) -> tuple[bool, bool]:
    """Tell whether words hold a "no", and whether they hold a figure."""
    tokens = tokens_of(text)
    return any(t.text in _NO for t in tokens), any(t.number is not None for t in tokens)


def _open(tokens: Sequence[Token], clause: Clause) -> bool:
    """Tell whether a clause holds a figure: it is then no look, but where one is said with it."""
    return any(tokens[p].number is not None for p in range(clause.first, clause.end))


def _denied(tokens: Sequence[Token], clause: Clause) -> bool:
    return any(tokens[p].text in _NO for p in range(clause.first, clause.end))


def _stem(token: Token) -> str | None:
    return None if token.number is not None or not token.text[:1].isalpha() else _short(token.text)


@lru_cache(maxsize=8192)
def _short(word: str) -> str | None:
    """Cut a word's ending and take the plain word for its like; empty words are none."""
    if len(word) < 2 or word in _empty():
        return None
    plain = _alike()
    if word in plain:
        return plain[word]
    for ending in ("ing", "ed", "es", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            cut = word[: -len(ending)]
            return plain.get(cut, plain.get(cut + "e", cut))
    return word


@cache
def _alike() -> dict[str, str]:
    return {word: row[0] for row in table("examples")["alike"] for word in row}


@cache
def _empty() -> frozenset[str]:
    speech = table("speech")
    rows = [*speech["fillers"]["words"], *table("examples")["empty"], *_NO]
    return frozenset(w for row in rows for w in row.split())
