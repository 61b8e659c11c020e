"""Keep power states, orders and instruments; know who took a reading; keep a retried form once."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

COUNTING = sa.BigInteger().with_variant(sa.Integer, "sqlite")
MOMENT = sa.DateTime(timezone=True)
GUARDED = ("power_steps", "order_lines", "instruments", "submissions")


def _number() -> sa.Column[int]:
    return sa.Column("number", COUNTING, primary_key=True, autoincrement=True)


def _job() -> sa.Column[str]:
    return sa.Column("job_id", sa.String(40), sa.ForeignKey("jobs.id"), nullable=False)


def upgrade() -> None:
    """Make the new tables with their indexes and guards."""
    op.add_column("sittings", sa.Column("taken_by", sa.Text, nullable=False, server_default=""))
    op.create_table(
        "power_steps",
        _number(),
        _job(),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("skipped", sa.Text, nullable=False),
    )
    op.create_table(
        "order_lines",
        _number(),
        _job(),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("designator", "old", "new")),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("reason", "supplier_line")),
    )
    op.create_table(
        "instruments",
        _number(),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("stated_at", MOMENT, nullable=False),
    )
    op.create_table(
        "submissions",
        sa.Column("token", sa.String(80), primary_key=True),
        sa.Column("kept_as", sa.String(80), nullable=False),
    )
    for table in ("power_steps", "order_lines"):
        op.create_index(f"ix_{table}_job_id", table, ["job_id"])
    if op.get_context().dialect.name == "sqlite":
        for table in GUARDED:
            _guard(table)


def _guard(table: str) -> None:
    """Refuse to change or delete the rows of a table."""
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_refuse_{action.lower()} BEFORE {action} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: rows are only ever added'); END"
        )
