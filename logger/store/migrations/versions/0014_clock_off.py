"""How far a station's clock is from the service's"""

import sqlalchemy as sa
from alembic import op

revision = '0014_clock_off'
down_revision = '0013_never'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.add_column(sa.Column('clock_off_ms', sa.BigInteger(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.drop_column('clock_off_ms')
