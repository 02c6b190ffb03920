"""The key of the request that an event came from: sent again, it is carried out once"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0016_request_key'
down_revision = '0015_foreign'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('event', schema=None) as batch_op:
        batch_op.add_column(sa.Column('request_key', sqlmodel.sql.sqltypes.AutoString(length=255), nullable=True))
        batch_op.add_column(sa.Column('request_sha256', sqlmodel.sql.sqltypes.AutoString(length=64), nullable=True))
    with_key = sa.text('request_key IS NOT NULL')
    op.create_index('event_of_request', 'event', ['shop_id', 'request_key'], unique=True,
                    sqlite_where=with_key, postgresql_where=with_key)


def downgrade() -> None:
    op.drop_index('event_of_request', table_name='event')
    with op.batch_alter_table('event', schema=None) as batch_op:
        batch_op.drop_column('request_sha256')
        batch_op.drop_column('request_key')
