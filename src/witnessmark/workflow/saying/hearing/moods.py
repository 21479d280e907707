"""Clauses and their mood: meant, told, guessed, another truck's, out of a book, or seen here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["MOODS", "NOT_DONE", "Clause", "clause_at", "clauses_of", "is_negated"]

MOODS = ("plan", "hearsay", "guess", "other", "book")
_BREAKS = {",", ";", ".", "?", "!", "but", "pero"}
#: A number after these names something; it is no value.
NAMED = {"unit", "truck", "camion", "no", "number", "#", "num", "trailer", "bay", "case"}
_OTHER_VERBS = {
    "with",
    "makes",
    "made",
    "reads",
    "has",
    "had",
    "does",
    "did",
    "shows",
    "is",
    "gets",
    "got",
}
#: Where these are said, a number is that of a cylinder.
_CYLINDERS = frozenset({"leak", "cylinder", "cylinders", "contribution", "cut", "injector", "hole"})
#: Behind these a "no" no longer counts: "not white, it is blue".
_TURNS = {"it", "but", "just", "only", "there"}
#: Behind what was read: what should have been.
_WANTED = frozenset({"should", "supposed", "needs", "wants", "ought", "spec"})
#: What was read, after what the book says.
_READ = frozenset(
    {"got", "makes", "only", "actual", "reads", "reading", "shows", "showing", "found"}
)
#: Moods in which nothing was done or looked at.
NOT_DONE = frozenset({"plan", "other", "book", "guess"})
#: Moods that hold on after a comma until the speaker comes back to this truck.
_LASTING = ("other", "book", "hearsay", "plan")


@dataclass(frozen=True, slots=True)
class Clause:
    """A stretch of the line.

    Attributes:
        first: its first token.
        end: one past its last token.
        moods: its moods; none: seen here.
    """

    first: int
    end: int
    moods: frozenset[str]


def clause_at(clauses: Sequence[Clause], place: int) -> Clause:
    """Return the clause that holds a token."""
    return next(c for c in clauses if c.first <= place < c.end)


@cache
def _mood_words() -> Phrases:
    speech = table("speech")["moods"]
    return phrases([(said, mood) for mood in (*MOODS, "back") for said in speech[mood]])


@cache
def _negations() -> Phrases:
    return phrases([(said, True) for said in table("speech")["negations"]["words"]])


def clauses_of(tokens: Sequence[Token]) -> list[Clause]:
    """Cut the line into clauses, each with its mood."""
    marks: dict[int, str] = {}
    at = 0
    while at < len(tokens):
        hit = longest(tokens, at, _mood_words())
        in_shop = tokens[at].text == "here" and at + 1 < len(tokens) and (
            tokens[at + 1].text in {"already", "now", "today", "yet"}
        )  # fmt: skip
        if hit is not None and in_shop:
            at += 1  # "hub seal here already" is about a part
            continue
        denied = tokens[at].text == "will" and at + 1 < len(tokens) and tokens[at + 1].text == "not"
        if hit is not None and denied and hit[0] == 1:
            at += 1  # "will not go over 40" is seen here and now
            continue
        if hit is not None:
            marks[at] = str(hit[1])
            at += hit[0]
            continue
        if _another_unit(tokens, at):
            marks[at] = "other"
        wanted = tokens[at].text in {"needs", "wants", "spec", "specs"} and at + 1 < len(tokens)
        if wanted and tokens[at + 1].number is not None:
            marks[at] = "book"  # "needs 28 psi"
        at += 1
    found: list[Clause] = []
    first, moods, lasting = 0, set[str](), set[str]()

    def close(end: int) -> None:
        nonlocal first, moods, lasting
        if end > first:
            figures = any(t.number is not None for t in tokens[first:end])
            kept = {m for m in lasting if m != "plan" or not figures}
            found.append(Clause(first, end, frozenset(moods | kept)))
            lasting = {m for m in moods | kept if m in _LASTING}
        first, moods = end, set()

    for place, token in enumerate(tokens):
        mood = marks.get(place)
        if token.text in {"?", "¿"}:
            moods.add("guess")
        read = any(t.number is not None for t in tokens[first:place])
        apart = (mood == "other" and moods != {"other"}) or (
            mood == "book" and read and not moods and token.text in _WANTED
        )
        if token.text in _BREAKS or mood == "back" or apart:
            close(place)
        if token.text in {"but", "pero", *_READ}:  # "should be 30 but it is 21", "..., got 21"
            lasting.discard("book")
        if mood == "back":
            lasting, moods = set(), set()
        elif mood is not None:
            moods.add(mood)
    close(len(tokens))
    return _hedged(tokens, found)


def _hedged(tokens: Sequence[Token], clauses: list[Clause]) -> list[Clause]:
    """A clause that is nothing but a doubt ("not sure", "i think") is about the one before it."""
    found = list(clauses)
    for number in range(1, len(found)):
        clause = found[number]
        words = [t for t in tokens[clause.first : clause.end] if t.text not in _BREAKS]
        bare = len(words) <= 3 and all(t.number is None for t in words)
        doubts = clause.moods & {"guess", "hearsay"}
        if bare and doubts:
            before = found[number - 1]
            found[number - 1] = Clause(before.first, before.end, before.moods | doubts)
    return found


def _another_unit(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether "unit 14 makes" begins here: a number of a truck that then does something."""
    if tokens[at].text not in {"unit", "truck", "camion", "number", "#"} or at + 2 >= len(tokens):
        return False
    if tokens[at].text in {"number", "#"} and {t.text for t in tokens} & _CYLINDERS:
        return False  # "leak down number 5 is 42 percent"
    owns = tokens[at + 2].text == "'"  # "truck 12's gallery was 88 psi"
    return tokens[at + 1].number is not None and (owns or tokens[at + 2].text in _OTHER_VERBS)


def is_negated(tokens: Sequence[Token], sign: int, first: int) -> bool:
    """Tell whether a "no" stands before the word *sign*, within its clause from *first*."""
    at = max(first, sign - 4)
    turns = [p for p in range(at, sign) if tokens[p].text in _TURNS]
    at = turns[-1] + 1 if turns else at
    while at < sign:
        hit = longest(tokens, at, _negations())
        if hit is not None and at + hit[0] <= sign:
            return True
        at += 1
    return False
