"""What a station says of its pins"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0012_pin_faults'
down_revision = '0011_own_rows'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.add_column(sa.Column('pin_faults', sqlmodel.sql.sqltypes.AutoString(length=400), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('station', schema=None) as batch_op:
        batch_op.drop_column('pin_faults')
