"""Sealed records, as they were sealed"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0003_records"
down_revision = "0002_delivery"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sealed_record",
        sa.Column("pour_id", sa.Integer(), nullable=False),
        sa.Column("body", sqlmodel.sql.sqltypes.AutoString(), nullable=False),
        sa.ForeignKeyConstraint(
            ["pour_id"],
            ["pour.id"],
        ),
        sa.PrimaryKeyConstraint("pour_id"),
    )
