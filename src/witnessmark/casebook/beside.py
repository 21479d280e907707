"""What stands beside the lines: names of files, which file an entry means, settings."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from witnessmark.casebook import casebook_tables as tables
from witnessmark.casebook.engine import Database

__all__ = ["Beside", "now"]


class Beside:
    """The part of a casebook that is not lines."""

    database: Database

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
                    insert(tables.files).values(sha256=sha256, name=name, size=size, added=now())
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

    def drop_setting(self, key: str) -> None:
        """Forget a setting."""
        with self._write() as connection:
            connection.execute(tables.settings.delete().where(tables.settings.c.key == key))

    def set_setting(self, key: str, value: Any) -> None:
        """Store a setting (JSON types)."""
        row = {"value": json.dumps(value, ensure_ascii=False), "changed": now()}
        with self._write() as connection:
            changed = connection.execute(
                tables.settings.update().where(tables.settings.c.key == key).values(**row)
            )
            if changed.rowcount == 0:
                connection.execute(insert(tables.settings).values(key=key, **row))

    def rename_files(self, names: Mapping[str, str]) -> None:
        """Give stored files (by digest) other names."""
        with self._write() as connection:
            for sha256, name in names.items():
                table = tables.files
                query = update(table).where(table.c.sha256 == sha256).values(name=name)
                connection.execute(query)

    def forget_files(self, digests: Iterable[str]) -> None:
        """Speak no more of stored files (by digest)."""
        with self._write() as connection:
            for sha256 in digests:
                connection.execute(tables.files.delete().where(tables.files.c.sha256 == sha256))

    def screened_ids(self) -> set[str]:
        """Return the ids of the files that a screening was done with."""
        with self._read() as connection:
            return set(connection.scalars(select(tables.screened.c.id)))

    def screened(self) -> list[Any]:
        """Return what was found in every file that was screened, as it was stored (JSON types)."""
        query = select(tables.screened.c.row).order_by(tables.screened.c.place)
        with self._read() as connection:
            return [json.loads(row) for row in connection.scalars(query)]

    def keep_screened(self, rows: Mapping[str, tuple[str, Any]]) -> None:
        """Store what was found in some files, in place of what was known of them.

        Args:
            rows: digest of where a file lies -> (its id, what was found, JSON types).
        """
        if not rows:
            return
        table, added = tables.screened, now()
        with self._write() as connection:
            connection.execute(delete(table).where(table.c.place.in_(list(rows))))
            connection.execute(
                insert(table),
                [
                    {"place": place, "id": one, "row": json.dumps(row, ensure_ascii=False),
                     "added": added}
                    for place, (one, row) in rows.items()
                ],
            )  # fmt: skip

    def _attached(self, connection: Connection, case_id: str) -> dict[str, str]:
        table = tables.attachments
        query = select(table.c.entry_id, table.c.sha256).where(table.c.case_id == case_id)
        return {row[0]: row[1] for row in connection.execute(query)}

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        with self.database.read() as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        with self.database.write() as connection:
            yield connection


def now() -> str:
    """Return the time as the casebook notes it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
