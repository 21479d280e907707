"""The list of cases as finished rows, kept until the case changes: found, counted and paged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, String, cast, func, literal, or_, select, update

from witnessmark.casebook import casebook_tables as tables
from witnessmark.casebook.engine import Database

__all__ = ["KeptRow", "Rows"]

_BATCH = 500


@dataclass(frozen=True, slots=True)
class KeptRow:
    """A finished row of a case.

    Attributes:
        case_id: the case.
        changed: the change of the case it speaks of; see :meth:`Casebook.state`.
        text: the row, in the writer's own format.
        is_open: whether the case is open.
        words: what it is found by, in small letters.
    """

    case_id: str
    changed: int
    text: str
    is_open: bool
    words: str


class Rows:
    """The kept rows of a casebook.

    Args:
        database: where the casebook is.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def stale(self, version: str) -> list[tuple[str, int]]:
        """Return (case, number of its change) of the cases without a row of this *version*."""
        c = tables.cases.c
        key = _key_of(version)
        query = select(c.id, c.changed).where(or_(c.row_key.is_(None), c.row_key != key))
        with self._database.read() as connection:
            return [(row[0], int(row[1])) for row in connection.execute(query)]

    def keep(self, rows: Iterable[KeptRow], version: str) -> None:
        """Keep rows; one whose case changed meanwhile is left out."""
        c = tables.cases.c
        waiting = list(rows)
        for start in range(0, len(waiting), _BATCH):
            with self._database.write() as connection:
                for row in waiting[start : start + _BATCH]:
                    connection.execute(
                        update(tables.cases)
                        .where(c.id == row.case_id, c.changed == row.changed)
                        .values(
                            row=row.text,
                            row_open=int(row.is_open),
                            row_words=row.words[:2000],
                            row_key=f"{version}:{row.changed}",
                        )
                    )

    def page(
        self, *, is_open: bool, words: Sequence[str] = (), offset: int = 0, limit: int = 50
    ) -> tuple[list[KeptRow], int]:
        """Return one page of rows, what was touched last first, and how many there are in all."""
        c = tables.cases.c
        where = [c.row_open == int(is_open)]
        where += [c.row_words.contains(word.lower(), autoescape=True) for word in words]
        query = (
            select(c.id, c.changed, c.row, c.row_open, c.row_words)
            .where(*where)
            .order_by(c.changed.desc())
            .offset(offset)
            .limit(limit)
        )
        with self._database.read() as connection:
            total = connection.scalar(select(func.count()).select_from(tables.cases).where(*where))
            found = [
                KeptRow(row[0], int(row[1]), row[2] or "", bool(row[3]), row[4] or "")
                for row in connection.execute(query)
            ]
        return found, int(total or 0)

    def every(self) -> list[str]:
        """Return the rows of all cases, what was touched last first."""
        query = select(tables.cases.c.row).order_by(tables.cases.c.changed.desc())
        with self._database.read() as connection:
            return [text for text in connection.scalars(query) if text]

    def states(self) -> dict[str, tuple[str, int]]:
        """Return case -> (when it was opened, number of its change)."""
        c = tables.cases.c
        with self._database.read() as connection:
            found = connection.execute(select(c.id, c.opened, c.changed))
            return {case: (opened, int(changed)) for case, opened, changed in found}

    def newest_change(self) -> int:
        """Return the number of the newest change of any case."""
        with self._database.read() as connection:
            return int(connection.scalar(select(func.max(tables.cases.c.changed))) or 0)

    def changed_since(self, number: int) -> dict[str, int]:
        """Return case -> number of its change for every change after *number*."""
        c = tables.cases.c
        query = select(c.id, c.changed).where(c.changed > number).order_by(c.changed)
        with self._database.read() as connection:
            return {row[0]: int(row[1]) for row in connection.execute(query)}


def _key_of(version: str) -> ColumnElement[str]:
    return literal(f"{version}:") + cast(tables.cases.c.changed, String)
