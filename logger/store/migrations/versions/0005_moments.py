"""Whether a moment of a boot is stored already, whatever its spool is called by now"""

from alembic import op

revision = '0005_moments'
down_revision = '0004_people'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index('reading_moment', 'reading', ['boot', 'boot_ms'])


def downgrade() -> None:
    op.drop_index('reading_moment', table_name='reading')
