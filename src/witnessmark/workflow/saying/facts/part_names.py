"""The names of parts in a line: those of the table, and any other that a verb points at."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from witnessmark.workflow.saying.facts.hours_said import hits
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["close_behind", "joined_names", "name_before", "name_behind", "part_names"]

#: Words between a verb and its part.
_SMALL = frozenset(
    ("the", "a", "an", "both", "new", "all", "my", "our", "its", "that", "this", "front", "rear",
     "left", "right", "upper", "lower", "old", "number", "in", "on", "of", "rebuilt", "used",
     "another", "bad", "crank", "engine", "fuel", "oil", "primary", "secondary", "main", "out",
     "lf", "rf", "lr", "rr", "some", "two", "three", "four", "six", "up", "his", "her", "their",
     "gallon", "gallons", "quart", "quarts", "liter", "liters", "jug", "bottle", "tube", "couple")
)  # fmt: skip
#: Words at which the name of a part ends, and that are none by themselves.
_ENDS = frozenset(
    ("at", "in", "on", "for", "with", "to", "and", "because", "from", "then", "now", "this",
     "last", "yesterday", "today", "is", "was", "were", "are", "it", "them", "that", "again",
     "after", "before", "but", "no", "not", "still", "same", "so", "as", "by", "off", "out",
     "back", "over", "down", "under", "took", "which", "when", "while", "of", "due", "tomorrow",
     "tonight", "has", "have", "had", "did", "does", "will", "i", "we", "he", "she", "they",
     "there", "here", "cause", "per", "monday", "tuesday", "wednesday", "thursday", "friday",
     "saturday", "sunday", "next", "just", "also", "good", "bad", "ok", "fine", "til", "until")
)  # fmt: skip
_BREAKS = frozenset((",", ";", ".", "?", "!", ":", "(", ")", "/", "-", "@"))
#: No part: what a verb may be followed by all the same.
_NO_PART = frozenset(
    ("dry", "clean", "empty", "gear", "gears", "lanes", "color", "colour", "mind", "everything",
     "nothing", "something", "thing", "things", "job", "truck", "work", "them", "one", "ones",
     "time", "half", "rest")
)  # fmt: skip
#: Words between a part and what is said of it.
_BEFORE_STATE = frozenset(("is", "are", "was", "were", "has", "just", "finally", "now", "still",
                           "have"))  # fmt: skip
_MOST_WORDS = 4


@cache
def _parts() -> Phrases:
    return phrases([(said, said) for said in table("work")["parts"]["words"]])


def part_names(tokens: Sequence[Token], first: int, end: int) -> list[tuple[str, int, int]]:
    """Return the parts of the table named between two places: name, first token, end."""
    return [(str(name), a, b) for a, b, name in hits(tokens, _parts(), set())
            if first <= a and b <= end]  # fmt: skip


def name_behind(tokens: Sequence[Token], first: int, end: int) -> tuple[str, int, int] | None:
    """Return what stands right behind a verb as its part, whether or not a table knows it.

    "soldered the broken wire at the plug" names the broken wire, "installed a new jake solenoid"
    the jake solenoid. A figure or a pronoun is no part.
    """
    place = first
    while place < end and tokens[place].text in _SMALL | {"down"}:
        place += 1
    while place > first and tokens[place - 1].text in _KEPT_WITH:
        place -= 1
    words: list[str] = []
    stop = place
    while stop < end and len(words) < _MOST_WORDS:
        token = tokens[stop]
        # "on" and "in" are small before a name and end it behind
        if token.number is not None or token.text in _BREAKS or token.text in _ENDS:
            break
        words.append(token.text)
        stop += 1
    if not words or set(words) & _NO_PART or words[-1] in _KEPT_WITH:
        return None
    return " ".join(words), place, stop


#: Small words that belong to a name where one follows: "oil cooler", "front seal".
_KEPT_WITH = frozenset(("fuel", "oil", "primary", "secondary", "crank", "engine", "main", "upper",
                        "lower", "front", "rear"))  # fmt: skip


def name_before(tokens: Sequence[Token], first: int, end: int) -> tuple[str, int, int] | None:
    """Return what stands right before a word such as "is on order" as the part it is about."""
    stop = end
    while stop > first and tokens[stop - 1].text in _BEFORE_STATE:
        stop -= 1
    place = stop
    while place > first and stop - place < _MOST_WORDS:
        token = tokens[place - 1]
        ends = token.text in _ENDS or token.text in {"the", "a", "an", "new", "our", "my"}
        if token.number is not None or token.text in _BREAKS or ends:
            break
        place -= 1
    words = [t.text for t in tokens[place:stop]]
    if not words or set(words) & _NO_PART:
        return None
    return " ".join(words), place, stop


def joined_names(names: Sequence[tuple[str, int, int]]) -> list[str]:
    """Return the names, those that follow one another as one: turbo clamp."""
    found: list[str] = []
    last = -1
    for name, first, end in names:
        if found and first == last:
            found[-1] = f"{found[-1]} {name}"
        else:
            found.append(name)
        last = end
    return found


def close_behind(tokens: Sequence[Token], end: int, first: int) -> bool:
    """Tell whether a part is what the verb was done to: nothing but small words between them."""
    return all(t.text in _SMALL or t.number is not None for t in tokens[end:first])
