"""What no text of an entry may hold, whoever wrote it: it would break those who read it."""

from __future__ import annotations

from collections.abc import Iterator

__all__ = ["turns_reading", "unsound", "unstorable"]

#: Levels of objects and lists within one another; an honest entry has five.
DEEPEST = 16
#: Fields and items of one entry together.
MOST_VALUES = 20_000
#: Characters of one text.
LONGEST_TEXT = 100_000
#: Whole numbers beyond this cannot be told apart any more once they are calculated with.
_LARGEST = 2**63

_OPENS = frozenset("\u202a\u202b\u2066\u2067\u2068")
_CLOSES = {"\u202a": "\u202c", "\u202b": "\u202c"}
_OVERRIDES = "\u202d\u202e"
_DEEPEST_TURN = 4


def unsound(found: object) -> str:
    """Return what is wrong with a JSON value, empty when nothing is.

    Depth, number of values, length of texts, NUL and other control characters, half characters
    (lone surrogates), numbers beyond 64 bits.
    """
    count = 0
    waiting: list[tuple[object, int]] = [(found, 1)]
    while waiting:
        value, depth = waiting.pop()
        count += 1
        if depth > DEEPEST:
            return f"it is nested deeper than {DEEPEST} levels"
        if count > MOST_VALUES:
            return f"it has more than {MOST_VALUES} values"
        if isinstance(value, str):
            if fault := _text_fault(value):
                return fault
        elif isinstance(value, int) and not -_LARGEST <= value < _LARGEST:
            return "a number has more digits than can be calculated with"
        elif isinstance(value, dict):
            waiting += [(key, depth) for key in value]
            waiting += [(inner, depth + 1) for inner in value.values()]
        elif isinstance(value, list):
            waiting += [(inner, depth + 1) for inner in value]
    return ""


def unstorable(line: str) -> str:
    """Return why a line cannot be stored as it is, empty when it can."""
    if "\x00" in line:
        return "it holds a NUL character"
    if any("\ud800" <= c <= "\udfff" for c in line):
        return "it holds half a character"
    return ""


def turns_reading(found: object) -> bool:
    """Say whether a text of a JSON value turns the direction of reading for what follows it.

    Such marks let a text look like another one. Pairs that are closed again, as a phone puts them
    around a name in another script, are none.
    """
    return any(_turns(text) for text in _texts(found))


def _texts(found: object) -> Iterator[str]:
    if isinstance(found, str):
        yield found
    elif isinstance(found, dict):
        for key, value in found.items():
            yield key
            yield from _texts(value)
    elif isinstance(found, list):
        for value in found:
            yield from _texts(value)


def _text_fault(text: str) -> str:
    if len(text) > LONGEST_TEXT:
        return f"a text has more than {LONGEST_TEXT} characters"
    if text.isprintable():
        return ""
    for character in text:
        if "\ud800" <= character <= "\udfff":
            return "a text holds half a character (a lone surrogate)"
        if (character < " " and character not in "\t\n\r") or "\x7f" <= character <= "\x9f":
            return f"a text holds the control character U+{ord(character):04X}"
    return ""


def _turns(text: str) -> bool:
    open_marks: list[str] = []
    for character in text:
        if character in _OVERRIDES:
            return True
        if character in _OPENS:
            open_marks.append(_CLOSES.get(character, "\u2069"))
            if len(open_marks) > _DEEPEST_TURN:
                return True
        elif character in "\u202c\u2069" and (not open_marks or open_marks.pop() != character):
            return True
    return bool(open_marks)
