"""Make the first tables, and let the database itself guard what is only ever added to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

COUNTING = sa.BigInteger().with_variant(sa.Integer, "sqlite")
MOMENT = sa.DateTime(timezone=True)
GUARDED = ("spec_sheets", "sittings", "attachments", "readings", "files", "reports")


def _number() -> sa.Column[int]:
    return sa.Column("number", COUNTING, primary_key=True, autoincrement=True)


def _to(target: str) -> sa.ForeignKey:
    return sa.ForeignKey(target)


def upgrade() -> None:
    """Make every table, its indexes, and the guards where SQLite keeps the store."""
    _make_shelf()
    _make_readings()
    _make_papers()
    if op.get_context().dialect.name == "sqlite":
        for table in GUARDED:
            _guard(table)


def _make_shelf() -> None:
    op.create_table(
        "amplifiers",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("maker", sa.Text, nullable=False),
        sa.Column("model", sa.Text, nullable=False),
        sa.Column("serial", sa.Text, nullable=False),
        sa.Column("added_at", MOMENT, nullable=False),
        sa.UniqueConstraint("id", name="uq_amplifiers_id"),
    )
    op.create_table(
        "spec_sheets",
        _number(),
        sa.Column("amplifier_id", sa.String(40), _to("amplifiers.id"), nullable=False),
        sa.Column("spec_text", sa.Text, nullable=False),
        sa.Column("stated_at", MOMENT, nullable=False),
    )
    op.create_index("ix_spec_sheets_amplifier_id", "spec_sheets", ["amplifier_id"])
    op.create_table(
        "jobs",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("amplifier_id", sa.String(40), _to("amplifiers.id"), nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("opened_at", MOMENT, nullable=False),
        sa.UniqueConstraint("id", name="uq_jobs_id"),
    )
    op.create_index("ix_jobs_amplifier_id", "jobs", ["amplifier_id"])
    op.create_table(
        "meters",
        sa.Column("name", sa.String(80), primary_key=True),
        sa.Column("percent", sa.Double, nullable=False),
        sa.Column("counts", sa.Double, nullable=False),
    )


def _make_readings() -> None:
    op.create_table(
        "sittings",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("job_id", sa.String(40), _to("jobs.id")),
        sa.Column("check_id", sa.String(80)),
        sa.Column("visit", sa.String(20), nullable=False),
        sa.Column("power_state", sa.String(20)),
        sa.Column("taken_at", MOMENT, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.UniqueConstraint("id", name="uq_sittings_id"),
    )
    op.create_index("ix_sittings_job_id", "sittings", ["job_id"])
    op.create_table(
        "attachments",
        _number(),
        sa.Column("sitting_id", sa.String(40), _to("sittings.id"), nullable=False),
        sa.Column("job_id", sa.String(40), _to("jobs.id"), nullable=False),
        sa.Column("visit", sa.String(20), nullable=False),
        sa.Column("attached_at", MOMENT, nullable=False),
    )
    op.create_index("ix_attachments_sitting_id", "attachments", ["sitting_id"])
    op.create_index("ix_attachments_job_id", "attachments", ["job_id"])
    op.create_table(
        "files",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("kept_at", MOMENT, nullable=False),
    )
    op.create_table(
        "readings",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("sitting_id", sa.String(40), _to("sittings.id"), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("taken_at", MOMENT, nullable=False),
        sa.Column("kept_at", MOMENT, nullable=False),
        sa.Column("value", sa.Double),
        sa.Column("unit", sa.String(20), nullable=False),
        sa.Column("channel", sa.String(20)),
        sa.Column("probed_at", sa.Text, nullable=False),
        sa.Column("meter_name", sa.Text),
        sa.Column("meter_percent", sa.Double),
        sa.Column("meter_counts", sa.Double),
        sa.Column("minutes_since_on", sa.Double),
        sa.Column("file_sha256", sa.String(64), _to("files.sha256")),
        sa.Column("supersedes", sa.String(40), _to("readings.id")),
        sa.UniqueConstraint("id", name="uq_readings_id"),
        sa.UniqueConstraint("supersedes", name="uq_readings_supersedes"),
    )
    op.create_index("ix_readings_sitting_id", "readings", ["sitting_id"])


def _make_papers() -> None:
    op.create_table(
        "replacements",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("job_id", sa.String(40), _to("jobs.id"), nullable=False),
        sa.Column("designator", sa.Text, nullable=False),
        sa.Column("old", sa.Text, nullable=False),
        sa.Column("new", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("fitted_at", MOMENT, nullable=False),
        sa.UniqueConstraint("id", name="uq_replacements_id"),
    )
    op.create_index("ix_replacements_job_id", "replacements", ["job_id"])
    op.create_table(
        "reports",
        _number(),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("job_id", sa.String(40), _to("jobs.id"), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("document_json", sa.Text, nullable=False),
        sa.Column("evidence_sha256", sa.String(64), nullable=False),
        sa.UniqueConstraint("id", name="uq_reports_id"),
    )
    op.create_index("ix_reports_job_id", "reports", ["job_id"])
    op.create_table(
        "derived",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("channel", sa.String(8), primary_key=True),
        sa.Column("method", sa.String(80), primary_key=True),
        sa.Column("version", sa.String(40), primary_key=True),
        sa.Column("parameters", sa.Text, primary_key=True),
        sa.Column("content", sa.Text, nullable=False),
    )


def _guard(table: str) -> None:
    """Refuse to change or delete the rows of a table."""
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_refuse_{action.lower()} BEFORE {action} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: rows are only ever added'); END"
        )
