"""A chain through the lines, what the list of cases needs, and the rows of one shop apart."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from witnessmark.casebook.chain import first_link, line_digest, link, new_salt

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_KEPT = "lines of a case are never changed or deleted"
#: A login bound to one shop sees that shop whatever it asks for; any other says which it means.
_OWN_SHOP = """
CREATE FUNCTION witnessmark_shop() RETURNS text STABLE SECURITY DEFINER
SET search_path = {schema}, pg_temp LANGUAGE sql AS $$
SELECT coalesce(
    (SELECT shop FROM shop_roles WHERE role = session_user),
    nullif(current_setting('witnessmark.shop', true), ''),
    'main'
) $$
"""
_SAME = ("case_id", "position", "digest", "chain", "added")


def upgrade() -> None:
    """Add the columns, fill them, and put the guards back."""
    connection = op.get_bind()
    file = connection.dialect.name == "sqlite"
    _guards_off(file)
    for column in (
        sa.Column("lines", sa.Integer, nullable=False, server_default="0"),
        sa.Column("last", sa.String(40), nullable=False, server_default=""),
        sa.Column("changed", sa.BigInteger, nullable=False, server_default="0"),
        sa.Column("row_key", sa.String(60)),
        sa.Column("row", sa.Text),
        sa.Column("row_open", sa.Integer),
        sa.Column("row_words", sa.Text),
    ):
        op.add_column("cases", column)
    for column in (
        sa.Column("salt", sa.String(32), nullable=False, server_default=""),
        sa.Column("digest", sa.String(64), nullable=False, server_default=""),
        sa.Column("chain", sa.String(64), nullable=False, server_default=""),
        sa.Column("erased", sa.String(40)),
    ):
        op.add_column("lines", column)
    op.create_index("cases_changed", "cases", ["changed"])
    _fill(connection)
    _guards_on(file)
    if not file:
        _server(connection)


def _fill(connection: sa.Connection) -> None:
    order = connection.execute(
        sa.text(
            "SELECT c.id, coalesce(max(l.added), c.opened) AS last, count(l.position) "
            "FROM cases c LEFT JOIN lines l ON l.case_id = c.id "
            "GROUP BY c.id, c.opened ORDER BY last, c.id"
        )
    ).all()
    for number, (case_id, last, count) in enumerate(order, 1):
        connection.execute(
            sa.text("UPDATE cases SET lines = :n, last = :last, changed = :c WHERE id = :id"),
            {"n": count, "last": last, "c": number, "id": case_id},
        )
        _chain(connection, case_id)


def _chain(connection: sa.Connection, case_id: str) -> None:
    rows = connection.execute(
        sa.text(
            "SELECT position, line, added, added_by FROM lines WHERE case_id = :id "
            "ORDER BY position"
        ),
        {"id": case_id},
    ).all()
    before, filled = first_link(case_id), []
    for position, line, added, by in rows:
        salt = new_salt()
        digest = line_digest(salt, line)
        before = link(before, position, digest, added, by or "")
        filled.append({"s": salt, "d": digest, "c": before, "id": case_id, "p": position})
    if filled:
        connection.execute(
            sa.text(
                "UPDATE lines SET salt = :s, digest = :d, chain = :c "
                "WHERE case_id = :id AND position = :p"
            ),
            filled,
        )


def _guards_off(file: bool) -> None:
    if file:
        op.execute("DROP TRIGGER lines_no_update")
    else:
        op.execute("DROP TRIGGER lines_kept ON lines")
        op.execute("DROP FUNCTION lines_are_kept()")


def _guards_on(file: bool) -> None:
    """Erasing may rewrite a line, and only the line: what proves it stays."""
    if file:
        same = " AND ".join(f"NEW.{c} = OLD.{c}" for c in _SAME)
        op.execute(
            f"CREATE TRIGGER lines_no_update BEFORE UPDATE ON lines WHEN NOT "
            f"(NEW.erased IS NOT NULL AND NEW.entry_id IS OLD.entry_id AND {same}) BEGIN "
            f"SELECT RAISE(ABORT, '{_KEPT}'); END"
        )
        return
    same = " AND ".join(f"NEW.{c} = OLD.{c}" for c in _SAME)
    op.execute(
        "CREATE FUNCTION lines_are_kept() RETURNS trigger AS $$ BEGIN "
        f"IF TG_OP = 'UPDATE' AND NEW.erased IS NOT NULL AND {same} "
        "AND NEW.entry_id IS NOT DISTINCT FROM OLD.entry_id THEN RETURN NEW; END IF; "
        f"RAISE EXCEPTION '{_KEPT}'; END $$ LANGUAGE plpgsql"
    )
    op.execute(
        "CREATE TRIGGER lines_kept BEFORE UPDATE OR DELETE ON lines "
        "FOR EACH ROW EXECUTE FUNCTION lines_are_kept()"
    )


def _server(connection: sa.Connection) -> None:
    """Several shops in one database: every row belongs to one, and nobody sees another's."""
    count = connection.scalar(sa.text("SELECT count(*) FROM cases")) or 0
    schema = connection.scalar(sa.text("SELECT quote_ident(current_schema())"))
    op.execute(f"CREATE SEQUENCE case_changes START WITH {int(count) + 1}")
    op.execute("CREATE TABLE shop_roles (role name PRIMARY KEY, shop text NOT NULL)")
    op.execute(_OWN_SHOP.replace("{schema}", schema))
    op.execute("ALTER TABLE lines DROP CONSTRAINT lines_case_id_fkey")
    op.execute("ALTER TABLE attachments DROP CONSTRAINT attachments_case_id_fkey")
    op.execute("ALTER TABLE lines DROP CONSTRAINT one_id_a_case")
    keys = {
        "cases": "id",
        "lines": "case_id, position",
        "files": "sha256",
        "attachments": "case_id, entry_id",
        "settings": "key",
    }
    for table, key in keys.items():
        op.execute(f"ALTER TABLE {table} ADD COLUMN shop text NOT NULL DEFAULT witnessmark_shop()")
        op.execute(f"ALTER TABLE {table} DROP CONSTRAINT {table}_pkey")
        op.execute(f"ALTER TABLE {table} ADD PRIMARY KEY (shop, {key})")
    op.execute("ALTER TABLE lines ADD CONSTRAINT one_id_a_case UNIQUE (shop, case_id, entry_id)")
    for table in ("lines", "attachments"):
        op.execute(
            f"ALTER TABLE {table} ADD FOREIGN KEY (shop, case_id) REFERENCES cases (shop, id)"
        )
    op.execute("DROP INDEX cases_changed")
    op.execute("CREATE INDEX cases_changed ON cases (shop, changed)")
    op.execute(
        "CREATE TABLE door_passphrases (who text NOT NULL, name text NOT NULL, role text NOT NULL, "
        "hash text NOT NULL, kind text NOT NULL, changed text NOT NULL)"
    )
    op.execute(
        "CREATE TABLE door_sessions (id text NOT NULL, name text NOT NULL, role text NOT NULL, "
        "who text NOT NULL, made double precision NOT NULL, seen double precision NOT NULL, "
        "device text NOT NULL)"
    )
    op.execute("CREATE TABLE door_devices (id text NOT NULL, made double precision NOT NULL)")
    op.execute(
        "CREATE TABLE door_links (id text NOT NULL, token text NOT NULL, case_id text NOT NULL, "
        "made double precision NOT NULL, ends double precision NOT NULL, made_by text NOT NULL)"
    )
    doors = {
        "door_passphrases": "who",
        "door_sessions": "id",
        "door_devices": "id",
        "door_links": "id",
    }
    for table, key in doors.items():
        op.execute(f"ALTER TABLE {table} ADD COLUMN shop text NOT NULL DEFAULT witnessmark_shop()")
        op.execute(f"ALTER TABLE {table} ADD PRIMARY KEY (shop, {key})")
    for table in (*keys, *doors):
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(
            f"CREATE POLICY one_shop ON {table} USING (shop = witnessmark_shop()) "
            "WITH CHECK (shop = witnessmark_shop())"
        )
