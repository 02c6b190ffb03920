"""Shops: each sees its own pours, stations and people. On PostgreSQL the server itself sees to it (row security)"""

import sqlalchemy as sa
from alembic import op

revision = "0009_shops"
down_revision = "0008_quiet"
branch_labels = None
depends_on = None

#: Tables whose rows belong to a shop by themselves.
OWNED = ("station", "pour", "person", "invitation", "shared_link", "event")
#: The others follow what they belong to: table → (column, table that it names).
FOLLOW = {
    "probe": ("station_id", "station"),
    "reading": ("station_id", "station"),
    "pour_probe": ("pour_id", "pour"),
    "alarm": ("pour_id", "pour"),
    "forecast": ("pour_id", "pour"),
    "sealed_record": ("pour_id", "pour"),
    "outbox": ("alarm_id", "alarm"),
    "ack_link": ("alarm_id", "alarm"),
    "sign_in": ("person_id", "person"),
}


def upgrade() -> None:
    op.create_table(
        "shop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.execute("INSERT INTO shop (name, created_ms) VALUES ('The first shop', 0)")
    server = op.get_bind().dialect.name == "postgresql"
    if server:
        op.execute(
            "CREATE FUNCTION pourlog_shop() RETURNS integer LANGUAGE sql STABLE AS "
            "$$ SELECT nullif(current_setting('pourlog.shop', true), '')::integer $$"
        )
    for name in OWNED:
        default = sa.text("coalesce(pourlog_shop(), 1)") if server else sa.text("1")
        op.add_column(name, sa.Column("shop_id", sa.Integer(), nullable=False, server_default=default))
    if server:
        _by_the_server()


def _by_the_server() -> None:
    """A transaction that says for which shop it is (pourlog.shop) sees and writes that shop's rows alone."""
    for name in OWNED:
        op.create_foreign_key(f"{name}_of_shop", name, "shop", ["shop_id"], ["id"])
    # Two shops may each have a bench-1. People sign in by their name alone: that stays theirs in all shops.
    op.drop_constraint("station_name_key", "station")
    op.create_unique_constraint("station_of_shop_key", "station", ["shop_id", "name"])
    mine = "(SELECT pourlog_shop()) IS NULL OR "
    rules = {name: "shop_id = (SELECT pourlog_shop())" for name in OWNED}
    rules["event"] = "CASE WHEN pour_id IS NULL THEN shop_id = (SELECT pourlog_shop()) ELSE pour_id IN (SELECT id FROM pour) END"
    for name, (column, of) in FOLLOW.items():
        rules[name] = f"{column} IN (SELECT id FROM {of})"
    for name in ("outbox", "ack_link"):  # test messages are about no alarm, and everybody's
        rules[name] = f"alarm_id IS NULL OR {rules[name]}"
    for name, rule in rules.items():
        op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {name} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_shop ON {name} USING ({mine}{rule})")
