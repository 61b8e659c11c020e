"""Adding facts: each function keeps all of what it was given, or refuses and keeps nothing."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select

from backtospec.errors import BenchError
from backtospec.records import (
    Amplifier,
    Channel,
    Instrument,
    InstrumentKind,
    Job,
    Meter,
    OrderLine,
    OrderState,
    PowerState,
    PowerStep,
    Reading,
    Replacement,
    Sitting,
    StoredReport,
    Visit,
)
from backtospec.store import schema
from backtospec.store.connection import Store, writing
from backtospec.store.read import (
    derived_key,
    find_reading,
    find_sitting,
    readings_of,
    unknown,
)
from backtospec.store.storable import refuse_unstorable

_DRAWS = 1000


@dataclass(frozen=True, slots=True)
class Entry:
    """One answer as it arrives, before the store has given it an id.

    The fields are those of :class:`backtospec.records.Reading`; without ``taken_at`` it was taken
    now, or for a correction when the corrected reading was.
    """

    key: str
    text: str
    value: float | None = None
    unit: str = ""
    channel: Channel | None = None
    probed_at: str = ""
    meter: Meter | None = None
    minutes_since_on: float | None = None
    file_sha256: str | None = None
    taken_at: datetime | None = None


def add_amplifier(
    store: Store, maker: str, model: str, serial: str = "", spec_text: str = ""
) -> Amplifier:
    """Put an amplifier on the shelf, with the text of its spec sheet, and return it."""
    with writing(store) as connection:
        id_ = _new_id(store, connection, schema.amplifiers, "a")
        amplifier = Amplifier(id_, maker, model, serial, spec_text, store.now())
        refuse_unstorable(amplifier, "amplifier")
        row = _row(amplifier)
        del row["spec_text"]
        connection.execute(insert(schema.amplifiers), row)
        _state_spec(connection, amplifier.id, spec_text, amplifier.added_at)
    return amplifier


def restate_spec(store: Store, amplifier_id: str, spec_text: str) -> None:
    """State the spec sheet of an amplifier anew; what was stated before stays on record."""
    refuse_unstorable(spec_text, "spec sheet")
    with writing(store) as connection:
        _require(connection, schema.amplifiers, amplifier_id, "amplifier")
        _state_spec(connection, amplifier_id, spec_text, store.now())


def add_job(store: Store, amplifier_id: str, title: str) -> Job:
    """Open a job on an amplifier and return it."""
    with writing(store) as connection:
        _require(connection, schema.amplifiers, amplifier_id, "amplifier")
        id_ = _new_id(store, connection, schema.jobs, "j")
        job = Job(id_, amplifier_id, title, store.now())
        refuse_unstorable(job, "job")
        connection.execute(insert(schema.jobs), _row(job))
    return job


def add_sitting_with_readings(
    store: Store,
    entries: Iterable[Entry],
    *,
    job_id: str | None,
    check_id: str | None,
    visit: Visit,
    power_state: PowerState | None,
    taken_at: datetime | None = None,
    note: str = "",
    taken_by: str = "",
    token: str = "",
) -> tuple[Sitting, tuple[Reading, ...]]:
    """Keep one run of a check with all its answers, in one transaction.

    Parameters
    ----------
    store
        The open store.
    entries
        The answers, in the order they were given.
    job_id, check_id, visit, power_state, note, taken_by
        See :class:`backtospec.records.Sitting`.
    token
        Names one sending of one form: sent again, it gives back what was kept the first time.
    taken_at
        When it was taken, with a time zone; by default now.

    Returns
    -------
    tuple
        The sitting, and its readings in the order given.

    Raises
    ------
    BenchError
        For an unknown job or file, or anything a database cannot keep exactly. Nothing of the
        sitting is kept then.
    """
    with writing(store) as connection:
        if token and (kept := _kept_before(connection, token)):
            return find_sitting(connection, kept), readings_of(connection, kept)
        if job_id is not None:
            _require(connection, schema.jobs, job_id, "job")
        id_ = _new_id(store, connection, schema.sittings, "s")
        moment = taken_at or store.now()
        sitting = Sitting(id_, job_id, check_id, visit, power_state, moment, note, taken_by)
        refuse_unstorable(sitting, "sitting")
        connection.execute(insert(schema.sittings), _row(sitting))
        readings = tuple(
            _add_entry(store, connection, sitting.id, entry, sitting.taken_at) for entry in entries
        )
        if token:
            _remember(connection, token, sitting.id)
    return sitting, readings


def extend_sitting(store: Store, sitting_id: str, entry: Entry, token: str = "") -> Reading:
    """Add one more reading to a sitting, for a series that is read as it happens; return it."""
    with writing(store) as connection:
        _require(connection, schema.sittings, sitting_id, "sitting")
        if token and (kept := _kept_before(connection, token)):
            return find_reading(connection, kept)
        fact = _add_entry(store, connection, sitting_id, entry, store.now())
        if token:
            _remember(connection, token, fact.id)
    return fact


def add_reading(
    store: Store,
    entry: Entry,
    *,
    visit: Visit = Visit.BEFORE,
    power_state: PowerState | None = None,
    note: str = "",
    taken_by: str = "",
    token: str = "",
) -> Reading:
    """Keep a quick reading, without job or check, in a sitting of its own; return the reading."""
    _, readings = add_sitting_with_readings(
        store,
        [entry],
        job_id=None,
        check_id=None,
        visit=visit,
        power_state=power_state,
        taken_at=entry.taken_at,
        note=note,
        taken_by=taken_by,
        token=token,
    )
    return readings[0]


def attach_sitting(store: Store, sitting_id: str, job_id: str, visit: Visit) -> None:
    """Say which job and visit a sitting belongs to; the newest word holds, the older ones stay."""
    with writing(store) as connection:
        _require(connection, schema.sittings, sitting_id, "sitting")
        _require(connection, schema.jobs, job_id, "job")
        row = {
            "sitting_id": sitting_id,
            "job_id": job_id,
            "visit": visit,
            "attached_at": store.now(),
        }
        connection.execute(insert(schema.attachments), row)


def correct_reading(store: Store, reading_id: str, entry: Entry) -> Reading:
    """Add a reading that supersedes another one, and return it.

    Parameters
    ----------
    store
        The open store.
    reading_id
        The reading to correct, the newest of its chain.
    entry
        The answer as it should have been, whole.

    Raises
    ------
    BenchError
        Where there is no such reading, or it has been corrected already.
    """
    with writing(store) as connection:
        old = find_reading(connection, reading_id)
        newer = connection.execute(
            select(schema.readings.c.id).where(schema.readings.c.supersedes == reading_id)
        ).scalar_one_or_none()
        if newer is not None:
            raise BenchError(
                f"It has already been corrected by {newer}.",
                f"reading {reading_id}",
                f"Correct {newer} instead.",
            )
        return _add_entry(store, connection, old.sitting_id, entry, old.taken_at, old.id)


def add_replacement(
    store: Store, job_id: str, designator: str, old: str, new: str, reason: str
) -> Replacement:
    """Keep that a part was replaced, and return the fact."""
    with writing(store) as connection:
        _require(connection, schema.jobs, job_id, "job")
        id_ = _new_id(store, connection, schema.replacements, "p")
        fact = Replacement(id_, job_id, designator, old, new, reason, store.now())
        refuse_unstorable(fact, "replaced part")
        connection.execute(insert(schema.replacements), _row(fact))
    return fact


def add_power_step(store: Store, job_id: str, state: PowerState, skipped: str = "") -> PowerStep:
    """Keep that the amplifier was brought into a power state now, and return the fact."""
    with writing(store) as connection:
        _require(connection, schema.jobs, job_id, "job")
        step = PowerStep(job_id, state, store.now(), skipped)
        refuse_unstorable(step, "power state")
        connection.execute(insert(schema.power_steps), _row(step))
    return step


def add_order_line(
    store: Store,
    job_id: str,
    designator: str,
    *,
    old: str,
    new: str,
    state: OrderState,
    reason: str = "",
    supplier_line: str = "",
) -> OrderLine:
    """State a line of the order list, anew where the designator has one, and return it."""
    with writing(store) as connection:
        _require(connection, schema.jobs, job_id, "job")
        line = OrderLine(job_id, designator, old, new, state, store.now(), reason, supplier_line)
        refuse_unstorable(line, "order line")
        connection.execute(insert(schema.order_lines), _row(line))
    return line


def state_instrument(
    store: Store,
    kind: InstrumentKind,
    name: str,
    content: Mapping[str, float | str | None],
) -> Instrument:
    """State an instrument of the bench, anew where the name is known, and return it."""
    instrument = Instrument(kind, name, dict(content), store.now())
    refuse_unstorable(instrument, f"{kind} {name}")
    row = _row(instrument) | {"content": json.dumps(instrument.content, ensure_ascii=False)}
    with writing(store) as connection:
        connection.execute(insert(schema.instruments), row)
    return instrument


def save_meter(store: Store, meter: Meter) -> None:
    """Remember a meter by its name; older readings keep the accuracy they were taken with."""
    refuse_unstorable(meter, "meter")
    with writing(store) as connection:
        connection.execute(delete(schema.meters).where(schema.meters.c.name == meter.name))
        connection.execute(insert(schema.meters), _row(meter))


def add_report(store: Store, job_id: str, document_json: str, evidence_sha256: str) -> StoredReport:
    """Keep a report as it is handed over, and return it."""
    with writing(store) as connection:
        _require(connection, schema.jobs, job_id, "job")
        id_ = _new_id(store, connection, schema.reports, "d")
        report = StoredReport(id_, job_id, store.now(), document_json, evidence_sha256)
        refuse_unstorable(report, "report")
        connection.execute(insert(schema.reports), _row(report))
    return report


def put_derived(
    store: Store,
    sha256: str,
    channel: str,
    method: str,
    version: str,
    parameters: Mapping[str, Any],
    content: Any,
) -> None:
    """Keep what was costly to compute; losing it loses nothing but time.

    Parameters
    ----------
    store
        The open store.
    sha256, channel, method, version, parameters
        What it was computed from and how; ``parameters`` in any order.
    content
        Anything JSON can hold, finite numbers only.
    """
    refuse_unstorable({"parameters": parameters, "content": content}, f"{method} of a recording")
    key = derived_key(sha256, channel, method, version, parameters)
    with writing(store) as connection:
        connection.execute(
            delete(schema.derived).where(*(schema.derived.c[name] == key[name] for name in key))
        )
        row = key | {"content": json.dumps(content, ensure_ascii=False)}
        connection.execute(insert(schema.derived), row)


def _add_entry(
    store: Store,
    connection: Connection,
    sitting_id: str,
    entry: Entry,
    taken_at: datetime,
    supersedes: str | None = None,
) -> Reading:
    """Add one reading to a sitting."""
    refuse_unstorable(replace(entry, meter=None), f"reading '{entry.key}'")
    refuse_unstorable(entry.meter, f"meter of the reading '{entry.key}'")
    if entry.file_sha256 is not None:
        _require(connection, schema.files, entry.file_sha256, "kept file")
    given = {field.name: getattr(entry, field.name) for field in fields(entry)}
    fact = Reading(
        **given | {"taken_at": entry.taken_at or taken_at},
        id=_new_id(store, connection, schema.readings, "r"),
        sitting_id=sitting_id,
        supersedes=supersedes,
    )
    row = _row(fact) | {"kept_at": store.now()}
    meter = row.pop("meter")
    if meter is not None:
        row |= {f"meter_{name}": value for name, value in _row(meter).items()}
    connection.execute(insert(schema.readings), row)
    return fact


def _kept_before(connection: Connection, token: str) -> str | None:
    """Return the id that was kept for a token, where it was sent before."""
    table = schema.submissions
    query = select(table.c.kept_as).where(table.c.token == token)
    return connection.execute(query).scalar_one_or_none()


def _remember(connection: Connection, token: str, kept_as: str) -> None:
    refuse_unstorable(token, "form token")
    connection.execute(insert(schema.submissions), {"token": token, "kept_as": kept_as})


def _state_spec(connection: Connection, amplifier_id: str, text: str, moment: datetime) -> None:
    row = {"amplifier_id": amplifier_id, "spec_text": text, "stated_at": moment}
    connection.execute(insert(schema.spec_sheets), row)


def _row(record: Any) -> dict[str, Any]:
    """Lay a record out by column."""
    return {field.name: getattr(record, field.name) for field in fields(record)}


def _new_id(store: Store, connection: Connection, table: Table, prefix: str) -> str:
    """Draw an id until it is one that the table does not hold yet."""
    for _ in range(_DRAWS):
        id_ = store.identify(prefix)
        if connection.execute(select(table.c.id).where(table.c.id == id_)).first() is None:
            return id_
    raise RuntimeError(f"no free id for {table.name} in {_DRAWS} draws")


def _require(connection: Connection, table: Table, id_: str, noun: str) -> None:
    """Refuse the id of something that is not kept."""
    column = table.c.sha256 if table is schema.files else table.c.id
    if connection.execute(select(column).where(column == id_)).first() is None:
        raise unknown(noun, id_)
