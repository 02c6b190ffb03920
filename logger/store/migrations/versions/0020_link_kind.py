"""What a shared link shows stands in the link: a record, a board on a screen, the wall view"""

import sqlalchemy as sa
from alembic import op

revision = '0020_link_kind'
down_revision = '0019_reading'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column('shared_link', sa.Column('kind', sa.String(16), nullable=False, server_default='record'))
    op.add_column('shared_link', sa.Column('clients', sa.Boolean(), nullable=False, server_default=sa.false()))
    op.execute("UPDATE shared_link SET kind = 'screen' WHERE pour_id IS NULL")


def downgrade() -> None:
    # An earlier program would take a link of a further kind for one of its own, which shows more.
    op.execute("DELETE FROM shared_link WHERE kind NOT IN ('record', 'screen')")
    op.drop_column('shared_link', 'clients')
    op.drop_column('shared_link', 'kind')
