"""Links of another kind, the public card that a label opens; the workshop's logo"""

import sqlalchemy as sa
from alembic import op

revision = '0021_cards'
down_revision = '0020_link_kind'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column('shared_link', sa.Column('token', sa.String(64), nullable=True))
    op.create_table(
        'logo',
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('png', sa.LargeBinary(), nullable=False),
        sa.Column('by', sa.String(100), nullable=False),
        sa.Column('at_ms', sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint('id'),
    )
    server = op.get_bind().dialect.name == 'postgresql'
    default = sa.text('coalesce(pourlog_shop(), 1)') if server else sa.text('1')
    op.add_column('logo', sa.Column('shop_id', sa.Integer(), nullable=False, server_default=default))
    if server:
        op.create_foreign_key('logo_of_shop', 'logo', 'shop', ['shop_id'], ['id'])
        rule = '(SELECT pourlog_shop()) IS NULL OR shop_id = (SELECT pourlog_shop())'
        op.execute('ALTER TABLE logo ENABLE ROW LEVEL SECURITY')
        op.execute('ALTER TABLE logo FORCE ROW LEVEL SECURITY')
        op.execute(f'CREATE POLICY own_shop ON logo USING ({rule})')


def downgrade() -> None:
    op.drop_table('logo')
    # An earlier program would take a card for a link that shows more.
    op.execute("DELETE FROM shared_link WHERE kind = 'card'")
    op.drop_column('shared_link', 'token')
