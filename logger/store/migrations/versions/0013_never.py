"""Forecasts say null, not Infinity, where the core may not be hard within the run; sealed ones stay as sealed"""

from alembic import op

revision = '0013_never'
down_revision = '0012_pin_faults'
branch_labels = None
depends_on = None


def upgrade() -> None:
    if op.get_bind().dialect.name == 'sqlite':  # PostgreSQL has never taken an infinity into JSON
        op.execute(
            "UPDATE forecast SET body = replace(body, ': Infinity', ': null') "
            "WHERE body LIKE '%: Infinity%' AND pour_id IN (SELECT id FROM pour WHERE seal IS NULL OR seal = 'null')"
        )


def downgrade() -> None:
    pass  # an older program reads null as well
