"""The first casebook: cases, lines, files, settings; lines cannot be changed or deleted."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the tables and the guards."""
    op.create_table(
        "cases",
        sa.Column("id", sa.String(80), primary_key=True),
        sa.Column("opened", sa.String(40), nullable=False),
    )
    op.create_table(
        "lines",
        sa.Column("case_id", sa.String(80), sa.ForeignKey("cases.id"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("entry_id", sa.String(80)),
        sa.Column("line", sa.Text, nullable=False),
        sa.Column("added", sa.String(40), nullable=False),
        sa.Column("added_by", sa.String(120)),
        sa.UniqueConstraint("case_id", "entry_id", name="one_id_a_case"),
    )
    op.create_table(
        "files",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("name", sa.String(300), nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("added", sa.String(40), nullable=False),
    )
    op.create_table(
        "attachments",
        sa.Column("case_id", sa.String(80), sa.ForeignKey("cases.id"), primary_key=True),
        sa.Column("entry_id", sa.String(80), primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.String(120), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("changed", sa.String(40), nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER lines_no_{verb.lower()} BEFORE {verb} ON lines BEGIN "
                "SELECT RAISE(ABORT, 'lines of a case are never changed or deleted'); END"
            )
    else:
        op.execute(
            "CREATE FUNCTION lines_are_kept() RETURNS trigger AS $$ BEGIN RAISE EXCEPTION "
            "'lines of a case are never changed or deleted'; END $$ LANGUAGE plpgsql"
        )
        op.execute(
            "CREATE TRIGGER lines_kept BEFORE UPDATE OR DELETE ON lines "
            "FOR EACH ROW EXECUTE FUNCTION lines_are_kept()"
        )
