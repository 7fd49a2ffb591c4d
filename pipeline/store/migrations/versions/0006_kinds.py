"""Events are found by their kind: practitioners, readings, disclosures."""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """An index more; no row changes."""
    op.create_index("ix_event_type", "event", ["type"])
