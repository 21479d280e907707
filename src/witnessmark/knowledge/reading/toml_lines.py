"""On which line of a TOML text each key stands.

The text has been read by a full parser before; this one only keeps count of lines. It may err on
odd text and then answers less, never an exception.
"""

from __future__ import annotations

import re

__all__ = ["TomlLines"]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_REST = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_PLAIN = re.compile(r"[^,\]}\s#]+(?: [0-9:.]+[^,\]}\s#]*)?")
Path = tuple[int | str, ...]


class TomlLines:
    """Line numbers of a TOML text, by path in the document; counted when first asked."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._table: Path = ()
        self._count: dict[Path, int] = {}
        self._lines: dict[Path, int] = {(): 1}
        self._starts: list[int] = []

    def _count_lines(self) -> None:
        self._starts = [0, *(m.end() for m in re.finditer("\n", self._text))]
        try:
            self._document()
        except (IndexError, ValueError, RecursionError):
            return

    def line(self, path: Path) -> int | None:
        """Return the line of a path, or of the innermost part of it that stands in the text."""
        if not self._starts:
            self._count_lines()
        for end in range(len(path), 0, -1):
            found = self._lines.get(path[:end])
            if found is not None:
                return found
        return None

    def _note(self, path: Path) -> None:
        low, high = 0, len(self._starts)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self._starts[middle] <= self._at else (low, middle)
        self._lines.setdefault(path, low + 1)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self._text, self._at)
        if found is None:
            raise ValueError
        self._at = found.end()
        return found.group()

    def _document(self) -> None:
        while True:
            self._skip(_REST)
            if self._at >= len(self._text):
                return
            if self._text[self._at] == "[":
                self._header()
            else:
                self._pair(self._table)

    def _header(self) -> None:
        start = self._at
        many = self._text.startswith("[[", start)
        self._at += 2 if many else 1
        keys = self._keys()
        self._at += 2 if many else 1
        path: Path = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            last = number == len(keys) - 1
            if last and many:
                self._count[path] = self._count.get(path, -1) + 1
            if path in self._count:
                path = (*path, self._count[path])
        end, self._at = self._at, start
        for depth in range(1, len(path) + 1):
            self._note(path[:depth])
        self._at = end
        self._table = path

    def _pair(self, table: Path) -> None:
        start = self._at
        path = (*table, *self._keys())
        end, self._at = self._at, start
        for depth in range(len(table) + 1, len(path) + 1):
            self._note(path[:depth])
        self._at = end + 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _keys(self) -> Path:
        keys: list[str] = []
        while True:
            self._skip(_SPACE)
            if self._text[self._at] in "\"'":
                keys.append(self._string())
            else:
                keys.append(self._skip(_BARE))
            self._skip(_SPACE)
            if self._text[self._at] != ".":
                return tuple(keys)
            self._at += 1

    def _string(self) -> str:
        quote = self._text[self._at]
        mark = quote * 3 if self._text.startswith(quote * 3, self._at) else quote
        start = self._at = self._at + len(mark)
        while not self._text.startswith(mark, self._at):
            step = 2 if quote == '"' and self._text[self._at] == "\\" else 1
            if self._at >= len(self._text):
                raise ValueError
            self._at += step
        found = self._text[start : self._at]
        self._at += len(mark)
        while len(mark) == 3 and self._text.startswith(quote, self._at):
            self._at += 1  # quotes that belong to the text
        return found

    def _value(self, path: Path) -> None:
        first = self._text[self._at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self._items(path, "]", keyed=False)
        elif first == "{":
            self._items(path, "}", keyed=True)
        else:
            self._skip(_PLAIN)

    def _items(self, path: Path, closing: str, *, keyed: bool) -> None:
        self._at += 1
        number = 0
        while True:
            self._skip(_REST)
            if self._text[self._at] == closing:
                self._at += 1
                return
            if self._text[self._at] == ",":
                self._at += 1
            elif keyed:
                self._pair(path)
            else:
                self._note((*path, number))
                self._value((*path, number))
                number += 1
