"""Records from elsewhere are marked as such, with where they came from; what is not whole yet is in no list"""

import json

import sqlalchemy as sa
from alembic import op

revision = '0015_foreign'
down_revision = '0014_clock_off'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column('pour', sa.Column('origin', sa.JSON(none_as_null=True), nullable=True))
    op.add_column('pour', sa.Column('partial_ms', sa.BigInteger(), nullable=True))
    op.add_column('station', sa.Column('recorded_as', sa.String(64), nullable=True))
    _mark()


def _mark() -> None:
    """What was brought in before: foreign from now on, and closed, whatever stage its file had claimed."""
    event = sa.table('event', *map(sa.column, ('id', 'pour_id', 'at_ms', 'kind', 'by', 'text', 'data')))
    pour = sa.table('pour', sa.column('id'), sa.column('stage'), sa.column('origin', sa.JSON(none_as_null=True)))
    bind = op.get_bind()
    imported = sa.select(event).where(event.c.kind == 'imported', event.c.pour_id.is_not(None)).order_by(event.c.id)
    for row in bind.execute(imported).all():
        data = json.loads(row.data) if isinstance(row.data, str) else row.data
        origin = {
            'workshop': str(row.text).removeprefix('from ')[:200], 'by': row.by, 'at_ms': row.at_ms,
            'seal_sha256': (data or {}).get('seal_sha256'),
        }
        bind.execute(pour.update().where(pour.c.id == row.pour_id).values(stage='closed', origin=origin))


def downgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.drop_column('recorded_as')
    with op.batch_alter_table('pour', schema=None) as batch_op:
        batch_op.drop_column('partial_ms')
        batch_op.drop_column('origin')
