"""Invitations, and links that show something without a sign-in"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0004_people'
down_revision = '0003_records'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('invitation',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('name', sqlmodel.sql.sqltypes.AutoString(length=100), nullable=False),
    sa.Column('role', sqlmodel.sql.sqltypes.AutoString(length=16), nullable=False),
    sa.Column('code_hash', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('by', sqlmodel.sql.sqltypes.AutoString(length=100), nullable=False),
    sa.Column('made_ms', sa.BigInteger(), nullable=False),
    sa.Column('expires_ms', sa.BigInteger(), nullable=False),
    sa.Column('ended_ms', sa.BigInteger(), nullable=True),
    sa.PrimaryKeyConstraint('id')
    )
    op.create_table('shared_link',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('pour_id', sa.Integer(), nullable=True),
    sa.Column('label', sqlmodel.sql.sqltypes.AutoString(length=100), nullable=False),
    sa.Column('token_hash', sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
    sa.Column('by', sqlmodel.sql.sqltypes.AutoString(length=100), nullable=False),
    sa.Column('made_ms', sa.BigInteger(), nullable=False),
    sa.Column('expires_ms', sa.BigInteger(), nullable=True),
    sa.Column('seen_ms', sa.BigInteger(), nullable=True),
    sa.Column('ended_ms', sa.BigInteger(), nullable=True),
    sa.ForeignKeyConstraint(['pour_id'], ['pour.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('token_hash')
    )
