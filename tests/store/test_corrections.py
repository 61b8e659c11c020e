"""Raw readings are only ever added to; a correction supersedes and never overwrites."""

from __future__ import annotations

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from backtospec.records import Channel, InstrumentKind, Meter, OrderState, PowerState, Visit
from backtospec.store import files, read, write
from backtospec.store.connection import Store, writing
from backtospec.store.schema import APPEND_ONLY, metadata
from backtospec.store.write import Entry


def test_a_correction_stands_in_the_place_of_what_it_corrects(store: Store) -> None:
    sitting, (left, right) = write.add_sitting_with_readings(
        store,
        [
            Entry("idle", "98 mV", 0.098, "V", Channel.LEFT, meter=Meter("bench 1", 0.5, 3)),
            Entry("idle", "10.4 mV", 0.0104, "V", Channel.RIGHT),
        ],
        job_id=None,
        check_id="idle-current",
        visit=Visit.BEFORE,
        power_state=None,
    )
    second = write.correct_reading(store, left.id, Entry("idle", "9.8 mV", 0.0098, "V"))
    third = write.correct_reading(
        store, second.id, Entry("idle", "9.8 mV", 0.0098, "V", Channel.LEFT)
    )

    assert read.readings(store, sitting.id) == (third, right)
    assert read.readings(store, sitting.id, current=False) == (left, right, second, third)
    for version in (left, second, third):
        assert read.history(store, version.id) == (left, second, third)
    assert read.history(store, right.id) == (right,)
    assert third.taken_at == left.taken_at
    assert read.one_reading(store, left.id) == left


def _fill_every_guarded_table(store: Store) -> None:
    amplifier = write.add_amplifier(store, "Halden", "62", spec_text="x")
    job = write.add_job(store, amplifier.id, "Restoration")
    reading = write.add_reading(store, Entry("x", "1"))
    write.attach_sitting(store, reading.sitting_id, job.id, Visit.AFTER)
    write.add_report(store, job.id, "{}", "ab" * 32)
    files.keep_file(store, b"x", "x.csv")
    write.add_power_step(store, job.id, PowerState.SAFE)
    write.add_order_line(store, job.id, "C1", old="1", new="2", state=OrderState.PLANNED)
    write.state_instrument(store, InstrumentKind.LOAD, "left", {"ohm": 7.96})
    write.add_sitting_with_readings(
        store, [], job_id=None, check_id=None, visit=Visit.AFTER, power_state=None, token="t"
    )


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_the_database_itself_refuses_to_change_or_delete(store: Store, table: str) -> None:
    _fill_every_guarded_table(store)
    kept = _rows(store, table)
    assert kept
    column = next(iter(metadata.tables[table].columns)).name
    for statement in (
        f"UPDATE {table} SET {column} = {column}",
        f"DELETE FROM {table}",
        f"REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with (
            pytest.raises(IntegrityError, match=f"{table}: rows are only ever added"),
            writing(store) as connection,
        ):
            connection.execute(text(statement))
    assert _rows(store, table) == kept


def _rows(store: Store, table: str) -> int:
    with writing(store) as connection:
        return int(connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one())


def test_what_must_be_raw_is_guarded() -> None:
    assert {"readings", "sittings", "files", "reports"} <= set(APPEND_ONLY)
