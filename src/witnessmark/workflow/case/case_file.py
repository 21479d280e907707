"""A case as one file: one entry a line."""

from __future__ import annotations

from pathlib import Path

from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.problem import Problem

__all__ = ["MAX_CASE_FILE", "lines_of", "read_case_file"]

#: A case file larger than this is refused.
MAX_CASE_FILE = 64 << 20


def read_case_file(path: Path) -> Case:
    """Read a case file without a shop.

    Raises:
        InputRefused: no file, not text, or larger than a case can be.
    """
    lines, remarks = lines_of(path)
    case = read_case(path.name.removesuffix(".jsonl"), lines, where=path.name)
    return Case(case.id, case.entries, (*remarks, *case.problems), case.damaged)


def lines_of(path: Path) -> tuple[list[str], list[Problem]]:
    """Return the lines of a case file, and what was odd about its text.

    Raises:
        InputRefused: no file, not text, or larger than a case can be.
    """
    if not path.is_file():
        raise InputRefused("There is no such case file.", where=str(path), do="Check the path.")
    if path.stat().st_size > MAX_CASE_FILE:
        raise InputRefused(
            f"A case file has at most {MAX_CASE_FILE >> 20} MiB.",
            where=str(path),
            do="Recordings and photos belong into files of their own.",
        )
    content = path.read_bytes()
    if b"\x00" in content[:4096]:
        raise InputRefused(
            "This is not a case file: it is not text.",
            where=str(path),
            do="A case file has one JSON object a line. For a recording use 'witnessmark look'.",
        )
    try:
        return _split(content.decode("utf-8")), []
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        problem = Problem(
            f"{path.name} line {line}",
            "Some bytes are not UTF-8 text.",
            "They are shown as �; enter the words anew.",
        )
        return _split(content.decode("utf-8", errors="replace")), [problem]


def _split(text: str) -> list[str]:
    """Split at line feeds only, so that every line comes out again to the letter."""
    return text.removesuffix("\n").split("\n") if text else []
