"""The tables, in types that SQLite and PostgreSQL share."""

from __future__ import annotations

from datetime import UTC, datetime
from enum import StrEnum

from sqlalchemy import (
    BigInteger,
    Column,
    DateTime,
    Dialect,
    Double,
    Enum,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
)

from backtospec.records import Channel, InstrumentKind, OrderState, PowerState, Visit

REVISION = "0002"
"""The migration that these tables stand for."""

APPEND_ONLY = (
    "spec_sheets",
    "sittings",
    "attachments",
    "readings",
    "files",
    "reports",
    "power_steps",
    "order_lines",
    "instruments",
    "submissions",
)
"""Tables whose rows the database itself refuses to change or delete."""


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept in UTC because SQLite knows no time zone; naive times are refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(
        self,
        value: datetime | None,
        dialect: Dialect,  # noqa: ARG002  # the name is SQLAlchemy's
    ) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _word(kind: type[StrEnum]) -> Enum:
    """Keep an enumeration as its plain word."""
    return Enum(
        kind,
        native_enum=False,
        create_constraint=False,
        length=20,
        values_callable=lambda kind: [member.value for member in kind],
    )


def _number() -> Column[int]:
    """Count rows in the order they were kept."""
    counting = BigInteger().with_variant(Integer, "sqlite")
    return Column("number", counting, primary_key=True, autoincrement=True)


def _id() -> Column[str]:
    """Name a row for people."""
    return Column("id", String(40), nullable=False, unique=True)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

amplifiers = Table(
    "amplifiers",
    metadata,
    _number(),
    _id(),
    Column("maker", Text, nullable=False),
    Column("model", Text, nullable=False),
    Column("serial", Text, nullable=False),
    Column("added_at", UtcTime, nullable=False),
)

spec_sheets = Table(
    "spec_sheets",
    metadata,
    _number(),
    Column("amplifier_id", ForeignKey("amplifiers.id"), nullable=False, index=True),
    Column("spec_text", Text, nullable=False),
    Column("stated_at", UtcTime, nullable=False),
)

jobs = Table(
    "jobs",
    metadata,
    _number(),
    _id(),
    Column("amplifier_id", ForeignKey("amplifiers.id"), nullable=False, index=True),
    Column("title", Text, nullable=False),
    Column("opened_at", UtcTime, nullable=False),
)

sittings = Table(
    "sittings",
    metadata,
    _number(),
    _id(),
    Column("job_id", ForeignKey("jobs.id"), index=True),
    Column("check_id", String(80)),
    Column("visit", _word(Visit), nullable=False),
    Column("power_state", _word(PowerState)),
    Column("taken_at", UtcTime, nullable=False),
    Column("note", Text, nullable=False),
    Column("taken_by", Text, nullable=False, server_default=""),
)

attachments = Table(
    "attachments",
    metadata,
    _number(),
    Column("sitting_id", ForeignKey("sittings.id"), nullable=False, index=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("visit", _word(Visit), nullable=False),
    Column("attached_at", UtcTime, nullable=False),
)

files = Table(
    "files",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("name", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("kept_at", UtcTime, nullable=False),
)

readings = Table(
    "readings",
    metadata,
    _number(),
    _id(),
    Column("sitting_id", ForeignKey("sittings.id"), nullable=False, index=True),
    Column("key", String(80), nullable=False),
    Column("text", Text, nullable=False),
    Column("taken_at", UtcTime, nullable=False),
    Column("kept_at", UtcTime, nullable=False),
    Column("value", Double),
    Column("unit", String(20), nullable=False),
    Column("channel", _word(Channel)),
    Column("probed_at", Text, nullable=False),
    Column("meter_name", Text),
    Column("meter_percent", Double),
    Column("meter_counts", Double),
    Column("minutes_since_on", Double),
    Column("file_sha256", ForeignKey("files.sha256")),
    Column("supersedes", ForeignKey("readings.id"), unique=True),
)

replacements = Table(
    "replacements",
    metadata,
    _number(),
    _id(),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("designator", Text, nullable=False),
    Column("old", Text, nullable=False),
    Column("new", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("fitted_at", UtcTime, nullable=False),
)

meters = Table(
    "meters",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("percent", Double, nullable=False),
    Column("counts", Double, nullable=False),
)

reports = Table(
    "reports",
    metadata,
    _number(),
    _id(),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("made_at", UtcTime, nullable=False),
    Column("document_json", Text, nullable=False),
    Column("evidence_sha256", String(64), nullable=False),
)

power_steps = Table(
    "power_steps",
    metadata,
    _number(),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("state", _word(PowerState), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("skipped", Text, nullable=False),
)

order_lines = Table(
    "order_lines",
    metadata,
    _number(),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("designator", Text, nullable=False),
    Column("old", Text, nullable=False),
    Column("new", Text, nullable=False),
    Column("state", _word(OrderState), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("reason", Text, nullable=False),
    Column("supplier_line", Text, nullable=False),
)

instruments = Table(
    "instruments",
    metadata,
    _number(),
    Column("kind", _word(InstrumentKind), nullable=False),
    Column("name", String(80), nullable=False),
    Column("content", Text, nullable=False),
    Column("stated_at", UtcTime, nullable=False),
)

submissions = Table(
    "submissions",
    metadata,
    Column("token", String(80), primary_key=True),
    Column("kept_as", String(80), nullable=False),
)
"""A form that is sent again after a lost network carries the same token and is kept once."""

derived = Table(
    "derived",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("channel", String(8), primary_key=True),
    Column("method", String(80), primary_key=True),
    Column("version", String(40), primary_key=True),
    Column("parameters", Text, primary_key=True),
    Column("content", Text, nullable=False),
)
