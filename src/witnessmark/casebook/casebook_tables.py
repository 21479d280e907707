"""The tables of the casebook. Lines are truth; everything else here helps to find them."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

#: One row a case.
cases = Table(
    "cases",
    metadata,
    Column("id", String(80), primary_key=True),
    Column("opened", String(40), nullable=False),
)

#: One row a line of a case, exactly as it came in. Never changed, never deleted.
lines = Table(
    "lines",
    metadata,
    Column("case_id", String(80), ForeignKey("cases.id"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("entry_id", String(80)),  # none for a damaged line
    Column("line", Text, nullable=False),
    Column("added", String(40), nullable=False),
    Column("added_by", String(120)),
    UniqueConstraint("case_id", "entry_id", name="one_id_a_case"),
)

#: One row a stored file (recording or photo); the bytes lie beside the database by digest.
files = Table(
    "files",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("name", String(300), nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("added", String(40), nullable=False),
)

#: Entry -> stored file, for entries that came in without a digest.
attachments = Table(
    "attachments",
    metadata,
    Column("case_id", String(80), ForeignKey("cases.id"), primary_key=True),
    Column("entry_id", String(80), primary_key=True),
    Column("sha256", String(64), nullable=False),
)

#: Instruments, people and rates: the shop's settings, one row a key, value as JSON.
settings = Table(
    "settings",
    metadata,
    Column("key", String(120), primary_key=True),
    Column("value", Text, nullable=False),
    Column("changed", String(40), nullable=False),
)
