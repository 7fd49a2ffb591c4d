"""The corrected age beside each line, and the indexes that a search goes by."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the corrected age, taken from the visit, and make the indexes of lines and visits anew."""
    op.add_column("item", sa.Column("corrected_days", sa.Integer(), nullable=True))
    op.execute(
        "UPDATE item SET corrected_days = "
        "(SELECT json_extract(visit.age, '$.corrected_days') FROM visit WHERE visit.id = item.visit)"
    )
    op.drop_index("ix_item_concept_result_day", "item")
    found = ["concept", "result", "day", "side", "age_days", "corrected_days"]
    op.create_index("ix_item_concept", "item", [*found, "value", "unit"])
    op.create_index("ix_item_site_concept", "item", ["site", *found])
    op.create_index("ix_visit_day", "visit", ["day"])
