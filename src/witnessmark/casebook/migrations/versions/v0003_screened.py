"""What a screening of many recordings found, a row a file."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the table; on a server its rows belong to one shop each."""
    op.create_table(
        "screened",
        sa.Column("place", sa.String(24), primary_key=True),
        sa.Column("id", sa.String(24), nullable=False),
        sa.Column("row", sa.Text, nullable=False),
        sa.Column("added", sa.String(40), nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute("ALTER TABLE screened ADD COLUMN shop text NOT NULL DEFAULT witnessmark_shop()")
    op.execute("ALTER TABLE screened DROP CONSTRAINT screened_pkey")
    op.execute("ALTER TABLE screened ADD PRIMARY KEY (shop, place)")
    op.execute("ALTER TABLE screened ENABLE ROW LEVEL SECURITY")
    op.execute("ALTER TABLE screened FORCE ROW LEVEL SECURITY")
    op.execute(
        "CREATE POLICY one_shop ON screened USING (shop = witnessmark_shop()) "
        "WITH CHECK (shop = witnessmark_shop())"
    )
