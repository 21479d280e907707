"""The families that a driver's words may be about, with the words that say so.

A small matcher of our own: the words of the trade (``packs/words/spoken.toml``), what every pack
says of its own complaint, and the shop's earlier complaints. It is deterministic, learns nothing
by itself, and only suggests: a person opens the family.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from witnessmark.knowledge.first_words.spoken_words import spoken, stem, tokens
from witnessmark.knowledge.records import Family

__all__ = ["Guess", "Matcher", "Said", "guessed", "spoken_families"]

#: What one entry of each list is worth beside another (judgement).
_LISTS = {"sure": 3.0, "words": 1.5, "also": 0.5}
#: What a pack's own words are worth: its complaint as drivers say it, and its name.
_OF_PACK = 1.5
#: How rare a word is, is counted against at least so many families.
_FEWEST = 20
#: How far the words of one entry may stand apart, beyond its own length.
_APART = 3
#: What an entry still adds when its words were all counted already.
_AGAIN = 0.2
#: At most so many families are offered, none with less than this share of the best, and none
#: below this score.
MOST = 3
_LEAST_SHARE = 0.25
_LEAST = 1.2
#: How much the shop's own earlier complaints may add, and from how many a word counts (judgement).
_OWN, _OWN_FROM = 2.0, 2
#: What the logarithm of a family's share of a normal week adds (judgement).
_SHARE = 0.25
#: What a single word is worth that only stands in a family's longer entries (judgement).
_LOOSE = 1.0
#: How often a word of a cause's or a test's name counts beside a spoken one (judgement), and one of
#: what else a pack asks and says: its questions for the phone, its results, its traps.
_OF_PARTS, _OF_TEXT = 0.6, 0.3
#: What an entry of so many words or more is worth that lacks one of them (judgement).
_ALL_BUT_ONE, _LONG = 0.3, 3
#: What a word is worth that says that it is none of these complaints (judgement).
_APART_WORTH = 0.8
#: What of a family's single words stands against that (judgement).
_AGAINST_APART = 0.7


def spoken_families() -> tuple[str, ...]:
    """Return the ids of the families that have words of the trade."""
    return tuple(spoken()["families"])


@dataclass(frozen=True, slots=True)
class Said:
    """An earlier complaint of the shop: its words, and the families it was about."""

    words: str
    families: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Guess:
    """One family that the words may be about.

    Attributes:
        family: its id.
        score: how much speaks for it; only good for the order.
        because: what of the words says so, the loudest first.
    """

    family: str
    score: float
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    family: str
    words: tuple[str, ...]
    weight: float
    shown: str


@lru_cache(maxsize=1)
def _same() -> Mapping[str, str]:
    rows: dict[str, list[str]] = spoken()["same"]
    found: dict[str, str] = {}
    for word, others in rows.items():
        for other in others:
            found.setdefault(other, word)
            found.setdefault(stem(other), word)
    return {**found, **{word: word for word in rows}, **{stem(word): word for word in rows}}


@lru_cache(maxsize=1)
def _bare() -> frozenset[str]:
    return frozenset(tokens(" ".join(spoken()["bare"]), _same()))


@dataclass(frozen=True)
class Matcher:
    """The words of some families, made ready.

    Attributes:
        families: the families that may be offered, with what their packs say of themselves.
        earlier: the shop's earlier complaints.
    """

    families: tuple[Family, ...]
    earlier: tuple[Said, ...] = ()

    def guess(self, words: str) -> tuple[Guess, ...]:
        """Return the families that the words may be about, the likeliest first."""
        said = tokens(words, _same(), self._known)
        places: dict[str, list[int]] = defaultdict(list)
        for place, word in enumerate(said):
            places[word].append(place)
        matched: dict[str, list[_Entry]] = defaultdict(list)
        for word in places:
            for entry in self._entries.get(word, ()):
                if _stands(entry.words, places):
                    matched[entry.family].append(entry)
        own = self._own_words(places)
        heard = self._heard(places)
        apart, _ = _sum([e for e in self._apart if _stands(e.words, places)])
        scored, whole = [], 0.0
        for family in sorted({*matched, *own, *heard}):
            score, because = _sum(matched.get(family, ()))
            loose, alone = heard.get(family, (0.0, ()))
            more, mine = own.get(family, (0.0, ()))
            prior = _SHARE * math.log(1.0 + float(self._share.get(family, 1.0)))
            whole = max(whole, score + _AGAINST_APART * loose + more + prior)
            score, because = score + loose, because or alone
            if score + more > 0.0:
                scored.append(Guess(family, score + more + prior, (*because, *mine)))
        scored.sort(key=lambda g: (-g.score, g.family))
        best = scored[0].score if scored else 0.0
        if apart and apart >= whole:
            return ()
        kept = [g for g in scored if g.score >= max(_LEAST, _LEAST_SHARE * best)]
        return tuple(kept[:MOST])

    def _heard(
        self, places: Mapping[str, Sequence[int]]
    ) -> dict[str, tuple[float, tuple[str, ...]]]:
        """Return what single words and entries that lack one word say for each family."""
        found: dict[str, tuple[float, tuple[str, ...]]] = {
            family: (worth, (shown,)) for family, (worth, shown) in self._lacking(places).items()
        }
        for word in sorted(w for w in set(places) - _bare() if not w.isdigit()):
            for family, worth in self._loose.get(word, {}).items():
                score, words = found.get(family, (0.0, ()))
                found[family] = (score + worth, (*words, word))
        return found

    def _lacking(self, places: Mapping[str, Sequence[int]]) -> dict[str, tuple[float, str]]:
        """Return family -> what its best entry that lacks one word is worth, and its words."""
        found: dict[str, tuple[float, str]] = {}
        near = {e for word in places for e in self._longer.get(word, ())}
        for entry in sorted(near, key=lambda e: (e.family, e.words)):
            there = tuple(word for word in entry.words if word in places)
            worth = _ALL_BUT_ONE * entry.weight
            if (
                len(set(there)) == len(set(entry.words)) - 1
                and worth > found.get(entry.family, (0.0, ""))[0]
                and _stands(there, places)
            ):
                found[entry.family] = (worth, entry.shown)
        return found

    @cached_property
    def _longer(self) -> Mapping[str, tuple[_Entry, ...]]:
        """Return word -> the entries of three words or more that hold it."""
        found: dict[str, list[_Entry]] = defaultdict(list)
        for entry in {e for es in self._entries.values() for e in es}:
            words = set(entry.words)
            for word in words if len(words) >= _LONG else ():
                found[word].append(entry)
        return {word: tuple(entries) for word, entries in found.items()}

    @cached_property
    def _apart(self) -> tuple[_Entry, ...]:
        """Return what is no complaint of any family."""
        rows = [(tokens(text, _same()), text) for text in spoken()["apart"]]
        weight = _APART_WORTH * math.log(1.0 + max(len(self.families), _FEWEST))
        return tuple(_Entry("", words, weight, text) for words, text in rows if words)

    @cached_property
    def _loose(self) -> Mapping[str, Mapping[str, float]]:
        """Return word -> family -> how much more that family's entries hold it than the others'."""
        held: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
        whole: dict[str, float] = defaultdict(float)
        for entry in {e for es in self._entries.values() for e in es}:
            for word in set(entry.words):
                held[word][entry.family] += 1.0
                whole[entry.family] += 1.0
        for family in self.families:
            for text, worth in _texts(family):
                for word in set(tokens(text, _same())):
                    held[word][family.id] += worth
                    whole[family.id] += worth
        every = max(sum(whole.values()), 1)
        found: dict[str, dict[str, float]] = {}
        for word, families in held.items():
            usual = (sum(families.values()) + 1.0) / every
            for name, count in families.items():
                ratio = math.log((count + 0.5) / (whole[name] * usual + 0.5))
                if ratio > 0.0:
                    found.setdefault(word, {})[name] = _LOOSE * ratio
        return found

    @cached_property
    def _share(self) -> Mapping[str, float]:
        return {f: row.get("share", 1.0) for f, row in spoken()["families"].items()}

    @cached_property
    def _entries(self) -> Mapping[str, tuple[_Entry, ...]]:
        """Return the rarest word of an entry -> the entries."""
        rows = [row for family in self.families for row in _rows(family)]
        used: dict[str, set[str]] = defaultdict(set)
        for family, words, _, _ in rows:
            for word in words:
                used[word].add(family)
        count = max(len(self.families), _FEWEST)
        rare = {word: math.log(1.0 + count / len(who)) for word, who in used.items()}
        found: dict[str, list[_Entry]] = defaultdict(list)
        for family, words, worth, shown in dict.fromkeys(rows):
            weight = worth * sum(rare[w] for w in set(words)) / math.sqrt(len(set(words)))
            first = max(words, key=lambda w: (rare[w], w))
            found[first].append(_Entry(family, words, weight / 3.0, shown))
        return {word: tuple(entries) for word, entries in found.items()}

    @cached_property
    def _known(self) -> frozenset[str]:
        told = (w for es in self._entries.values() for e in es for w in e.words)
        return frozenset((*told, *_same().values(), *(w for e in self._apart for w in e.words)))

    def _own_words(
        self, places: Mapping[str, Sequence[int]]
    ) -> dict[str, tuple[float, tuple[str, ...]]]:
        """Return what the shop's earlier complaints add to each family."""
        count, total = self._counted
        if not total:
            return {}
        offered = {f.id for f in self.families}
        found: dict[str, tuple[float, tuple[str, ...]]] = {}
        for family in sorted(offered & set(total)):
            gain, because = 0.0, []
            for word in sorted(set(places) - _bare()):
                here = count[family][word]
                elsewhere = sum(c[word] for c in count.values()) - here
                if here < _OWN_FROM:
                    continue
                ratio = math.log((here + 0.5) / (elsewhere + 0.5))
                if ratio > 0.0:
                    gain += ratio
                    because.append(word)
            if because:
                found[family] = (min(gain, _OWN), (f"earlier here: {', '.join(because)}",))
        return found

    @cached_property
    def _counted(self) -> tuple[Mapping[str, Counter[str]], Mapping[str, int]]:
        count: dict[str, Counter[str]] = defaultdict(Counter)
        total: Counter[str] = Counter()
        for said in self.earlier:
            words = set(tokens(said.words, _same(), self._known))
            for family in said.families:
                count[family].update(words)
                total[family] += 1
        return count, total


