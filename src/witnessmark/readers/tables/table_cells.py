"""The cells of a table: pieces of text into arrays of numbers, with a count of what is none."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.tables.table_again import HeadingsAgain, swapped_behind_break
from witnessmark.readers.tables.table_layout import Layout
from witnessmark.readers.tables.table_rows import RowCheck
from witnessmark.readers.told import Trouble

if TYPE_CHECKING:
    import polars as pl
else:
    pl = late("polars")

__all__ = ["frames"]

#: Text read at once.
_PIECE = 8 * 2**20
_NOTHING = ["", "-", "--", "---", "----", "NA", "N/A", "n/a", "NaN", "nan", "null", "NULL", "None",
            "none", "#N/A", "nodata", "NODATA", "?", "*", "inf", "-inf", "Inf"]  # fmt: skip
#: A number with one mark that groups nothing: other than three digits stand behind it.
_ONE_MARK = r"^[-+]?\d+{}(\d{{1,2}}|\d{{4,}})$"
_TRUE = ["on", "true", "yes", "closed", "active", "high"]
_FALSE = ["off", "false", "no", "open", "inactive", "low"]


def frames(
    source: FileSource, layout: Layout, texts: frozenset[int], trouble: Trouble
) -> Iterator[pl.DataFrame]:
    """Yield the rows piece by piece; columns are called ``c0``, ``c1``, ...

    Args:
        source: the file.
        layout: its layout.
        texts: columns that stay text (clock times, dates).
        trouble: counts the cells that hold no number.
    """
    count = len(layout.names)
    delimiter = b"\t" if layout.delimiter == " " else layout.delimiter.encode()
    check = RowCheck(delimiter, count, layout.first_row + 1, trouble)
    again = HeadingsAgain(layout, trouble, check)
    for block in _whole(_rows(source, layout), layout, trouble):
        text = block
        if layout.delimiter == " ":
            text = re.sub(rb"[ \t]+", b"\t", re.sub(rb"(?m)^[ \t]+|[ \t]+$", b"", text))
        elif layout.spaced:
            text = re.sub(rb"[ \t]*" + re.escape(layout.delimiter.encode()) + rb"[ ]*",
                          layout.delimiter.encode(), text)  # fmt: skip
        first = check.line
        rows, lines = check.fitting(text)
        if not rows or rows.isspace():
            continue
        found = _fast(rows, layout, texts)
        if found is None:
            check.line = first
            rows, lines = check.fitting(text, closely=True)
            if not rows or rows.isspace():
                continue
            found = _parsed(rows, layout, texts, trouble, again, _Lines(first, lines))
        if lines is not None and check.others and not again.ended:
            found, again.ended = swapped_behind_break(found, lines, check.others, trouble)
        yield found
        if again.ended:
            return


def _whole(blocks: Iterator[bytes], layout: Layout, trouble: Trouble) -> Iterator[bytes]:
    """Leave out a last row that was cut off: a number cut in two would look like one."""
    before: bytes | None = None
    rows = b""
    for block in blocks:
        if b"\0" in block:
            lines = block.split(b"\n")
            trouble.add(
                "damaged rows",
                "{count} rows are damaged; they are left out.",
                do="Copy the file from the recorder again.",
                count=sum(b"\0" in line for line in lines),
            )
            # An empty line stays in place, so that lines are counted as an editor does.
            block = b"\n".join(b"" if b"\0" in line else line for line in lines)  # noqa: PLW2901
        if before is not None:
            rows = before[-4000:]
            yield before
        before = block
    if before is None:
        return
    last = before[before.rfind(b"\n") + 1 :]
    rows = before if b"\n" in before else rows
    if last.strip() and _is_cut(last, rows, layout):
        trouble.add(
            "cut",
            "The table is cut off within its last row; that row is left out.",
            do="Copy the file from the recorder again.",
        )
        before = before[: len(before) - len(last)]
    if before:
        yield before


def _is_cut(last: bytes, rows: bytes, layout: Layout) -> bool:
    """Say whether a row without an end has fewer cells, or a shorter last number, than *rows*."""
    delimiter = b" " if layout.delimiter == " " else layout.delimiter.encode()
    lines = [line.rstrip(b"\r") for line in rows[-4000:].split(b"\n")[1:-1]][-20:]
    if len(lines) < 3:
        return False
    cells = [len(line.split(delimiter)) for line in lines]
    if len(last.split(delimiter)) < min(cells):
        return True
    ends = [line.split(delimiter)[-1].strip().strip(b'"') for line in lines]
    decimals = {len(e.partition(b"," if layout.decimal_comma else b".")[2]) for e in ends}
    mine = last.split(delimiter)[-1].strip().strip(b'"')
    here = len(mine.partition(b"," if layout.decimal_comma else b".")[2])
    return len(decimals) == 1 and here < next(iter(decimals))


def _rows(source: FileSource, layout: Layout) -> Iterator[bytes]:
    """Yield pieces of whole lines as UTF-8, from the first row of data on."""
    skip = layout.first_row
    for piece in _utf8(source, layout.encoding):
        block = piece
        if block.count(b"\r") != block.count(b"\r\n"):
            block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        while skip:
            at = block.find(b"\n")
            if at < 0:
                block = b""
                skip -= 1
                break
            block = block[at + 1 :]
            skip -= 1
        if layout.quoting == "=":
            block = block.replace(b'="', b'"')
        elif layout.quoting:
            block = block.replace(b"'", b"")
        if block:
            yield block


def _utf8(source: FileSource, encoding: str) -> Iterator[bytes]:
    if encoding in {"utf-8", "cp1252"}:
        # Headings may hold other letters; rows of numbers are plain in both.
        yield from source.lines(_PIECE)
        return
    if encoding == "utf-8-sig":
        for number, block in enumerate(source.lines(_PIECE)):
            yield block.removeprefix(codecs.BOM_UTF8) if number == 0 else block
        return
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    rest = ""
    for block in source.blocks(_PIECE):
        text = rest + decoder.decode(block)
        cut = text.rfind("\n") + 1
        yield text[:cut].encode()
        rest = text[cut:]
    if rest:
        yield rest.encode()


class _Lines(NamedTuple):
    """Where the rows of a piece stand in the file."""

    first: int
    of_row: npt.NDArray[np.int64] | None

    def of(self, row: int) -> int:
        return self.first + row if self.of_row is None else int(self.of_row[row])


def _fast(text: bytes, layout: Layout, texts: frozenset[int]) -> pl.DataFrame | None:
    """Read numbers that are plainly written; ``None`` where a closer look is needed."""
    if layout.thousands or layout.tails or (layout.decimal_comma and layout.delimiter == ","):
        return None
    # A mark that no number has shown so far can be one of thousands: then every cell is looked at.
    other = b"." if layout.decimal_comma else b","
    if other != layout.delimiter.encode() and other in text:
        return None
    left = texts | set(range(layout.beside))
    schema: dict[str, type[pl.DataType]] = {
        f"c{i}": pl.String if i in left else pl.Float64 for i in range(len(layout.names))
    }
    for blanks in ([], _NOTHING):  # words for "nothing" cost time, so only when needed
        try:
            return _read(text, layout, schema, blanks)
        except _refusals():
            continue
    return None


def _parsed(
    text: bytes,
    layout: Layout,
    texts: frozenset[int],
    trouble: Trouble,
    again: HeadingsAgain,
    lines: _Lines,
) -> pl.DataFrame:
    """Read every cell as text first."""
    count = len(layout.names)
    texts = texts | set(range(layout.beside))
    try:
        strings = _read(text, layout, {f"c{i}": pl.String for i in range(count)}, _NOTHING)
    except _refusals():
        strings = _by_hand(text, layout, count)
    strings, places = again.without(strings, texts, lines.of)
    return strings.with_columns(
        [
            _numbers(strings[f"c{i}"], layout, trouble, i, places)
            for i in range(count)
            if i not in texts
        ]
    )


def _read(
    text: bytes, layout: Layout, schema: dict[str, type[pl.DataType]], blanks: list[str]
) -> pl.DataFrame:
    return pl.read_csv(
        BytesIO(text),
        has_header=False,
        separator="\t" if layout.delimiter == " " else layout.delimiter,
        schema=schema,
        null_values=blanks or None,
        decimal_comma=layout.decimal_comma and layout.delimiter != ",",
        encoding="utf8-lossy",
    )


def _refusals() -> tuple[type[BaseException], ...]:
    """The fast parser refuses odd text, or gives up altogether; then it is split by hand."""
    return pl.exceptions.PolarsError, pl.exceptions.PanicException


def _by_hand(text: bytes, layout: Layout, count: int) -> pl.DataFrame:
    """Split lines that the fast parser refuses (unbalanced quotes and the like)."""
    delimiter = "\t" if layout.delimiter == " " else layout.delimiter
    columns: list[list[str | None]] = [[] for _ in range(count)]
    for line in text.decode("utf-8", "replace").splitlines():
        cells = line.split(delimiter)
        for number, column in enumerate(columns):
            column.append(cells[number].strip(' "') if number < len(cells) else None)
    return pl.DataFrame({f"c{i}": pl.Series(c, dtype=pl.String) for i, c in enumerate(columns)})


def _numbers(
    column: pl.Series, layout: Layout, trouble: Trouble, place: int, lines: Sequence[int]
) -> pl.Series:
    text = column.str.strip_chars(' "\u00a0')
    if place < len(layout.tails) and layout.tails[place]:
        text = text.str.strip_suffix(layout.tails[place]).str.strip_chars_end()
    given = text
    unclear = _two_ways(text, layout)
    if unclear.any():
        first = unclear.arg_true()[0]
        trouble.add(
            "marks",
            f"'{str(text[first])[:20]}' in line {lines[first]}, column "
            f"'{layout.names[place] or place + 1}', can be read two ways beside the other numbers "
            "of this table ({count} such cells); they are not used.",
            do="Export the table without marks between thousands.",
            where=layout.names[place],
            count=int(unclear.sum()),
        )
        text = pl.select(pl.when(~unclear).then(text)).to_series()
    text = _plain_marks(text, layout)
    lowered = text.str.to_lowercase()
    text = (
        pl.DataFrame({"t": text, "l": lowered})
        .select(
            pl.when(pl.col("l").is_in(_TRUE))
            .then(pl.lit("1"))
            .when(pl.col("l").is_in(_FALSE))
            .then(pl.lit("0"))
            .when(pl.col("t").is_in(_NOTHING))
            .then(None)
            .otherwise(pl.col("t"))
            .alias("t")
        )
        .to_series()
    )
    values = text.cast(pl.Float64, strict=False)
    bad = text.is_not_null() & values.is_null()
    lost = int(bad.sum())
    if lost:
        first = bad.arg_true()[0]
        trouble.add(
            "cells",
            f"{{count}} cells hold no number, such as '{str(given[first])[:30]}' in line "
            f"{lines[first]}, column '{layout.names[place] or place + 1}'; they are taken as not "
            "available.",
            count=lost,
        )
    return values.alias(column.name)


def _marks(layout: Layout) -> tuple[str, str]:
    """Return the table's decimal mark, and the other one, which can only group thousands."""
    return (",", ".") if layout.decimal_comma else (".", ",")


