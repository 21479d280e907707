"""The casebook: cases as append-only lists of lines in SQLite, or PostgreSQL for several sites."""

from __future__ import annotations

import hashlib
import re
import sqlite3
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection, func, insert, select, text, update
from sqlalchemy.exc import DatabaseError, IntegrityError

from witnessmark.casebook import casebook_tables as tables
from witnessmark.casebook.beside import Beside, now
from witnessmark.casebook.chain import Link, first_link, line_digest, link, new_salt
from witnessmark.casebook.engine import DEFAULT_SHOP, Database
from witnessmark.casebook.faults import cause
from witnessmark.casebook.opening import VERSION, bring_up_to_date
from witnessmark.casebook.rows import Rows
from witnessmark.errors import (
    Conflict,
    EntryRefused,
    InputRefused,
    NotFound,
    StorageBusy,
)
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.entries.entry import must_be_readable, parse_entry
from witnessmark.model.entries.soundness import unstorable

__all__ = ["VERSION", "Casebook", "Summary", "is_case_id"]

T = TypeVar("T")
_CASE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_RETRIES = 20
#: How often a write to a server that went away is tried again, and after how long [s].
_AGAIN_S = (0.2, 0.5, 1.0, 2.0, 4.0)
#: Settings that no answer about a case rests on.
_PRIVATE = frozenset({"fleet_key", "locks", "secret"})


@dataclass(frozen=True, slots=True)
class Summary:
    """One row of the list of cases."""

    id: str
    opened: str
    lines: int
    last: str


