"""Whose word a station's fan follows, and since when it is on or off"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0007_fan'
down_revision = '0006_many'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.add_column(sa.Column('fan_by', sqlmodel.sql.sqltypes.AutoString(length=16), nullable=True))
        batch_op.add_column(sa.Column('fan_since_ms', sa.BigInteger(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.drop_column('fan_since_ms')
        batch_op.drop_column('fan_by')