def guessed(
    words: str, families: Iterable[Family], earlier: Iterable[Said] = ()
) -> tuple[Guess, ...]:
    """Return the families that a driver's words may be about, at most three, likeliest first."""
    return _matcher(tuple(families), tuple(earlier)).guess(words)


_KEPT: list[Matcher] = []


def _matcher(families: tuple[Family, ...], earlier: tuple[Said, ...]) -> Matcher:
    """Return the matcher of these families; the last one is kept while nothing differs."""
    same = (
        m
        for m in _KEPT
        if m.earlier == earlier
        and len(m.families) == len(families)
        and all(a is b for a, b in zip(m.families, families, strict=True))
    )
    found = next(same, None) or Matcher(families, earlier)
    _KEPT[:] = [found]
    return found


def _rows(family: Family) -> Iterator[tuple[str, tuple[str, ...], float, str]]:
    """Yield (family, its words made alike, worth, as written) of everything a family is called."""
    told: dict[str, list[str]] = spoken()["families"].get(family.id, {})
    for name, worth in _LISTS.items():
        for text in told.get(name, ()):
            if words := tokens(text, _same()):
                yield family.id, words, worth, text
    for text in (*_pieces(family.complaint_words), family.name):
        words = tokens(text, _same())
        if 0 < len(words) <= 4:
            yield family.id, words, _OF_PACK, text