def _plain_marks(text: pl.Series, layout: Layout) -> pl.Series:
    """Write numbers without marks of thousands and with a decimal point.

    A mark with other than three digits behind it groups nothing: another hand wrote ``13,9`` for
    13.9.
    """
    point, group = _marks(layout)
    if layout.thousands and layout.thousands != group:
        text = text.str.replace_all(layout.thousands, "", literal=True)
    else:
        other = text.str.contains(_ONE_MARK.format(re.escape(group))).fill_null(value=False)
        foreign = text.str.replace(group, point, literal=True)
        text = pl.select(
            pl.when(other).then(foreign).otherwise(text.str.replace_all(group, "", literal=True))
        ).to_series()
    return text.str.replace(",", ".", literal=True) if layout.decimal_comma else text


def _two_ways(text: pl.Series, layout: Layout) -> pl.Series:
    """Say which cells carry a mark that is neither this table's decimal mark nor a plain group.

    With decimal commas ``1.234`` is a thousand and more, or one and a bit written by another hand;
    ``1.234,5`` says it all. The same with points.
    """
    point, group = _marks(layout)
    if layout.thousands and layout.thousands != group:
        return pl.Series([False]).new_from_index(0, len(text))
    marked = text.str.contains(group, literal=True).fill_null(value=False)
    if not marked.any():
        return marked
    p, g = re.escape(point), re.escape(group)
    tail = rf"({p}\d+)?$" if layout.thousands else rf"{p}\d+$"
    plain = text.str.contains(rf"^[-+]?\d{{1,3}}({g}\d{{3}})+" + tail).fill_null(value=False)
    plain |= text.str.contains(_ONE_MARK.format(g)).fill_null(value=False)
    digits = text.str.contains(r"^[-+]?[\d.,]+([eE][-+]?\d+)?$").fill_null(value=False)
    return marked & digits & ~plain
