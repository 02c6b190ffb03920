"""Which stations have reported a thermometer, without a look at every probe; room for what changes with every batch"""

from alembic import op

revision = '0010_probe_of_rom'
down_revision = '0009_shops'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index('probe_of_rom', 'probe', ['rom'])
    if op.get_bind().dialect.name == 'postgresql':
        # Changed with every batch: with room for it in the same page, no index is touched.
        for name in ('probe', 'station', 'pour'):
            op.execute(f'ALTER TABLE {name} SET (fillfactor = 60)')


def downgrade() -> None:
    if op.get_bind().dialect.name == 'postgresql':
        for name in ('probe', 'station', 'pour'):
            op.execute(f'ALTER TABLE {name} RESET (fillfactor)')
    op.drop_index('probe_of_rom', table_name='probe')