def _texts(family: Family) -> Iterator[tuple[str, float]]:
    """Yield what a pack says of itself in passing, and how often a word of it counts."""
    for cause in family.causes:
        yield cause.name, _OF_PARTS
    for question in family.triage:
        yield question.ask, _OF_TEXT
        for answer in question.answers:
            yield answer.answer, _OF_TEXT
            yield answer.means, _OF_TEXT
    for test in family.tests:
        yield test.name, _OF_PARTS
        yield test.positive, _OF_TEXT
        for words in test.outcome_words.values():
            yield words, _OF_TEXT
    for trap in family.traps:
        yield trap.words, _OF_TEXT


def _pieces(text: str) -> list[str]:
    return [p.strip(' ".') for p in text.replace(";", ",").replace(" or ", ",").split(",")]


def _stands(words: Sequence[str], places: Mapping[str, Sequence[int]]) -> bool:
    """Say whether the words stand near each other in what was said, in any order."""
    if any(word not in places for word in words):
        return False
    if len(words) == 1:
        return True
    wide = len(words) + _APART
    return any(
        all(any(abs(p - start) < wide for p in places[word]) for word in words)
        for start in places[words[0]]
    )


def _sum(entries: Sequence[_Entry]) -> tuple[float, tuple[str, ...]]:
    """Add up what matched; words that were counted add little a second time."""
    score, counted, because = 0.0, set[str](), list[str]()
    for entry in sorted(entries, key=lambda e: (-e.weight, e.words)):
        new = len(set(entry.words) - counted) / len(set(entry.words))
        score += entry.weight * max(new, _AGAIN if len(because) < 6 else 0.0)
        if new > 0.0:
            because.append(entry.shown)
        counted |= set(entry.words)
    return score, tuple(because[:3])
