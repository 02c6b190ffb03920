"""In which units and language somebody reads: none is as the workshop"""

import sqlalchemy as sa
from alembic import op

revision = '0019_reading'
down_revision = '0018_facts'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column('person', sa.Column('units', sa.String(32), nullable=True))
    op.add_column('person', sa.Column('language', sa.String(8), nullable=True))


def downgrade() -> None:
    op.drop_column('person', 'language')
    op.drop_column('person', 'units')
