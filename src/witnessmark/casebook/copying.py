"""Copying a whole casebook, row by row, into another database: the same bytes come out of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from sqlalchemy import insert, select, text

from witnessmark.casebook import casebook_tables as tables
from witnessmark.casebook.store import Casebook
from witnessmark.errors import InputRefused

__all__ = ["copy_casebook", "copy_into"]

_BATCH = 1000


def copy_casebook(source: Casebook, path: Path) -> None:
    """Copy a casebook into a new SQLite file."""
    target = Casebook(f"sqlite:///{path.resolve()}")
    try:
        copy_into(source, target)
    finally:
        target.close()


def copy_into(
    source: Casebook, target: Casebook, *, say: Callable[[str], None] | None = None
) -> dict[str, int]:
    """Copy a casebook into an empty one: all or nothing, from one snapshot of the source.

    Returns:
        Table -> rows.

    Raises:
        InputRefused: the target holds cases already.
        StorageFault: either database failed; the target is as it was.
    """
    counts: dict[str, int] = {}
    with source.database.read() as reading, target.database.write() as writing:
        if reading.dialect.name != "sqlite":
            reading.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
        if writing.scalar(select(tables.cases.c.id).limit(1)) is not None:
            raise InputRefused(
                "The target holds cases already.",
                where=target.database.place,
                do="Move into an empty database, or under another shop's name.",
            )
        for table in tables.metadata.sorted_tables:
            if table.name == "settings":
                writing.execute(table.delete())
            found = reading.execution_options(yield_per=_BATCH).execute(
                select(*table.c).order_by(*table.primary_key.columns)
            )
            counts[table.name] = 0
            for rows in found.partitions(_BATCH):
                writing.execute(insert(table), [dict(row._mapping) for row in rows])
                counts[table.name] += len(rows)
            if say is not None:
                say(f"{counts[table.name]} rows of {table.name}.")
        if writing.dialect.name != "sqlite":
            newest = "SELECT setval('case_changes', greatest(nextval('case_changes'), :n))"
            last = writing.scalar(text("SELECT coalesce(max(changed), 0) + 1 FROM cases"))
            writing.execute(text(newest), {"n": int(last or 1)})
    return counts
