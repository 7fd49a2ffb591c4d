"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make all tables; the full-text index and the guards are made after every migration (env.py)."""
    op.create_table(
        "event",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(26), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("infant", sa.String(26), nullable=True),
        sa.Column("visit", sa.String(26), nullable=True),
        sa.Column("type", sa.String(40), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_event"),
        sa.UniqueConstraint("id", name="uq_event_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_event_infant", "event", ["infant"], unique=False)
    op.create_index("ix_event_visit", "event", ["visit"], unique=False)
    op.create_table(
        "infant",
        sa.Column("id", sa.String(26), nullable=False),
        sa.Column("code_name", sa.Text(), nullable=False),
        sa.Column("code_key", sa.Text(), nullable=False),
        sa.Column("legal_name", sa.Text(), nullable=True),
        sa.Column("born", sa.Date(), nullable=True),
        sa.Column("sex", sa.String(10), nullable=True),
        sa.Column("gestation_weeks", sa.Integer(), nullable=True),
        sa.Column("birth_weight_kg", sa.Float(), nullable=True),
        sa.Column("risk_factors", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_infant"),
        sa.UniqueConstraint("code_key", name="uq_infant_code_key"),
    )
    op.create_table(
        "visit",
        sa.Column("id", sa.String(26), nullable=False),
        sa.Column("infant", sa.String(26), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("age", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["infant"], ["infant.id"], name="fk_visit_infant_infant"),
        sa.PrimaryKeyConstraint("id", name="pk_visit"),
    )
    op.create_index("ix_visit_infant_day", "visit", ["infant", "day"], unique=False)
    op.create_table(
        "item",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("infant", sa.String(26), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("age_days", sa.Integer(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(12), nullable=False),
        sa.Column("concept", sa.String(64), nullable=False),
        sa.Column("site", sa.String(64), nullable=True),
        sa.Column("side", sa.String(5), nullable=False),
        sa.Column("level", sa.String(16), nullable=True),
        sa.Column("result", sa.String(40), nullable=True),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("unit", sa.String(16), nullable=True),
        sa.Column("start_ms", sa.Integer(), nullable=False),
        sa.Column("end_ms", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["infant"], ["infant.id"], name="fk_item_infant_infant"),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_item_visit_visit"),
        sa.PrimaryKeyConstraint("id", name="pk_item"),
    )
    op.create_index("ix_item_concept_result_day", "item", ["concept", "result", "day"], unique=False)
    op.create_index("ix_item_infant_day", "item", ["infant", "day"], unique=False)
    op.create_index("ix_item_site_day", "item", ["site", "day"], unique=False)
    op.create_index("ix_item_visit", "item", ["visit"], unique=False)
    op.create_table(
        "line",
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("section", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_line_visit_visit"),
        sa.PrimaryKeyConstraint("visit", "id", name="pk_line"),
    )
    op.create_table(
        "passage",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("line", sa.Text(), nullable=True),
        sa.Column("start_ms", sa.Integer(), nullable=False),
        sa.Column("end_ms", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_passage_visit_visit"),
        sa.PrimaryKeyConstraint("row", name="pk_passage"),
    )
    op.create_index("ix_passage_visit", "passage", ["visit"], unique=False)
    op.create_table(
        "recording",
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("duration_ms", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_recording_visit_visit"),
        sa.PrimaryKeyConstraint("id", name="pk_recording"),
    )
    op.create_index("ix_recording_visit", "recording", ["visit"], unique=False)
    op.create_table(
        "remark",
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("urgency", sa.String(16), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_remark_visit_visit"),
        sa.PrimaryKeyConstraint("visit", "id", name="pk_remark"),
    )
    op.create_table(
        "evidence",
        sa.Column("item", sa.String(36), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(10), nullable=False),
        sa.Column("start_ms", sa.Integer(), nullable=False),
        sa.Column("end_ms", sa.Integer(), nullable=False),
        sa.Column("i0", sa.Integer(), nullable=False),
        sa.Column("i1", sa.Integer(), nullable=False),
        sa.Column("quote", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["item"], ["item.id"], name="fk_evidence_item_item"),
        sa.PrimaryKeyConstraint("item", "position", name="pk_evidence"),
    )
    op.create_table(
        "line_item",
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("line", sa.Text(), nullable=False),
        sa.Column("item", sa.String(36), nullable=False),
        sa.ForeignKeyConstraint(["item"], ["item.id"], name="fk_line_item_item_item"),
        sa.ForeignKeyConstraint(["visit", "line"], ["line.visit", "line.id"], name="fk_line_item_visit_line_line"),
        sa.PrimaryKeyConstraint("visit", "line", "item", name="pk_line_item"),
    )
    op.create_index("ix_line_item_item", "line_item", ["item"], unique=False)
    op.create_table(
        "transcript",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("recording", sa.String(64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("model_sha256", sa.String(64), nullable=False),
        sa.Column("vocab_hash", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["recording"], ["recording.id"], name="fk_transcript_recording_recording"),
        sa.PrimaryKeyConstraint("sha256", name="pk_transcript"),
    )
    op.create_index("ix_transcript_recording", "transcript", ["recording"], unique=False)
    op.create_table(
        "run",
        sa.Column("visit", sa.String(26), nullable=False),
        sa.Column("transcript", sa.String(64), nullable=False),
        sa.Column("program", sa.Text(), nullable=False),
        sa.Column("vocab_hash", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["transcript"], ["transcript.sha256"], name="fk_run_transcript_transcript"),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name="fk_run_visit_visit"),
        sa.PrimaryKeyConstraint("visit", name="pk_run"),
    )