class Casebook(Beside):
    """Cases in a database.

    Args:
        url: SQLAlchemy URL, ``sqlite:///...`` or ``postgresql+psycopg://...``.
        shop: whose rows these are, where several shops share one database.

    Raises:
        InputRefused: the database is not a casebook, or belongs to a newer version.
        StorageFault: the database cannot be used now.
    """

    def __init__(self, url: str, *, shop: str = DEFAULT_SHOP) -> None:
        self.database = Database(url, shop=shop)
        self.rows = Rows(self.database)
        try:
            bring_up_to_date(self.database)
        except (DatabaseError, sqlite3.DatabaseError) as error:
            self.database.close()
            raise InputRefused(
                f"The casebook could not be opened: {cause(error)}.",
                where=self.database.place,
                do="Check that the file is a casebook and not damaged; a copy made before the "
                "last change of version lies beside it.",
            ) from None
        except BaseException:
            self.database.close()
            raise

    @property
    def read_only(self) -> bool:
        """Whether the casebook can only be read here."""
        return self.database.read_only

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()

    def cases(self) -> list[Summary]:
        """Return every case, the one last written to first."""
        columns = (tables.cases.c.id, tables.cases.c.opened, tables.cases.c.lines)
        query = select(*columns, tables.cases.c.last).order_by(tables.cases.c.changed.desc())
        with self._read() as connection:
            return [Summary(*row) for row in connection.execute(query)]

    def new_case(self, case_id: str, lines: Iterable[str] = (), *, by: str | None = None) -> Case:
        """Open a case with its first lines.

        Raises:
            InputRefused: the name cannot be a case's name.
            Conflict: there is a case of that name.
        """
        if not is_case_id(case_id):
            raise InputRefused(
                f"'{case_id[:80]}' cannot be the name of a case.",
                do="Use letters, digits, dot, dash and underscore, at most 80.",
            )
        given = list(lines)

        def work(connection: Connection) -> None:
            known = select(tables.cases.c.id).where(tables.cases.c.id == case_id)
            if connection.scalar(known) is None:
                connection.execute(insert(tables.cases).values(id=case_id, opened=now()))
                self._append(connection, case_id, _parsed(given), by)
            elif not given or self._lines(connection, case_id) != given:
                raise Conflict(
                    f"There is a case '{case_id}' already.",
                    do="Add to it, or choose another name.",
                )
            # With the very same lines it is the same save, sent again.

        self._repeat(work)
        return self.case(case_id)

    def append(self, case_id: str, lines: Iterable[str], *, by: str | None = None) -> list[str]:
        """Add lines to a case and return the ids of the entries that are now in it.

        A line that is already in the case to the letter is not stored twice, so a save may be
        sent again safely.

        Raises:
            NotFound: no such case.
            EntryRefused: a line is no entry; none of the lines is stored.
            Conflict: an id is taken by a different entry.
            StorageFault: nothing is stored.
        """
        given = [line.rstrip("\r\n") for line in lines if line.strip()]
        parsed = [(line, parse_entry(line)[0].id) for line in given]
        for line in given:
            must_be_readable(line)
        return self._repeat(lambda connection: self._append(connection, case_id, parsed, by))

    def lines(self, case_id: str) -> list[str]:
        """Return the lines of a case exactly as they came in.

        Raises:
            NotFound: no such case.
        """
        _must_be_id(case_id)
        with self._read() as connection:
            found = self._lines(connection, case_id)
            if not found:
                self._must_exist(connection, case_id)
            return found

    def cases_that_hold(self, word: str) -> list[str]:
        """Return the cases with a line that holds a word, the one last written to first."""
        mine = select(tables.lines.c.case_id).where(tables.lines.c.line.contains(word))
        query = (
            select(tables.cases.c.id)
            .where(tables.cases.c.id.in_(mine))
            .order_by(tables.cases.c.changed.desc())
        )
        with self._read() as connection:
            return list(connection.scalars(query))

    def line_of(self, case_id: str, entry_id: str) -> str | None:
        """Return the line of one entry, ``None`` when the case has no such entry.

        Raises:
            NotFound: that cannot be the name of a case.
        """
        _must_be_id(case_id)
        query = select(tables.lines.c.line).where(
            tables.lines.c.case_id == case_id, tables.lines.c.entry_id == entry_id
        )
        with self._read() as connection:
            found = connection.scalar(query)
        return None if found is None else str(found)

    def case(self, case_id: str) -> Case:
        """Return a case.

        Raises:
            NotFound: no such case.
        """
        return read_case(case_id, self.lines(case_id))

    def has_case(self, case_id: str) -> bool:
        """Say whether there is a case of that name."""
        try:
            self.state(case_id)
        except NotFound:
            return False
        return True

    def count(self, case_id: str) -> int:
        """Return how many lines a case has.

        Raises:
            NotFound: no such case.
        """
        return self.state(case_id)[0]

    def state(self, case_id: str) -> tuple[int, int]:
        """Return (lines, number of its last change): a cheap way to see that anything changed.

        Raises:
            NotFound: no such case.
        """
        _must_be_id(case_id)
        query = select(tables.cases.c.lines, tables.cases.c.changed).where(
            tables.cases.c.id == case_id
        )
        with self._read() as connection:
            row = connection.execute(query).first()
        if row is None:
            raise _no_case(case_id)
        return int(row[0]), int(row[1])

    def first_opened(self) -> str | None:
        """Return when the first case was opened."""
        with self._read() as connection:
            found = connection.scalar(select(func.min(tables.cases.c.opened)))
        return None if found is None else str(found)

    def chain(self, case_id: str) -> list[Link]:
        """Return what proves the lines of a case, in order."""
        c = tables.lines.c
        query = (
            select(c.position, c.line, c.added, c.added_by, c.salt, c.digest, c.chain, c.erased)
            .where(c.case_id == case_id)
            .order_by(c.position)
        )
        with self._read() as connection:
            return [
                Link(*row[:3], row[3] or "", *row[4:7], row[7] is not None)
                for row in connection.execute(query)
            ]

    def erase(self, case_id: str, lines: Mapping[int, str]) -> None:
        """Write lines (by position) anew without a person's data; their digests stay.

        Raises:
            NotFound: no such case.
        """
        c = tables.lines.c
        with self._write() as connection:
            self._must_exist(connection, case_id)
            for position, line in lines.items():
                connection.execute(
                    update(tables.lines)
                    .where(c.case_id == case_id, c.position == position)
                    .values(line=line, salt="", erased=now())
                )
            connection.execute(
                update(tables.cases)
                .where(tables.cases.c.id == case_id)
                .values(
                    changed=self._next_change(connection), row_key=None, row=None, row_words=None
                )
            )

    def pulse(self) -> str:
        """Return a short text that changes with every write of any door that an answer rests on.

        Every write to a case counts it up, attachments are only ever added, and settings tell by
        value. Passphrases and the shop's secret are no part of an answer.
        """
        counts = select(
            select(func.max(tables.cases.c.changed)).scalar_subquery(),
            select(func.count()).select_from(tables.attachments).scalar_subquery(),
        )
        settings = select(tables.settings.c.key, tables.settings.c.value).order_by(
            tables.settings.c.key
        )
        with self._read() as connection:
            changed, attached = connection.execute(counts).one()
            told = [tuple(row) for row in connection.execute(settings) if row[0] not in _PRIVATE]
        return f"{changed}.{attached}.{hashlib.sha256(repr(told).encode()).hexdigest()[:12]}"

    def log(self, case_id: str) -> list[tuple[str | None, str, str | None]]:
        """Return (entry id, when it was stored, by whom) of every line of a case."""
        query = (
            select(tables.lines.c.entry_id, tables.lines.c.added, tables.lines.c.added_by)
            .where(tables.lines.c.case_id == case_id)
            .order_by(tables.lines.c.position)
        )
        with self._read() as connection:
            return [(row[0], row[1], row[2]) for row in connection.execute(query)]

    def _append(
        self,
        connection: Connection,
        case_id: str,
        given: Sequence[tuple[str, str | None]],
        by: str | None,
    ) -> list[str]:
        position, before = self._end(connection, case_id)
        known = self._known(connection, case_id, [i for _, i in given if i is not None])
        ids: list[str] = []
        rows: list[dict[str, Any]] = []
        for line, entry_id in given:
            if entry_id is not None and entry_id in known:
                if known[entry_id] != line:
                    raise Conflict(
                        f"The id '{entry_id}' is taken by a different entry of the case.",
                        do="Give the new entry an id of its own; to correct the old one, "
                        "retract it.",
                    )
                ids.append(entry_id)
                continue
            salt, added = new_salt(), now()
            digest = line_digest(salt, line)
            before = link(before, position, digest, added, by or "")
            rows.append(
                {
                    "case_id": case_id,
                    "position": position,
                    "entry_id": entry_id,
                    "line": line,
                    "added": added,
                    "added_by": by,
                    "salt": salt,
                    "digest": digest,
                    "chain": before,
                }
            )
            position += 1
            if entry_id is not None:
                known[entry_id] = line
                ids.append(entry_id)
        if rows:
            connection.execute(insert(tables.lines), rows)
        last = {"last": rows[-1]["added"]} if rows else {}
        if rows or position == 0:
            connection.execute(
                update(tables.cases)
                .where(tables.cases.c.id == case_id)
                .values(lines=position, changed=self._next_change(connection), **last)
            )
        return ids

    def _end(self, connection: Connection, case_id: str) -> tuple[int, str]:
        """Return the next position and the last link; nobody else writes the case meanwhile."""
        _must_be_id(case_id)
        query = select(tables.cases.c.lines).where(tables.cases.c.id == case_id)
        count = connection.scalar(query.with_for_update())
        if count is None:
            raise _no_case(case_id)
        c = tables.lines.c
        last = connection.scalar(
            select(c.chain).where(c.case_id == case_id, c.position == count - 1)
        )
        return int(count), last or first_link(case_id)

    def _known(self, connection: Connection, case_id: str, ids: Sequence[str]) -> dict[str, str]:
        c = tables.lines.c
        found: dict[str, str] = {}
        for start in range(0, len(ids), 500):
            query = select(c.entry_id, c.line).where(
                c.case_id == case_id, c.entry_id.in_(ids[start : start + 500])
            )
            found |= {row[0]: row[1] for row in connection.execute(query)}
        return found

    def _next_change(self, connection: Connection) -> int:
        if self.database.is_file:
            newest = connection.scalar(select(func.max(tables.cases.c.changed)))
            return int(newest or 0) + 1
        return int(connection.scalar(text("SELECT nextval('case_changes')")) or 0)

    def _lines(self, connection: Connection, case_id: str) -> list[str]:
        c = tables.lines.c
        return list(
            connection.scalars(select(c.line).where(c.case_id == case_id).order_by(c.position))
        )

    def _must_exist(self, connection: Connection, case_id: str) -> None:
        _must_be_id(case_id)
        query = select(tables.cases.c.id).where(tables.cases.c.id == case_id)
        if connection.scalar(query) is None:
            raise _no_case(case_id)

    def _repeat(self, work: Callable[[Connection], T]) -> T:
        """Do a write; one that lost a race or its connection is done again from the start.

        Every write may be done twice: what is stored already is recognised by its id.
        """
        pauses = iter(_AGAIN_S)
        for attempt in range(_RETRIES):
            try:
                with self._write() as connection:
                    return work(connection)
            except IntegrityError:
                # Somebody else took the same place; with an id conflict the next round says so.
                if attempt == _RETRIES - 1:
                    raise
            except StorageBusy:
                pause = next(pauses, None)
                if self.database.is_file or pause is None:
                    raise
                time.sleep(pause)
        raise AssertionError("unreachable")


