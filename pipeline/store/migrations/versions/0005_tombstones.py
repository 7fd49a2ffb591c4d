"""What an event says is chained by a salted hash of it, so that it may be destroyed; stored files may be destroyed."""

import json

import sqlalchemy as sa
from alembic import op

from pipeline.store.chain import FIELDS, content_hash, event_hash, new_salt

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Chain every event anew, and keep the hash that it had; the guards are made again after every migration."""
    connection = op.get_bind()
    connection.execute(sa.text("DROP TRIGGER IF EXISTS event_unchanged"))
    op.add_column("event", sa.Column("salt", sa.String(32), nullable=False, server_default=""))
    op.add_column("event", sa.Column("content", sa.String(64), nullable=False, server_default=""))
    op.add_column("event", sa.Column("first_hash", sa.String(64), nullable=True))
    connection.execute(sa.text("UPDATE event SET first_hash = hash"))
    plain = [name for name in FIELDS if name != "content"]
    rows = connection.execute(sa.text(f"SELECT {', '.join(plain)}, payload FROM event ORDER BY seq")).mappings().all()
    last = ""
    change = sa.text("UPDATE event SET salt = :salt, content = :content, hash = :hash WHERE seq = :seq")
    for row in rows:
        salt = new_salt()
        content = content_hash(salt, json.loads(row["payload"]))
        last = event_hash(last, {**row, "content": content})
        connection.execute(change, {"salt": salt, "content": content, "hash": last, "seq": row["seq"]})
    op.create_table(
        "destroyed",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("instead", sa.String(64), nullable=True),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_destroyed"),
    )
