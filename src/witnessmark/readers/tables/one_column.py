"""Text with one number a line: what stands above it, its heading, and the numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise

from witnessmark.readers.tables.table_headings import is_remark, split_key
from witnessmark.readers.tables.table_layout import decoded_text

__all__ = ["OneColumn", "column_of", "number_of"]

_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
_COMMA = re.compile(r"[-+]?\d+,(\d{3,})")
_HEADING = re.compile(r"\"?[A-Za-zµ][\w .\[\]()/\u00b5\u00b0%-]{0,60}\"?")
#: Lines that may stand above the numbers.
_MOST_ABOVE = 40
#: Fewer lines show nothing.
_LEAST = 12


@dataclass(frozen=True, slots=True)
class OneColumn:
    """How a text of one column is laid out.

    Attributes:
        first_line: number of lines before the first number.
        heading: over the numbers, or empty.
        comma: numbers carry a decimal comma.
        above: key -> values of the lines above.
        values: the numbers of the first lines.
    """

    first_line: int
    heading: str
    comma: bool
    above: dict[str, list[str]] = field(default_factory=dict)
    values: tuple[float, ...] = ()


def column_of(head: bytes, *, whole: bool) -> OneColumn | None:
    """Return the layout of a text of one column; ``None`` where it is none.

    Args:
        head: the first bytes of the file.
        whole: they are the whole file.
    """
    text, _ = decoded_text(head[:16384])
    if "\0" in text:
        return None
    lines = [line.strip() for line in re.split(r"\r\n|\n|\r", text.lstrip("\ufeff"))]
    if not whole or len(head) > 16384:
        lines = lines[:-1]
    heading = ""
    above: dict[str, list[str]] = {}
    for number, line in enumerate(lines[: _MOST_ABOVE + 1]):
        bare = line.rstrip(",;").strip()
        if not bare:
            continue
        if _NUMBER.fullmatch(bare) or _COMMA.fullmatch(bare):
            return _numbers(lines, number, heading, above)
        found = split_key(line) or _with_mark(line)
        if found is not None and not re.fullmatch(r".*[\[(]", found[0]):
            above[found[0]] = [found[1]]
        elif not is_remark(line):
            if not _HEADING.fullmatch(bare):
                return None
            heading = bare.strip('"')
    return None


def number_of(line: str, *, comma: bool) -> float | None:
    """Return the number on a line, ``None`` where there is none."""
    bare = line.strip().rstrip(";" if comma else ",;").strip()
    if comma:
        bare = bare.replace(",", ".")
    return float(bare) if _NUMBER.fullmatch(bare) else None


def _with_mark(line: str) -> tuple[str, str] | None:
    """Take ``Sampling rate,5000`` apart."""
    found = re.fullmatch(r"\"?([A-Za-z][^\d,;\t]{1,60}?)\"?[,;\t]\s*\"?(\d.*?)\"?", line)
    return (found[1].strip().lower(), found[2].replace("\t", " ")) if found else None


def _numbers(
    lines: list[str], first: int, heading: str, above: dict[str, list[str]]
) -> OneColumn | None:
    body = [line for line in lines[first:] if line]
    comma = _is_comma(body)
    values = [number_of(line, comma=comma) for line in body]
    known = tuple(v for v in values if v is not None)
    if len(known) < _LEAST or len(known) < 0.98 * len(values):
        return None
    return OneColumn(first, heading, comma, above, known)


def _is_comma(body: list[str]) -> bool:
    """Tell one number with a decimal comma from two whole numbers."""
    found = [m for line in body if (m := _COMMA.fullmatch(line.rstrip(";")))]
    if len(found) < 0.98 * len(body) or len({len(m[1]) for m in found}) > 1:
        return False
    whole = [m[0].split(",")[0] for m in found]
    return len(found[0][1]) >= 4 and sum(a == b for a, b in pairwise(whole)) >= 0.3 * len(whole)
