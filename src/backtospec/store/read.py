"""Giving facts back, in the order they were kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

from sqlalchemy import Column, Connection, RowMapping, Select, func, select

from backtospec.errors import BenchError
from backtospec.records import (
    Amplifier,
    Instrument,
    Job,
    Meter,
    OrderLine,
    PowerStep,
    Reading,
    Replacement,
    Sitting,
    StoredReport,
)
from backtospec.store import schema
from backtospec.store.connection import Store, reading

Record = TypeVar("Record")


def amplifiers(store: Store) -> tuple[Amplifier, ...]:
    """Return every amplifier on the shelf, with its newest spec sheet."""
    return _all(store, Amplifier, _amplifiers())


def amplifier(store: Store, amplifier_id: str) -> Amplifier:
    """Return one amplifier, with its newest spec sheet; refuse an unknown id."""
    return _one(store, Amplifier, _amplifiers(), schema.amplifiers.c.id, amplifier_id)


def spec_history(store: Store, amplifier_id: str) -> tuple[str, ...]:
    """Return every spec sheet ever stated for an amplifier, oldest first."""
    table = schema.spec_sheets
    query = select(table.c.spec_text).where(table.c.amplifier_id == amplifier_id)
    with reading(store) as connection:
        return tuple(connection.execute(query.order_by(table.c.number)).scalars())


def jobs(store: Store) -> tuple[Job, ...]:
    """Return every job."""
    return _all(store, Job, select(schema.jobs).order_by(schema.jobs.c.number))


def job(store: Store, job_id: str) -> Job:
    """Return one job; refuse an unknown id."""
    return _one(store, Job, select(schema.jobs), schema.jobs.c.id, job_id)


def sittings(store: Store, job_id: str | None) -> tuple[Sitting, ...]:
    """Return the sittings that belong to a job, or with ``None`` those that belong to none yet.

    A sitting that was attached later carries the job and the visit it was attached to.
    """
    query = _sittings()
    belongs = query.selected_columns["job_id"] == job_id
    return _all(store, Sitting, query.where(belongs).order_by(schema.sittings.c.number))


def sitting(store: Store, sitting_id: str) -> Sitting:
    """Return one sitting; refuse an unknown id."""
    with reading(store) as connection:
        return find_sitting(connection, sitting_id)


def readings(store: Store, sitting_id: str, *, current: bool = True) -> tuple[Reading, ...]:
    """Return the readings of a sitting.

    Parameters
    ----------
    store
        The open store.
    sitting_id
        The sitting.
    current
        Leave out what a later reading supersedes. A correction stands in the place of what it
        corrects.
    """
    with reading(store) as connection:
        return readings_of(connection, sitting_id, current=current)


def readings_of(
    connection: Connection, sitting_id: str, *, current: bool = True
) -> tuple[Reading, ...]:
    """Return the readings of a sitting over an open connection; see :func:`readings`."""
    table = schema.readings
    query = select(table).where(table.c.sitting_id == sitting_id).order_by(table.c.number)
    everything = [_reading(row) for row in connection.execute(query).mappings()]
    return _current(everything) if current else tuple(everything)


def readings_of_job(store: Store, job_id: str | None) -> dict[str, tuple[Reading, ...]]:
    """Return the current readings of all sittings of a job, by the sitting's id.

    One query, however many sittings; with ``None`` the sittings that belong to no job yet.
    """
    belonging = _sittings().subquery()
    table = schema.readings
    query = (
        select(table)
        .join(belonging, belonging.c.id == table.c.sitting_id)
        .where(belonging.c.job_id == job_id)
        .order_by(table.c.number)
    )
    found: dict[str, list[Reading]] = {}
    with reading(store) as connection:
        for row in connection.execute(query).mappings():
            found.setdefault(row["sitting_id"], []).append(_reading(row))
    return {id_: _current(everything) for id_, everything in found.items()}


def newest_sittings(store: Store, job_id: str) -> tuple[Sitting, ...]:
    """Return the newest sitting of each check and part in each visit of a job, oldest first.

    A part is what was answered under ``designator``.
    """
    mine = _sittings().add_columns(schema.sittings.c.number).subquery()
    part = schema.readings
    newest = (
        select(func.max(mine.c.number))
        .outerjoin(part, (part.c.sitting_id == mine.c.id) & (part.c.key == "designator"))
        .where(mine.c.job_id == job_id, mine.c.check_id.is_not(None))
        .group_by(mine.c.check_id, mine.c.visit, func.lower(func.coalesce(part.c.text, "")))
    )
    chosen = select(mine).where(mine.c.number.in_(newest)).order_by(mine.c.number)
    return _all(store, Sitting, chosen)


Marks = tuple[int, int, int]
"""The newest numbers of readings, attachments and power steps: they grow with each new fact."""


def marks(store: Store) -> Marks:
    """Return how far the store has come; cheap enough to be asked twice a second."""
    tables = (schema.readings, schema.attachments, schema.power_steps)
    with reading(store) as connection:
        found = [connection.execute(select(func.max(t.c.number))).scalar() or 0 for t in tables]
    return found[0], found[1], found[2]


def jobs_since(store: Store, since: Marks) -> frozenset[str]:
    """Return the jobs that something was added to after the store had come so far."""
    sat, read_, attached, power = (
        schema.sittings,
        schema.readings,
        schema.attachments,
        schema.power_steps,
    )
    later = select(read_.c.sitting_id).where(read_.c.number > since[0])
    queries = (
        select(sat.c.job_id).where(sat.c.id.in_(later)),
        select(attached.c.job_id).where(attached.c.sitting_id.in_(later)),
        select(attached.c.job_id).where(attached.c.number > since[1]),
        select(power.c.job_id).where(power.c.number > since[2]),
    )
    with reading(store) as connection:
        found = {job for query in queries for job in connection.execute(query).scalars()}
    return frozenset(job for job in found if job is not None)


def _current(everything: list[Reading]) -> tuple[Reading, ...]:
    """Put each correction in the place of what it corrects."""
    newer = {fact.supersedes: fact for fact in everything if fact.supersedes is not None}
    return tuple(_newest(fact, newer) for fact in everything if fact.supersedes is None)


def find_sitting(connection: Connection, sitting_id: str) -> Sitting:
    """Return one sitting over an open connection; refuse an unknown id."""
    query = _sittings().where(schema.sittings.c.id == sitting_id)
    row = connection.execute(query).mappings().first()
    if row is None:
        raise unknown("sitting", sitting_id)
    return _record(Sitting, row)


def power_steps(store: Store, job_id: str) -> tuple[PowerStep, ...]:
    """Return the power states of a job, oldest first."""
    table = schema.power_steps
    query = select(table).where(table.c.job_id == job_id).order_by(table.c.number)
    return _all(store, PowerStep, query)


def order_lines(store: Store, job_id: str) -> tuple[OrderLine, ...]:
    """Return the order list of a job as it stands, in the order the lines were first stated."""
    table = schema.order_lines
    query = select(table).where(table.c.job_id == job_id).order_by(table.c.number)
    standing: dict[str, OrderLine] = {}
    for line in _all(store, OrderLine, query):
        standing[line.designator] = line
    return tuple(standing.values())


def instruments(store: Store) -> tuple[Instrument, ...]:
    """Return every instrument of the bench as stated last, by kind and name."""
    table = schema.instruments
    standing: dict[tuple[str, str], Instrument] = {}
    with reading(store) as connection:
        for row in connection.execute(select(table).order_by(table.c.number)).mappings():
            stated = Instrument(
                row["kind"], row["name"], json.loads(row["content"]), row["stated_at"]
            )
            standing[stated.kind, stated.name] = stated
    return tuple(standing[place] for place in sorted(standing))


def history(store: Store, reading_id: str) -> tuple[Reading, ...]:
    """Return every version of a reading, oldest first, whichever version is named."""
    with reading(store) as connection:
        fact = find_reading(connection, reading_id)
    everything = readings(store, fact.sitting_id, current=False)
    by_id = {version.id: version for version in everything}
    newer = {version.supersedes: version for version in everything}
    while fact.supersedes is not None:
        fact = by_id[fact.supersedes]
    chain = [fact]
    while chain[-1].id in newer:
        chain.append(newer[chain[-1].id])
    return tuple(chain)


def find_reading(connection: Connection, reading_id: str) -> Reading:
    """Return one reading over an open connection; refuse an unknown id."""
    table = schema.readings
    row = connection.execute(select(table).where(table.c.id == reading_id)).mappings().first()
    if row is None:
        raise unknown("reading", reading_id)
    return _reading(row)


def one_reading(store: Store, reading_id: str) -> Reading:
    """Return one reading, superseded or not; refuse an unknown id."""
    with reading(store) as connection:
        return find_reading(connection, reading_id)


def meters(store: Store) -> tuple[Meter, ...]:
    """Return every meter that is remembered, by name."""
    return _all(store, Meter, select(schema.meters).order_by(schema.meters.c.name))


def replacements(store: Store, job_id: str) -> tuple[Replacement, ...]:
    """Return the parts replaced in a job."""
    table = schema.replacements
    query = select(table).where(table.c.job_id == job_id).order_by(table.c.number)
    return _all(store, Replacement, query)


def reports(store: Store, job_id: str) -> tuple[StoredReport, ...]:
    """Return the reports handed over in a job."""
    table = schema.reports
    query = select(table).where(table.c.job_id == job_id).order_by(table.c.number)
    return _all(store, StoredReport, query)


def get_derived(
    store: Store,
    sha256: str,
    channel: str,
    method: str,
    version: str,
    parameters: Mapping[str, Any],
) -> Any:
    """Return what was computed before in exactly this way, or ``None``."""
    key = derived_key(sha256, channel, method, version, parameters)
    table = schema.derived
    query = select(table.c.content).where(*(table.c[name] == key[name] for name in key))
    with reading(store) as connection:
        content = connection.execute(query).scalar_one_or_none()
    return None if content is None else json.loads(content)


def derived_key(
    sha256: str, channel: str, method: str, version: str, parameters: Mapping[str, Any]
) -> dict[str, str]:
    """Lay out what names a derived result, the parameters in one settled order."""
    return {
        "sha256": sha256,
        "channel": channel,
        "method": method,
        "version": version,
        "parameters": json.dumps(parameters, sort_keys=True, ensure_ascii=False),
    }


def unknown(noun: str, id_: str) -> BenchError:
    """Say that nothing is kept under an id."""
    return BenchError(
        f"There is no {noun} '{id_}' in this store.",
        noun,
        "Give an id that is listed there, or name the right data folder.",
    )


def _amplifiers() -> Select[Any]:
    shelf, sheets = schema.amplifiers, schema.spec_sheets
    all_ = sheets.alias()
    newest = select(func.max(all_.c.number)).where(all_.c.amplifier_id == shelf.c.id)
    return (
        select(shelf, sheets.c.spec_text)
        .join_from(shelf, sheets, sheets.c.number == newest.scalar_subquery())
        .order_by(shelf.c.number)
    )


def _sittings() -> Select[Any]:
    """Select sittings with the job and visit that the newest attachment gives them."""
    taken, attached = schema.sittings, schema.attachments
    all_ = attached.alias()
    newest = select(func.max(all_.c.number)).where(all_.c.sitting_id == taken.c.id)
    return select(
        taken.c.id,
        func.coalesce(attached.c.job_id, taken.c.job_id).label("job_id"),
        taken.c.check_id,
        func.coalesce(attached.c.visit, taken.c.visit, type_=taken.c.visit.type).label("visit"),
        taken.c.power_state,
        taken.c.taken_at,
        taken.c.note,
        taken.c.taken_by,
    ).outerjoin_from(taken, attached, attached.c.number == newest.scalar_subquery())


def _all(store: Store, kind: type[Record], query: Select[Any]) -> tuple[Record, ...]:
    with reading(store) as connection:
        return tuple(_record(kind, row) for row in connection.execute(query).mappings())


def _one(
    store: Store, kind: type[Record], query: Select[Any], column: Column[Any], id_: str
) -> Record:
    with reading(store) as connection:
        row = connection.execute(query.where(column == id_)).mappings().first()
    if row is None:
        raise unknown(kind.__name__.lower(), id_)
    return _record(kind, row)


def _record(kind: type[Record], row: RowMapping) -> Record:
    """Make a record of the columns that bear its field names."""
    return kind(**{field.name: row[field.name] for field in fields(kind)})  # type: ignore[arg-type]


def _reading(row: RowMapping) -> Reading:
    values = {field.name: row[field.name] for field in fields(Reading) if field.name != "meter"}
    name = row["meter_name"]
    meter = None if name is None else Meter(name, row["meter_percent"], row["meter_counts"])
    return Reading(**values, meter=meter)


def _newest(fact: Reading, newer: Mapping[str, Reading]) -> Reading:
    """Follow corrections from a reading to the one that holds."""
    while fact.id in newer:
        fact = newer[fact.id]
    return fact
