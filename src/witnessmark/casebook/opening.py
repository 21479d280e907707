"""Opening a casebook: whose it is, of which version, and bringing it up to date."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime

from sqlalchemy import Connection, inspect, text

from witnessmark.casebook import casebook_tables as tables
from witnessmark.casebook.engine import WAIT_S, Database
from witnessmark.errors import InputRefused, StorageFault, StorageReadOnly
from witnessmark.machine import close_to_others

__all__ = ["VERSION", "bring_up_to_date", "version_of"]

#: Version of the casebook this program writes: the newest migration's number.
VERSION = "0003"
#: Any number, the same in every program that migrates a casebook on a server.
_LOCK = 7421960


def bring_up_to_date(database: Database) -> None:
    """Make an empty database a casebook, or an older casebook one of this version.

    Several programs may do so at once: the others wait for the first.

    Raises:
        InputRefused: it is of another program, or of a newer version; nothing is changed.
        StorageFault: the database cannot be used now.
    """
    current = _current(database)
    if current == VERSION:
        _look_whether_writable(database)
        _must_see_one_shop(database)
        return
    # The migration library is loaded only when there is something to migrate.
    from witnessmark.casebook.migrate import known_versions, upgrade  # noqa: PLC0415

    if current is not None:
        if current not in known_versions():
            raise InputRefused(
                "The casebook was written by a newer version of Witnessmark.",
                where=database.place,
                do="Update Witnessmark; nothing was changed.",
            )
        _back_up(database, current)
    with database.write() as connection:
        if not database.is_file:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        # Another program may have opened it first, and done the work, while we waited.
        if version_of(connection, database.place) != VERSION:
            upgrade(connection)
    _must_see_one_shop(database)


def version_of(connection: Connection, place: str) -> str | None:
    """Return the version of a casebook, ``None`` for an empty database.

    Raises:
        InputRefused: the database is of another program.
    """
    looked = inspect(connection)
    if not looked.has_table("alembic_version"):
        strangers = set(looked.get_table_names())
        if connection.dialect.name != "sqlite":
            strangers &= set(tables.metadata.tables)
        if strangers:
            raise InputRefused(
                "This is a database of another program, not a casebook.",
                where=place,
                do="Nothing was changed. Choose the folder of a shop, or an empty database.",
            )
        return None
    version = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return None if version is None else str(version)


def _current(database: Database) -> str | None:
    def ask() -> str | None:
        with database.read() as connection:
            return version_of(connection, database.place)

    try:
        return ask()
    except StorageFault:
        if not database.only_read():
            raise
        return ask()


def _look_whether_writable(database: Database) -> None:
    path = database.path
    if path is not None and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        database.only_read()


def _must_see_one_shop(database: Database) -> None:
    """Refuse a server login that would see every shop's rows as one shop's."""
    if database.is_file:
        return
    with database.read() as connection:
        sees_all = connection.scalar(
            text("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user")
        )
        others = connection.scalar(
            text("SELECT count(*) FROM cases WHERE shop <> witnessmark_shop()")
        )
    if sees_all and others:
        raise InputRefused(
            "This login of the database sees the rows of every shop in it.",
            where=database.place,
            do="Use a role without SUPERUSER and BYPASSRLS, as docs/many_sites.md shows.",
        )


def _back_up(database: Database, revision: str) -> None:
    if database.path is None:
        return
    if not os.access(database.path.parent, os.W_OK):
        raise StorageReadOnly(
            "The casebook is of an older version and cannot be brought up to date here.",
            where=database.place,
            do="Make its folder writable, or copy it to a place that is.",
        )
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    target = database.path.with_name(f"casebook.before-{revision}-{stamp}.sqlite")
    with (
        closing(sqlite3.connect(database.path, timeout=WAIT_S)) as source,
        closing(sqlite3.connect(target)) as copy,
    ):
        close_to_others(target)
        source.backup(copy)
