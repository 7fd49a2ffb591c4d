"""Carers, merged entries and names by event; visits on stretches of a recording or on a typed text; contacts."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring revision 0001 with its rows to the new form; what 0001 could not hold begins empty."""
    with op.batch_alter_table("infant") as batch:
        batch.add_column(sa.Column("carers", sa.JSON(), nullable=False, server_default="[]"))
        batch.add_column(sa.Column("merged_into", sa.String(26), nullable=True))
        batch.create_foreign_key("fk_infant_merged_into_infant", "infant", ["merged_into"], ["id"])
    with op.batch_alter_table("infant") as batch:
        batch.alter_column("carers", server_default=None)
        batch.create_index("ix_infant_merged_into", ["merged_into"])
    op.create_table(
        "infant_name",
        sa.Column("infant", sa.String(26), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["infant"], ["infant.id"], name="fk_infant_name_infant_infant"),
        sa.PrimaryKeyConstraint("infant", "name", name="pk_infant_name"),
    )
    op.create_index("ix_infant_name_seq", "infant_name", ["seq"], unique=False)
    for key in ("code_name", "legal_name"):
        name = f"json_extract(payload, '$.infant.{key}')"
        op.execute(
            "INSERT OR IGNORE INTO infant_name (infant, name, seq) "
            f"SELECT json_extract(payload, '$.infant.id'), {name}, min(seq) FROM event "
            f"WHERE type IN ('infant_entered', 'infant_revised') AND {name} IS NOT NULL GROUP BY 1, 2"
        )
    with op.batch_alter_table("visit") as batch:
        batch.add_column(sa.Column("filed_to", sa.String(26), nullable=True))
        batch.add_column(sa.Column("at", sa.Time(), nullable=True))
        batch.add_column(sa.Column("opened", sa.Integer(), nullable=True))
        batch.add_column(sa.Column("recording", sa.String(64), nullable=True))
        batch.add_column(sa.Column("stretches", sa.JSON(none_as_null=True), nullable=True))
    op.execute(
        "UPDATE visit SET filed_to = infant, "
        "opened = (SELECT seq FROM event WHERE event.visit = visit.id AND type = 'visit_opened'), "
        "recording = (SELECT id FROM recording WHERE recording.visit = visit.id)"
    )
    with op.batch_alter_table("recording") as batch:
        batch.drop_index("ix_recording_visit")
        batch.drop_constraint("fk_recording_visit_visit", type_="foreignkey")
        batch.drop_column("visit")
        batch.create_index("ix_recording_sha256", ["sha256"])
    with op.batch_alter_table("visit") as batch:
        batch.alter_column("filed_to", existing_type=sa.String(26), nullable=False)
        batch.alter_column("opened", existing_type=sa.Integer(), nullable=False)
        batch.create_foreign_key("fk_visit_filed_to_infant", "infant", ["filed_to"], ["id"])
        batch.create_foreign_key("fk_visit_recording_recording", "recording", ["recording"], ["id"])
        batch.create_index("ix_visit_filed_to", ["filed_to"])
        batch.create_index("ix_visit_recording", ["recording"])
    op.create_table(
        "contact",
        sa.Column("id", sa.String(26), nullable=False),
        sa.Column("filed_to", sa.String(26), nullable=False),
        sa.Column("infant", sa.String(26), nullable=False),
        sa.Column("visit", sa.String(26), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("at", sa.Time(), nullable=True),
        sa.Column("what", sa.String(20), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["filed_to"], ["infant.id"], name="fk_contact_filed_to_infant"),
        sa.ForeignKeyConstraint(["infant"], ["infant.id"], name="fk_contact_infant_infant"),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_contact_visit_visit"),
        sa.PrimaryKeyConstraint("id", name="pk_contact"),
    )
    op.create_index("ix_contact_infant_day", "contact", ["infant", "day"], unique=False)
    op.create_index("ix_contact_filed_to", "contact", ["filed_to"], unique=False)
