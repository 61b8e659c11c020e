"""Every fact comes back as it was given, also from a store opened anew."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backtospec.records import (
    Channel,
    InstrumentKind,
    Job,
    Meter,
    OrderState,
    PowerState,
    Visit,
)
from backtospec.store import files, read, write
from backtospec.store.connection import Store
from backtospec.store.opening import open_store
from backtospec.store.write import Entry

EVENING = datetime(2025, 3, 7, 21, 14, 5, 123456, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture
def job(store: Store) -> Job:
    amplifier = write.add_amplifier(store, "Halden", "62", "40217", 'maker = "Halden"\n')
    return write.add_job(store, amplifier.id, "Restoration")


def full_entry(store: Store) -> Entry:
    return Entry(
        "idle",
        "9,8 mV",
        0.0098,
        "V",
        Channel.LEFT,
        "outer ends of the pair",
        Meter("bench 1", 0.5, 3),
        34.5,
        files.keep_file(store, b"log", "idle.csv"),
        EVENING,
    )


def test_everything_survives_closing(store: Store, job: Job, tmp_path: Path) -> None:
    sitting, readings = write.add_sitting_with_readings(
        store,
        [full_entry(store), Entry("look", "brown glue at C601, ½ cm² – »Elko«")],
        job_id=job.id,
        check_id="idle-current",
        visit=Visit.AFTER,
        power_state=PowerState.MAINS,
        taken_at=EVENING,
        note="lid off",
    )
    part = write.add_replacement(store, job.id, "C601", "10 mF 50 V", "10 mF 63 V", "leaks")
    report = write.add_report(store, job.id, '{"a": 1}', "ab" * 32)
    write.save_meter(store, Meter("bench 1", 0.5, 3))
    shelf = read.amplifiers(store)
    store.close()

    with open_store(tmp_path) as again:
        assert read.amplifiers(again) == shelf
        assert read.amplifier(again, job.amplifier_id) == shelf[0]
        assert read.jobs(again) == (job,)
        assert read.job(again, job.id) == job
        assert read.sittings(again, job.id) == (sitting,)
        assert read.sitting(again, sitting.id) == sitting
        assert read.readings(again, sitting.id) == readings
        assert read.one_reading(again, readings[0].id) == readings[0]
        assert read.replacements(again, job.id) == (part,)
        assert read.reports(again, job.id) == (report,)
        assert read.meters(again) == (Meter("bench 1", 0.5, 3),)


def test_fields_are_kept_as_given(store: Store, job: Job) -> None:
    entry = full_entry(store)
    _, (reading,) = write.add_sitting_with_readings(
        store, [entry], job_id=job.id, check_id=None, visit=Visit.BEFORE, power_state=None
    )
    kept = read.one_reading(store, reading.id)
    for name in Entry.__dataclass_fields__:
        assert getattr(kept, name) == getattr(entry, name), name
    assert isinstance(kept.channel, Channel)


def test_times_are_kept_in_utc(store: Store) -> None:
    reading = write.add_reading(store, Entry("idle", "9.8", taken_at=EVENING))
    kept = read.one_reading(store, reading.id).taken_at
    assert kept == EVENING
    assert kept.tzinfo is UTC


@given(st.floats(allow_nan=False, allow_infinity=False), st.text(st.characters(codec="utf-8")))
@settings(max_examples=60, deadline=None)
def test_numbers_and_texts_are_exact(
    tmp_path_factory: pytest.TempPathFactory, value: float, text: str
) -> None:
    text = text.replace("\0", "")
    with open_store(tmp_path_factory.getbasetemp() / "exact") as store:
        reading = write.add_reading(store, Entry("idle", text, value, "V"))
        kept = read.one_reading(store, reading.id)
    assert (kept.text, kept.value) == (text, value)


def test_readings_come_in_the_order_given(store: Store) -> None:
    entries = [Entry("x", f"{number}") for number in (3, 1, 2)]
    sitting, _ = write.add_sitting_with_readings(
        store, entries, job_id=None, check_id=None, visit=Visit.BEFORE, power_state=None
    )
    assert [r.text for r in read.readings(store, sitting.id)] == ["3", "1", "2"]


def test_a_quick_reading_waits_until_it_is_attached(store: Store, job: Job) -> None:
    reading = write.add_reading(store, Entry("volt", "1.2 V", 1.2, "V"), note="TP3")
    (waiting,) = read.sittings(store, None)
    assert (waiting.id, waiting.note, waiting.job_id) == (reading.sitting_id, "TP3", None)

    write.attach_sitting(store, waiting.id, job.id, Visit.AFTER)
    assert read.sittings(store, None) == ()
    (attached,) = read.sittings(store, job.id)
    assert (attached.id, attached.visit) == (waiting.id, Visit.AFTER)

    other = write.add_job(store, job.amplifier_id, "Another")
    write.attach_sitting(store, waiting.id, other.id, Visit.BEFORE)
    assert read.sittings(store, job.id) == ()
    assert [s.visit for s in read.sittings(store, other.id)] == [Visit.BEFORE]


def test_the_newest_spec_sheet_holds_and_the_old_ones_stay(store: Store, job: Job) -> None:
    write.restate_spec(store, job.amplifier_id, "second")
    assert read.amplifier(store, job.amplifier_id).spec_text == "second"
    assert read.spec_history(store, job.amplifier_id) == ('maker = "Halden"\n', "second")


def test_a_meter_saved_again_takes_the_place_of_the_old_one(store: Store) -> None:
    old = Meter("bench 1", 0.5, 3)
    reading = write.add_reading(store, Entry("volt", "1", 1.0, "V", meter=old))
    write.save_meter(store, old)
    write.save_meter(store, Meter("bench 1", 0.8, 5))
    assert read.meters(store) == (Meter("bench 1", 0.8, 5),)
    assert read.one_reading(store, reading.id).meter == old


def test_derived_results_are_found_by_all_that_made_them(store: Store) -> None:
    key = ("ab" * 32, "L", "distortion", "1")
    write.put_derived(store, *key, {"rate_hz": 48000, "kind": "tone"}, {"thd_percent": 0.03})
    assert read.get_derived(store, *key, {"kind": "tone", "rate_hz": 48000}) == {
        "thd_percent": 0.03
    }
    assert read.get_derived(store, *key, {"kind": "ramp", "rate_hz": 48000}) is None
    assert read.get_derived(store, *key[:3], "2", {"kind": "tone", "rate_hz": 48000}) is None
    write.put_derived(store, *key, {"kind": "tone", "rate_hz": 48000}, [1.5, None])
    assert read.get_derived(store, *key, {"kind": "tone", "rate_hz": 48000}) == [1.5, None]


def test_ids_are_short_and_readable(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        ids = [write.add_reading(store, Entry("x", "1")).id for _ in range(20)]
    assert len(set(ids)) == 20
    assert all(re.fullmatch(r"r-[0-9a-hjkmnp-tv-z]{5}", id_) for id_ in ids)


def test_an_id_that_is_taken_is_drawn_again(tmp_path: Path) -> None:
    letters = iter("aabab" + "c" * 9)
    with open_store(tmp_path, identify=lambda prefix: f"{prefix}-{next(letters)}") as store:
        first = write.add_amplifier(store, "Halden", "62")
        second = write.add_amplifier(store, "Halden", "62")
        third = write.add_amplifier(store, "Halden", "62")
    assert [first.id, second.id, third.id] == ["a-a", "a-b", "a-c"]


def test_a_form_sent_twice_is_kept_once(store: Store, job: Job) -> None:
    def send(text: str, token: str) -> tuple[str, str]:
        sitting, readings = write.add_sitting_with_readings(
            store,
            [Entry("left", text)],
            job_id=job.id,
            check_id="dc-offset",
            visit=Visit.BEFORE,
            power_state=None,
            taken_by="Ada",
            token=token,
        )
        return sitting.id, readings[0].text

    first = send("5 mV", "one")
    assert send("5 mV", "one") == first
    assert send("6 mV", "two") != first
    assert [s.taken_by for s in read.sittings(store, job.id)] == ["Ada", "Ada"]
    assert {r[0].text for r in read.readings_of_job(store, job.id).values()} == {"5 mV", "6 mV"}


def test_the_path_of_power_states_is_kept(store: Store, job: Job) -> None:
    for state in (PowerState.SAFE, PowerState.LIMITED, PowerState.MAINS):
        write.add_power_step(store, job.id, state, "no lamp" if state is PowerState.MAINS else "")
    steps = read.power_steps(store, job.id)
    assert [step.state for step in steps] == ["safe", "limited", "mains"]
    assert steps[-1].skipped == "no lamp"


def test_an_order_line_stands_as_stated_last(store: Store, job: Job) -> None:
    for designator, state in (
        ("C101", OrderState.PLANNED),
        ("C102", OrderState.PLANNED),
        ("C101", OrderState.ORDERED),
    ):
        write.add_order_line(store, job.id, designator, old="10 mF", new="12 mF", state=state)
    standing = read.order_lines(store, job.id)
    assert [(line.designator, line.state) for line in standing] == [
        ("C101", "ordered"),
        ("C102", "planned"),
    ]


def test_an_instrument_stands_as_stated_last(store: Store) -> None:
    write.state_instrument(store, InstrumentKind.LOAD, "left", {"ohm": 7.9})
    write.state_instrument(store, InstrumentKind.INTERFACE, "card", {"full_scale_v": 4.0})
    write.state_instrument(store, InstrumentKind.LOAD, "left", {"ohm": 7.96, "note": "hot"})
    standing = read.instruments(store)
    assert [(i.kind, i.name) for i in standing] == [("interface", "card"), ("load", "left")]
    assert standing[1].content == {"ohm": 7.96, "note": "hot"}
