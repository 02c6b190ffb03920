"""Ways to a person's phone that were set up on a page"""

import sqlalchemy as sa
from alembic import op

revision = '0017_channels'
down_revision = '0016_request_key'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        'person_channel',
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('person_id', sa.Integer(), nullable=False),
        sa.Column('kind', sa.String(32), nullable=False),
        sa.Column('entries', sa.JSON(), nullable=False),
        sa.Column('url', sa.String(4000), nullable=False),
        sa.Column('turn', sa.String(8), nullable=False),
        sa.Column('made_ms', sa.BigInteger(), nullable=False),
        sa.Column('tried_ms', sa.BigInteger(), nullable=True),
        sa.Column('problem', sa.String(500), nullable=True),
        sa.Column('confirmed_ms', sa.BigInteger(), nullable=True),
        sa.Column('removed_ms', sa.BigInteger(), nullable=True),
        sa.Column('replaces_id', sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(['person_id'], ['person.id']),
        sa.PrimaryKeyConstraint('id'),
    )
    op.create_index('ix_person_channel_person_id', 'person_channel', ['person_id'])
    if op.get_bind().dialect.name == 'postgresql':
        rule = (
            '(SELECT pourlog_shop()) IS NULL OR '
            'EXISTS (SELECT 1 FROM person WHERE person.id = person_channel.person_id)'
        )
        op.execute('ALTER TABLE person_channel ENABLE ROW LEVEL SECURITY')
        op.execute('ALTER TABLE person_channel FORCE ROW LEVEL SECURITY')
        op.execute(f'CREATE POLICY own_shop ON person_channel USING ({rule})')


def downgrade() -> None:
    op.drop_table('person_channel')