def is_case_id(name: str) -> bool:
    """Say whether *name* can be the name of a case."""
    return _CASE_ID.fullmatch(name) is not None


def _parsed(lines: Iterable[str]) -> list[tuple[str, str | None]]:
    """Pair lines with their ids; a line that is no entry is kept as it is, and is a problem.

    So is a second, different entry of an id that stands above it: the first one counts, and
    whoever reads the case is told which line has to get an id of its own.
    """
    found: list[tuple[str, str | None]] = []
    first: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        if fault := unstorable(line):
            raise EntryRefused(
                f"The line cannot be stored: {fault}.",
                where=f"line {number}",
                do="Take that character out of the file.",
            )
        try:
            entry_id = parse_entry(line)[0].id
        except EntryRefused:
            found.append((line, None))
            continue
        taken = first.setdefault(entry_id, line) != line
        found.append((line, None if taken else entry_id))
    return found


def _must_be_id(case_id: str) -> None:
    """What cannot be a case's name is none, and never reaches the database."""
    if not is_case_id(case_id):
        raise _no_case(case_id)


def _no_case(case_id: str) -> NotFound:
    shown = "".join(c if c.isprintable() else "?" for c in case_id[:80])
    return NotFound(f"There is no case '{shown}'.", do="List the cases to see them.")
