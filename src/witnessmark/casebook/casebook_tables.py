"""The tables of the casebook. Lines are truth; everything else here helps to find them."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

#: One row a case; all but the first two columns can be made again from its lines.
cases = Table(
    "cases",
    metadata,
    Column("id", String(80), primary_key=True),
    Column("opened", String(40), nullable=False),
    Column("lines", Integer, nullable=False, server_default="0"),
    Column("last", String(40), nullable=False, server_default=""),
    Column("changed", BigInteger, nullable=False, server_default="0"),  # grows with every write
    Column("row_key", String(60)),  # the state of the case that the next three speak of
    Column("row", Text),
    Column("row_open", Integer),
    Column("row_words", Text),
    Index("cases_changed", "changed"),
)

#: One row a line of a case, exactly as it came in. Never deleted; changed only by erasing a
#: person's data, which leaves digest and chain as they were.
lines = Table(
    "lines",
    metadata,
    Column("case_id", String(80), ForeignKey("cases.id"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("entry_id", String(80)),  # none for a damaged line
    Column("line", Text, nullable=False),
    Column("added", String(40), nullable=False),
    Column("added_by", String(120)),
    Column("salt", String(32), nullable=False, server_default=""),
    Column("digest", String(64), nullable=False, server_default=""),
    Column("chain", String(64), nullable=False, server_default=""),
    Column("erased", String(40)),
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

#: What a screening found, one row a file by the digest of where it lies; can be made anew.
screened = Table(
    "screened",
    metadata,
    Column("place", String(24), primary_key=True),
    Column("id", String(24), nullable=False),  # changes when the file does
    Column("row", Text, nullable=False),
    Column("added", String(40), nullable=False),
)
