"""A row's shop is looked up for that row: a list of all pours or stations, made for each question, grows with them"""

from alembic import op

revision = '0011_own_rows'
down_revision = '0010_probe_of_rom'
branch_labels = None
depends_on = None

#: table → (column, table that it names), as they stood with 0009.
_FOLLOW = {
    'probe': ('station_id', 'station'),
    'reading': ('station_id', 'station'),
    'pour_probe': ('pour_id', 'pour'),
    'alarm': ('pour_id', 'pour'),
    'forecast': ('pour_id', 'pour'),
    'sealed_record': ('pour_id', 'pour'),
    'outbox': ('alarm_id', 'alarm'),
    'ack_link': ('alarm_id', 'alarm'),
    'sign_in': ('person_id', 'person'),
}


def upgrade() -> None:
    _put('EXISTS (SELECT 1 FROM {of} WHERE {of}.id = {name}.{column})')


def downgrade() -> None:
    _put('{column} IN (SELECT id FROM {of})')


def _put(follows: str) -> None:
    if op.get_bind().dialect.name != 'postgresql':
        return
    mine = '(SELECT pourlog_shop()) IS NULL OR '
    rules = {name: follows.format(name=name, column=column, of=of) for name, (column, of) in _FOLLOW.items()}
    rules['event'] = (
        'CASE WHEN pour_id IS NULL THEN shop_id = (SELECT pourlog_shop()) ELSE '
        f'{follows.format(name="event", column="pour_id", of="pour")} END'
    )
    for name in ('outbox', 'ack_link'):  # test messages are about no alarm, and everybody's
        rules[name] = f'alarm_id IS NULL OR {rules[name]}'
    for name, rule in rules.items():
        op.execute(f'DROP POLICY own_shop ON {name}')
        op.execute(f'CREATE POLICY own_shop ON {name} USING ({mine}{rule})')
