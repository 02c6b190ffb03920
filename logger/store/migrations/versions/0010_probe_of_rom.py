"""Which stations have reported a thermometer, without a look at every probe"""

from alembic import op

revision = '0010_probe_of_rom'
down_revision = '0009_shops'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index('probe_of_rom', 'probe', ['rom'])


def downgrade() -> None:
    op.drop_index('probe_of_rom', table_name='probe')
