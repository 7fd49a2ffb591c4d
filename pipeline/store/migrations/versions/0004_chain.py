"""Events are chained by hashes, those already there too; a draft tells on what basis it was made."""

import json

import sqlalchemy as sa
from alembic import op

from pipeline.store.chain import FIRST_FIELDS, first_hash

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and hash every event in its order; the guards are made again after every migration (env.py)."""
    connection = op.get_bind()
    connection.execute(sa.text("DROP TRIGGER IF EXISTS event_unchanged"))
    op.add_column("event", sa.Column("hash", sa.String(64), nullable=False, server_default=""))
    rows = connection.execute(sa.text(f"SELECT {', '.join(FIRST_FIELDS)} FROM event ORDER BY seq")).mappings().all()
    last = ""
    for row in rows:
        last = first_hash(last, {**row, "payload": json.loads(row["payload"])})
        connection.execute(sa.text("UPDATE event SET hash = :hash WHERE seq = :seq"), {"hash": last, "seq": row["seq"]})
    op.add_column("run", sa.Column("basis", sa.String(64), nullable=False, server_default=""))
