"""What the locks rest on: hashes of passphrases, sessions, devices, links. Never in a case.

A file of its own beside the casebook (so that no copy of the casebook carries it), or tables of
their own in the server. Of every token only the sha256 is stored.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Column, Float, MetaData, String, Table, delete, insert, select, update

from witnessmark.casebook.engine import Database
from witnessmark.machine import close_to_others

__all__ = ["Held", "HeldLink", "HeldSession", "Lockbox"]

_metadata = MetaData()
_passphrases = Table(
    "door_passphrases",
    _metadata,
    Column("who", String(200), primary_key=True),
    Column("name", String(120), nullable=False),
    Column("role", String(20), nullable=False),
    Column("hash", String(300), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("changed", String(40), nullable=False),
)
_sessions = Table(
    "door_sessions",
    _metadata,
    Column("id", String(64), primary_key=True),
    Column("name", String(120), nullable=False),
    Column("role", String(20), nullable=False),
    Column("who", String(200), nullable=False),
    Column("made", Float, nullable=False),
    Column("seen", Float, nullable=False),
    Column("device", String(64), nullable=False),
)
_devices = Table(
    "door_devices",
    _metadata,
    Column("id", String(64), primary_key=True),
    Column("made", Float, nullable=False),
)
_links = Table(
    "door_links",
    _metadata,
    Column("id", String(16), primary_key=True),
    Column("token", String(64), nullable=False),
    Column("case_id", String(80), nullable=False),
    Column("made", Float, nullable=False),
    Column("ends", Float, nullable=False),
    Column("made_by", String(120), nullable=False),
)


@dataclass(frozen=True, slots=True)
class Held:
    """A passphrase or PIN: whose it is, what it opens, its hash."""

    who: str
    name: str
    role: str
    hash: str
    kind: str


@dataclass(frozen=True, slots=True)
class HeldSession:
    """Somebody who is signed in; *made* and *seen* in seconds since 1970."""

    id: str
    name: str
    role: str
    who: str
    made: float
    seen: float
    device: str


@dataclass(frozen=True, slots=True)
class HeldLink:
    """A link for a customer; *made* and *ends* in seconds since 1970."""

    id: str
    case_id: str
    made: float
    ends: float
    made_by: str


class Lockbox:
    """The store of the locks.

    Args:
        database: a file of its own, or the server that holds the casebook.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        if database.is_file:
            with database.write() as connection:
                _metadata.create_all(connection)
            if database.path is not None:
                close_to_others(database.path)

    def close(self) -> None:
        """Let go of it."""
        self._database.close()

    def passphrases(self) -> dict[str, Held]:
        """Return who -> passphrase."""
        names = ("who", "name", "role", "hash", "kind")
        query = select(*(_passphrases.c[n] for n in names))
        with self._database.read() as connection:
            return {row[0]: Held(*row) for row in connection.execute(query)}

    def keep_passphrase(self, held: Held) -> None:
        """Store a passphrase in place of the one that was there."""
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with self._database.write() as connection:
            connection.execute(delete(_passphrases).where(_passphrases.c.who == held.who))
            connection.execute(
                insert(_passphrases).values(
                    who=held.who,
                    name=held.name,
                    role=held.role,
                    hash=held.hash,
                    kind=held.kind,
                    changed=now,
                )
            )

    def drop_passphrase(self, who: str) -> None:
        """Forget a passphrase."""
        with self._database.write() as connection:
            connection.execute(delete(_passphrases).where(_passphrases.c.who == who))

    def new_session(self, name: str, role: str, who: str, now: float, device: str) -> str:
        """Sign somebody in and return the token."""
        token = secrets.token_urlsafe(32)
        row = {"name": name, "role": role, "who": who, "made": now, "seen": now}
        with self._database.write() as connection:
            connection.execute(insert(_sessions).values(id=_key(token), device=device, **row))
        return token

    def session(self, token: str) -> HeldSession | None:
        """Return the session of a token, whatever its age."""
        query = select(*_sessions.c).where(_sessions.c.id == _key(token))
        with self._database.read() as connection:
            row = connection.execute(query).first()
        return None if row is None else HeldSession(*row)

    def sessions(self) -> list[HeldSession]:
        """Return every session."""
        with self._database.read() as connection:
            rows = connection.execute(select(*_sessions.c).order_by(_sessions.c.seen.desc()))
            return [HeldSession(*row) for row in rows]

    def saw(self, session_id: str, now: float) -> None:
        """Note that a session was used."""
        with self._database.write() as connection:
            connection.execute(
                update(_sessions).where(_sessions.c.id == session_id).values(seen=now)
            )

    def end_session(self, token: str) -> None:
        """End one session."""
        with self._database.write() as connection:
            connection.execute(delete(_sessions).where(_sessions.c.id == _key(token)))

    def end_sessions(self, *, who: str | None = None, made_before: float | None = None) -> None:
        """End the sessions of somebody, or those older than a time; all when neither is given."""
        query = delete(_sessions)
        if who is not None:
            query = query.where(_sessions.c.who == who)
        if made_before is not None:
            query = query.where(_sessions.c.made < made_before)
        with self._database.write() as connection:
            connection.execute(query)

    def end_named(self, name: str) -> None:
        """End every session under a name."""
        folded = " ".join(name.casefold().split())
        gone = [s.id for s in self.sessions() if " ".join(s.name.casefold().split()) == folded]
        with self._database.write() as connection:
            connection.execute(delete(_sessions).where(_sessions.c.id.in_(gone)))

    def new_device(self, now: float) -> str:
        """Remember a device that was signed in on, and return its token."""
        token = secrets.token_urlsafe(24)
        with self._database.write() as connection:
            connection.execute(insert(_devices).values(id=_key(token), made=now))
        return token

    def device(self, token: str) -> str | None:
        """Return the key of a known device."""
        query = select(_devices.c.id).where(_devices.c.id == _key(token))
        with self._database.read() as connection:
            found = connection.scalar(query)
        return None if found is None else str(found)

    def forget_devices(self, *, made_before: float | None = None) -> None:
        """Forget the devices older than a time; all when none is given."""
        query = delete(_devices)
        if made_before is not None:
            query = query.where(_devices.c.made < made_before)
        with self._database.write() as connection:
            connection.execute(query)

    def new_link(self, case_id: str, now: float, ends: float, made_by: str) -> str:
        """Make a link to a case and return its token."""
        token = secrets.token_urlsafe(24)
        row = {"case_id": case_id, "made": now, "ends": ends, "made_by": made_by}
        with self._database.write() as connection:
            connection.execute(
                insert(_links).values(id=secrets.token_hex(8), token=_key(token), **row)
            )
        return token

    def link(self, token: str) -> HeldLink | None:
        """Return the link of a token, also one past its day."""
        query = select(*(_links.c[n] for n in _LINK)).where(_links.c.token == _key(token))
        with self._database.read() as connection:
            row = connection.execute(query).first()
        return None if row is None else HeldLink(*row)

    def links(self, case_id: str | None = None) -> list[HeldLink]:
        """Return the links of a case, or of all, the newest first."""
        query = select(*(_links.c[n] for n in _LINK)).order_by(_links.c.made.desc())
        if case_id is not None:
            query = query.where(_links.c.case_id == case_id)
        with self._database.read() as connection:
            return [HeldLink(*row) for row in connection.execute(query)]

    def end_links(self, ids: Sequence[str] | None = None) -> None:
        """End links; all when none are named."""
        query = delete(_links)
        if ids is not None:
            query = query.where(_links.c.id.in_(list(ids)))
        with self._database.write() as connection:
            connection.execute(query)


_LINK = ("id", "case_id", "made", "ends", "made_by")


def _key(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
