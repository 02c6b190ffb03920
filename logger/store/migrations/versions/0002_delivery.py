"""What a station says of itself, which channel has taken which message, links that acknowledge"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0002_delivery'
down_revision = '0001_first'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.add_column(sa.Column('power_low', sa.Boolean(), nullable=True))
        batch_op.add_column(sa.Column('disk_free_mb', sa.Float(), nullable=True))

    with op.batch_alter_table('outbox', schema=None) as batch_op:
        batch_op.add_column(sa.Column('claimed_until_ms', sa.BigInteger(), nullable=True))
        batch_op.add_column(sa.Column('since_ms', sa.BigInteger(), nullable=True))

    op.create_table('outbox_taken',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('message_id', sa.Integer(), nullable=False),
    sa.Column('channel', sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
    sa.Column('taken_ms', sa.BigInteger(), nullable=False),
    sa.ForeignKeyConstraint(['message_id'], ['outbox.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('message_id', 'channel')
    )

    op.create_table('ack_link',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('token', sqlmodel.sql.sqltypes.AutoString(length=32), nullable=False),
    sa.Column('purpose', sqlmodel.sql.sqltypes.AutoString(length=16), nullable=False),
    sa.Column('to', sqlmodel.sql.sqltypes.AutoString(length=100), nullable=False),
    sa.Column('alarm_id', sa.Integer(), nullable=True),
    sa.Column('made_ms', sa.BigInteger(), nullable=False),
    sa.Column('expires_ms', sa.BigInteger(), nullable=False),
    sa.Column('used_ms', sa.BigInteger(), nullable=True),
    sa.Column('revoked_ms', sa.BigInteger(), nullable=True),
    sa.ForeignKeyConstraint(['alarm_id'], ['alarm.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('token')
    )
    with op.batch_alter_table('ack_link', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_ack_link_alarm_id'), ['alarm_id'], unique=False)
