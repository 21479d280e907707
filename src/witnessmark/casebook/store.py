"""The casebook: cases as append-only lists of lines in SQLite, or PostgreSQL for several sites."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, func, insert, inspect, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, IntegrityError, SQLAlchemyError

from witnessmark.casebook import casebook_tables as tables
from witnessmark.errors import Conflict, EntryRefused, InputRefused, NotFound
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.entries.entry import parse_entry

__all__ = ["VERSION", "Casebook", "Summary", "is_case_id"]

#: Version of the casebook this program writes: the newest migration's number.
VERSION = "0001"

_CASE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_RETRIES = 20


@dataclass(frozen=True, slots=True)
class Summary:
    """One row of the list of cases."""

    id: str
    opened: str
    lines: int
    last: str


class Casebook:
    """Cases in a database.

    Args:
        url: SQLAlchemy URL, ``sqlite:///...`` or ``postgresql+psycopg://...``.

    Raises:
        InputRefused: the database is not a casebook, or belongs to a newer version.
    """

    def __init__(self, url: str) -> None:
        self._engine = _engine(url)
        try:
            self._migrate()
        except (DatabaseError, sqlite3.DatabaseError) as error:
            self._engine.dispose()
            raise InputRefused(
                f"The casebook could not be opened: {_cause(error)}.",
                where=_place(url),
                do="Check that the file is a casebook and not damaged; a copy made before the "
                "last change of version lies beside it.",
            ) from None

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def cases(self) -> list[Summary]:
        """Return every case, the one last written to first."""
        last = func.max(tables.lines.c.added)
        query = (
            select(
                tables.cases.c.id,
                tables.cases.c.opened,
                func.count(tables.lines.c.position),
                func.coalesce(last, tables.cases.c.opened),
            )
            .join_from(tables.cases, tables.lines, isouter=True)
            .group_by(tables.cases.c.id, tables.cases.c.opened)
        )
        with self._read() as connection:
            rows = [Summary(*row) for row in connection.execute(query)]
        return sorted(rows, key=lambda row: (row.last, row.id), reverse=True)

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
        try:
            with self._write() as connection:
                connection.execute(insert(tables.cases).values(id=case_id, opened=_now()))
                self._append(connection, case_id, list(lines), by)
        except IntegrityError:
            raise Conflict(
                f"There is a case '{case_id}' already.", do="Add to it, or choose another name."
            ) from None
        return self.case(case_id)

    def append(self, case_id: str, lines: Iterable[str], *, by: str | None = None) -> list[str]:
        """Add lines to a case and return the ids of the entries that are now in it.

        A line that is already in the case to the letter is not stored twice, so a save may be
        sent again safely.

        Raises:
            NotFound: no such case.
            EntryRefused: a line is no entry; none of the lines is stored.
            Conflict: an id is taken by a different entry.
        """
        given = [line.rstrip("\r\n") for line in lines if line.strip()]
        for line in given:
            parse_entry(line)
        for attempt in range(_RETRIES):
            try:
                with self._write() as connection:
                    self._must_exist(connection, case_id)
                    return self._append(connection, case_id, given, by)
            except IntegrityError:
                # Somebody else took the same position; with an id conflict the next round says so.
                if attempt == _RETRIES - 1:
                    raise
        raise AssertionError("unreachable")

    def lines(self, case_id: str) -> list[str]:
        """Return the lines of a case exactly as they came in.

        Raises:
            NotFound: no such case.
        """
        query = (
            select(tables.lines.c.line)
            .where(tables.lines.c.case_id == case_id)
            .order_by(tables.lines.c.position)
        )
        with self._read() as connection:
            self._must_exist(connection, case_id)
            return list(connection.scalars(query))

    def line_of(self, case_id: str, entry_id: str) -> str | None:
        """Return the line of one entry, ``None`` when the case has no such entry."""
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

    def count(self, case_id: str) -> int:
        """Return how many lines a case has: a cheap way to see that something was added."""
        query = select(func.count()).where(tables.lines.c.case_id == case_id)
        with self._read() as connection:
            self._must_exist(connection, case_id)
            return int(connection.scalar(query) or 0)

    def log(self, case_id: str) -> list[tuple[str | None, str, str | None]]:
        """Return (entry id, when it was stored, by whom) of every line of a case."""
        query = (
            select(tables.lines.c.entry_id, tables.lines.c.added, tables.lines.c.added_by)
            .where(tables.lines.c.case_id == case_id)
            .order_by(tables.lines.c.position)
        )
        with self._read() as connection:
            return [(row[0], row[1], row[2]) for row in connection.execute(query)]

    def attach(self, case_id: str, entry_id: str, sha256: str) -> None:
        """Remember which stored file an entry speaks of when its line does not say."""
        row = {"case_id": case_id, "entry_id": entry_id, "sha256": sha256}
        with self._write() as connection:
            if self._attached(connection, case_id).get(entry_id) is None:
                connection.execute(insert(tables.attachments).values(**row))

    def attachments(self, case_id: str) -> dict[str, str]:
        """Return entry id -> digest for the entries whose line does not say."""
        with self._read() as connection:
            return self._attached(connection, case_id)

    def note_file(self, sha256: str, name: str, size: int) -> None:
        """Remember a stored file's first name."""
        with self._write() as connection:
            known = select(tables.files.c.sha256).where(tables.files.c.sha256 == sha256)
            if connection.scalar(known) is None:
                connection.execute(
                    insert(tables.files).values(sha256=sha256, name=name, size=size, added=_now())
                )

    def file_names(self) -> dict[str, str]:
        """Return digest -> name of every stored file."""
        with self._read() as connection:
            query = select(tables.files.c.sha256, tables.files.c.name)
            return {row[0]: row[1] for row in connection.execute(query)}

    def setting(self, key: str) -> Any:
        """Return a setting, ``None`` where it was never set."""
        query = select(tables.settings.c.value).where(tables.settings.c.key == key)
        with self._read() as connection:
            value = connection.scalar(query)
        return None if value is None else json.loads(value)

    def set_setting(self, key: str, value: Any) -> None:
        """Store a setting (JSON types)."""
        row = {"value": json.dumps(value, ensure_ascii=False), "changed": _now()}
        with self._write() as connection:
            changed = connection.execute(
                tables.settings.update().where(tables.settings.c.key == key).values(**row)
            )
            if changed.rowcount == 0:
                connection.execute(insert(tables.settings).values(key=key, **row))

    def _attached(self, connection: Connection, case_id: str) -> dict[str, str]:
        table = tables.attachments
        query = select(table.c.entry_id, table.c.sha256).where(table.c.case_id == case_id)
        return {row[0]: row[1] for row in connection.execute(query)}

    def _append(
        self, connection: Connection, case_id: str, given: Sequence[str], by: str | None
    ) -> list[str]:
        query = select(tables.lines.c.entry_id, tables.lines.c.line, tables.lines.c.position).where(
            tables.lines.c.case_id == case_id
        )
        known: dict[str, str] = {}
        position = 0
        for entry_id, line, place in connection.execute(query):
            position = max(position, place + 1)
            if entry_id is not None:
                known[entry_id] = line
        ids: list[str] = []
        for line in given:
            try:
                entry_id = parse_entry(line)[0].id
            except EntryRefused:
                entry_id = None  # kept as it is: nothing is lost, and it stays a problem
            if entry_id is not None and entry_id in known:
                if known[entry_id] != line:
                    raise Conflict(
                        f"The id '{entry_id}' is taken by a different entry of the case.",
                        do="Give the new entry an id of its own; to correct the old one, "
                        "retract it.",
                    )
                ids.append(entry_id)
                continue
            connection.execute(
                insert(tables.lines).values(
                    case_id=case_id,
                    position=position,
                    entry_id=entry_id,
                    line=line,
                    added=_now(),
                    added_by=by,
                )
            )
            position += 1
            if entry_id is not None:
                known[entry_id] = line
                ids.append(entry_id)
        return ids

    def _must_exist(self, connection: Connection, case_id: str) -> None:
        query = select(tables.cases.c.id).where(tables.cases.c.id == case_id)
        if connection.scalar(query) is None:
            raise NotFound(f"There is no case '{case_id[:80]}'.", do="List the cases to see them.")

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        with self._engine.connect() as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        with self._engine.connect() as plain:
            connection = plain.execution_options(witnessmark_writes=True)
            with connection.begin():
                yield connection

    def _migrate(self) -> None:
        current = self._version()
        if current == VERSION:
            return
        # The migration library is loaded only when there is something to migrate.
        from witnessmark.casebook.migrate import known_versions, upgrade  # noqa: PLC0415

        if current is not None:
            if current not in known_versions():
                raise InputRefused(
                    "The casebook was written by a newer version of Witnessmark.",
                    where=_place(str(self._engine.url)),
                    do="Update Witnessmark; nothing was changed.",
                )
            _back_up(self._engine, current)
        with self._engine.begin() as connection:
            upgrade(connection)

    def _version(self) -> str | None:
        with self._read() as connection:
            if not inspect(connection).has_table("alembic_version"):
                return None
            version = connection.scalar(text("SELECT version_num FROM alembic_version"))
        return None if version is None else str(version)


