"""Opening a database: SQLite set up to lose nothing, PostgreSQL with the rows of one shop."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import SQLAlchemyError

from witnessmark.casebook.faults import cause, in_words
from witnessmark.errors import InputRefused, StorageReadOnly

__all__ = ["DEFAULT_SHOP", "WAIT_S", "Database", "place_of"]

#: How long a write waits for another one, and a call for the server's answer [s].
WAIT_S = 10.0
#: Shop whose rows these are where the settings name none.
DEFAULT_SHOP = "main"


class Database:
    """An open database, and the only two ways to use it: reading and writing.

    Args:
        url: SQLAlchemy URL, ``sqlite:///...`` or ``postgresql+psycopg://...``.
        shop: name of the shop whose rows are seen (PostgreSQL).
        secret: keep the file from everybody else on this machine, and overwrite what is deleted.

    Raises:
        InputRefused: the address cannot be used.
    """

    def __init__(self, url: str, *, shop: str = DEFAULT_SHOP, secret: bool = True) -> None:
        self.url = url
        self.place = place_of(url)
        self.shop = shop
        self.is_file = url.startswith("sqlite")
        self.read_only = False
        self._secret = secret
        self.engine = self._open(url)

    @property
    def path(self) -> Path | None:
        """Return the database file, ``None`` for a server."""
        database = make_url(self.url).database
        return Path(database) if self.is_file and database else None

    def close(self) -> None:
        """Let go of it."""
        self.engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Read, in one snapshot.

        Raises:
            StorageFault: the database failed.
        """
        with in_words(self.place), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Write all or nothing; writers wait for each other.

        Raises:
            StorageFault: the database failed; nothing is stored.
        """
        if self.read_only:
            raise StorageReadOnly(
                "The casebook can only be read here; nothing was stored.",
                where=self.place,
                do="Check the rights of the folder and whether its disk is mounted read-only.",
            )
        with in_words(self.place), self.engine.connect() as plain:
            connection = plain.execution_options(witnessmark_writes=True)
            with connection.begin():
                yield connection

    def only_read(self) -> bool:
        """Go on with a file that cannot be written, and say whether it can be read."""
        path = self.path
        if path is None or not path.is_file():
            return False
        self.engine.dispose()
        log = path.with_name(path.name + "-wal")
        # Without its log the file may be read as it lies; with one, only together with it.
        mode = "mode=ro" if log.exists() and log.stat().st_size else "mode=ro&immutable=1"
        self.engine = self._open(f"sqlite:///file:{path}?{mode}&uri=true")
        self.read_only = True
        return True

    def _open(self, url: str) -> Engine:
        try:
            engine = create_engine(
                url,
                pool_pre_ping=not self.is_file,
                **({} if self.is_file else _as_server(url)),
            )
        except ValueError:  # its words would repeat a piece of the address, perhaps the password
            raise InputRefused(
                "The casebook's address cannot be used: its port is no number.",
                where=self.place,
                do="Write it like postgresql+psycopg://user@host:5432/book.",
            ) from None
        except (SQLAlchemyError, ImportError) as error:
            raise InputRefused(
                f"The casebook's address cannot be used: {cause(error)}.", where=self.place
            ) from None
        if engine.dialect.name == "sqlite":
            event.listen(engine, "connect", self._on_connect_file)
            event.listen(engine, "begin", _on_begin)
        else:
            event.listen(engine, "connect", self._on_connect_server)
        return engine

    def _on_connect_file(self, connection: Any, _record: object) -> None:
        # Our own BEGIN (below) needs the driver to keep its hands off transactions.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout={int(WAIT_S * 1000)}")  # before anything that waits
        if not self.read_only:
            _log_mode(cursor)
            cursor.execute("PRAGMA synchronous=FULL")
            cursor.execute(f"PRAGMA secure_delete={'ON' if self._secret else 'FAST'}")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA trusted_schema=OFF")
        cursor.close()

    def _on_connect_server(self, connection: Any, _record: object) -> None:
        connection.autocommit = True
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('witnessmark.shop', %s, false)", (self.shop,))
            cursor.execute("SET lock_timeout = '10s'")
            cursor.execute("SET idle_in_transaction_session_timeout = '60s'")
        connection.autocommit = False


def _as_server(url: str) -> dict[str, Any]:
    # A server that takes a call and says nothing would hold a command for two minutes.
    wait = make_url(url).query.get("connect_timeout", WAIT_S)
    return {"pool_recycle": 1800, "max_overflow": 20, "connect_args": {"connect_timeout": wait}}


def place_of(url: str) -> str:
    """Return where a database is, without its password."""
    try:
        parsed = make_url(url)
    except (SQLAlchemyError, ValueError):
        return "casebook"
    return parsed.database or "casebook"


def _log_mode(cursor: Any) -> None:
    """Write ahead: readers and one writer at once. It is a property of the file, set once."""
    cursor.execute("PRAGMA journal_mode")
    if cursor.fetchone()[0] != "wal":
        cursor.execute("PRAGMA journal_mode=WAL")


def _on_begin(connection: Connection) -> None:
    # Immediate for writers: two of them wait for each other instead of failing half way.
    writes = connection.get_execution_options().get("witnessmark_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
