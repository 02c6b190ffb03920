"""Texts that hold facts may be longer than the words that are made of them"""

import sqlalchemy as sa
from alembic import op

revision = '0018_facts'
down_revision = '0017_channels'
branch_labels = None
depends_on = None

#: Table, column, length before, length now. SQLite keeps any length.
_COLUMNS = (
    ('alarm', 'reason', 1000, 4000),
    ('event', 'text', 4000, 8000),
    ('outbox', 'title', 300, 2000),
    ('outbox', 'body', 4000, 8000),
    ('outbox', 'problem', 500, 4000),
    ('person_channel', 'problem', 500, 4000),
    ('lease', 'trouble', 1000, 4000),
    ('event', 'by', 100, 300),
    ('alarm', 'acknowledged_by', 100, 300),
)


def upgrade() -> None:
    if op.get_bind().dialect.name == 'postgresql':
        for table, column, before, now in _COLUMNS:
            op.alter_column(table, column, existing_type=sa.String(before), type_=sa.String(now))


def downgrade() -> None:
    if op.get_bind().dialect.name == 'postgresql':
        for table, column, before, now in _COLUMNS:
            op.alter_column(
                table,
                column,
                existing_type=sa.String(now),
                type_=sa.String(before),
                postgresql_using=f'left("{column}", {before})',
            )