def is_case_id(name: str) -> bool:
    """Say whether *name* can be the name of a case."""
    return _CASE_ID.fullmatch(name) is not None


def _engine(url: str) -> Engine:
    try:
        engine = create_engine(url, pool_pre_ping=not url.startswith("sqlite"))
    except (SQLAlchemyError, ImportError) as error:
        raise InputRefused(
            f"The casebook's address cannot be used: {_cause(error)}.", where=_place(url)
        ) from None
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _on_connect)
        event.listen(engine, "begin", _on_begin)
    return engine


def _on_connect(connection: Any, _record: object) -> None:
    # Our own BEGIN (below) needs the driver to keep its hands off transactions.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        "busy_timeout=10000",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _on_begin(connection: Connection) -> None:
    # Immediate for writers: two of them wait for each other instead of failing half way.
    writes = connection.get_execution_options().get("witnessmark_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _back_up(engine: Engine, revision: str) -> None:
    database = engine.url.database
    if engine.dialect.name != "sqlite" or not database:
        return
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    target = Path(database).with_name(f"casebook.before-{revision}-{stamp}.sqlite")
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _place(url: str) -> str:
    try:
        parsed = make_url(url)
    except SQLAlchemyError:
        return "casebook"
    return parsed.database or "casebook"


def _cause(error: BaseException) -> str:
    inner = getattr(error, "orig", None) or error
    return str(inner).strip().splitlines()[0] if str(inner).strip() else type(inner).__name__
