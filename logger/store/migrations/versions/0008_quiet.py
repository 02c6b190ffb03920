"""Whether an alarm is shelved or out of service: then a station's lamp and buzzer are quiet, too"""

import sqlalchemy as sa
from alembic import op

revision = '0008_quiet'
down_revision = '0007_fan'
branch_labels = None
depends_on = None


def upgrade() -> None:
    # A plain '0', which SQLite and PostgreSQL both take for a boolean: an expression would copy the whole table.
    op.add_column('alarm', sa.Column('quiet', sa.Boolean(), nullable=False, server_default='0'))


def downgrade() -> None:
    with op.batch_alter_table('alarm', schema=None) as batch_op:
        batch_op.drop_column('quiet')
