"""The straight path for one job: answers are stored raw, then read back and judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import assert_never

from backtospec import catalogue
from backtospec.bench.runs import Given, read_given, run
from backtospec.check import (
    Answers,
    CaptureInput,
    Check,
    ChoiceInput,
    Conclusion,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
    conclude,
)
from backtospec.errors import BenchError
from backtospec.quantity import read as read_quantity
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
    SpecSheet,
    StoredReport,
    Visit,
)
from backtospec.sources.spec_sheets import read_spec
from backtospec.store import files, opening, read, write
from backtospec.store.connection import Store, random_id, utc_now
from backtospec.store.write import Entry


@dataclass(frozen=True, slots=True)
class JudgedSitting:
    """One sitting with its current readings and what follows from them.

    ``conclusion`` is ``None`` for quick readings, which belong to no check.
    """

    sitting: Sitting
    readings: tuple[Reading, ...]
    conclusion: Conclusion | None

    def reading_ids(self, keys: tuple[str, ...]) -> tuple[str, ...]:
        """Return the ids of the readings that the given inputs rest on, in their order."""
        by_key = {reading.key: reading.id for reading in self.readings}
        return tuple(by_key[key] for key in keys if key in by_key)


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything about one job, judged today from its raw readings."""

    job: Job
    amplifier: Amplifier
    spec: SpecSheet
    sittings: tuple[JudgedSitting, ...]
    replacements: tuple[Replacement, ...]

    def latest(self, check_id: str, visit: Visit) -> JudgedSitting | None:
        """Return the newest sitting of one check in one visit."""
        found = [
            s for s in self.sittings if s.sitting.check_id == check_id and s.sitting.visit is visit
        ]
        return found[-1] if found else None

    def next_check(self) -> Check | None:
        """Return the first check of the route that has no sitting in the newest visit."""
        visits = {s.sitting.visit for s in self.sittings}
        visit = Visit.AFTER if Visit.AFTER in visits else Visit.BEFORE
        done = {s.sitting.check_id for s in self.sittings if s.sitting.visit is visit}
        return next((c for c in catalogue.all_checks() if c.id not in done), None)


class Bench:
    """One data folder and everything that can be asked of it or added to it.

    Parameters
    ----------
    store
        An open store; see :func:`open_bench`.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def add_amplifier(self, spec_text: str, name: str, serial: str) -> Amplifier:
        """Put an amplifier on the shelf with its spec sheet, once that reads without a fault."""
        spec = read_spec(spec_text, name)
        return write.add_amplifier(self._store, spec.maker, spec.model, serial, spec_text)

    def restate_spec(self, amplifier_id: str, spec_text: str, name: str) -> None:
        """State an amplifier's spec sheet anew: its old readings are judged by it from now on."""
        read_spec(spec_text, name)
        write.restate_spec(self._store, amplifier_id, spec_text)

    def amplifiers(self) -> tuple[Amplifier, ...]:
        """Return every amplifier on the shelf."""
        return read.amplifiers(self._store)

    def open_job(self, amplifier_id: str, title: str) -> Job:
        """Open a job on an amplifier."""
        return write.add_job(self._store, amplifier_id, title)

    def jobs(self) -> tuple[Job, ...]:
        """Return every job."""
        return read.jobs(self._store)

    def spec_of_job(self, job_id: str) -> SpecSheet:
        """Return the spec sheet that holds today for a job's amplifier."""
        amplifier = read.amplifier(self._store, read.job(self._store, job_id).amplifier_id)
        return _spec(amplifier)

    def record(
        self,
        job_id: str,
        check: Check,
        given: Given,
        visit: Visit,
        note: str = "",
        taken_by: str = "",
        token: str = "",
    ) -> JudgedSitting:
        """Keep one run of a check and return what follows from what was kept.

        A form that is sent again carries the same ``token`` and is kept once.

        Everything is tried first, so that input which cannot be used leaves the store as it was.
        What is returned is judged from the readings as they stand in the store.

        Raises
        ------
        BenchError
            For anything unusable; nothing was stored then.
        """
        answers = read_given(check, given)
        conclude(check, answers)
        kept = {
            key: files.keep_file(self._store, path, given.name_of(key))
            for key, path in given.files.items()
        }
        entries = [
            _entry(item, answers, given.meter, kept.get(item.key))
            for item in check.inputs
            if item.key in answers.texts
        ]
        sitting, _ = write.add_sitting_with_readings(
            self._store,
            entries,
            job_id=job_id,
            check_id=check.id,
            visit=visit,
            power_state=given.power_state,
            note=note,
            taken_by=taken_by,
            token=token,
        )
        return self._judged(sitting, self.spec_of_job(job_id))

    def quick_reading(
        self,
        text: str,
        unit: str,
        channel: Channel | None,
        meter: Meter | None,
        note: str,
        token: str = "",
    ) -> Reading:
        """Keep one number in ten seconds, without a job or a form."""
        value = read_quantity(text, unit, "reading", -1e9, 1e9)
        entry = Entry("reading", text, value, unit, channel, note, meter)
        return write.add_reading(self._store, entry, note=note, token=token)

    def attach(self, reading_id: str, job_id: str, visit: Visit) -> None:
        """Say which job a quick reading belongs to."""
        fact = read.one_reading(self._store, reading_id)
        write.attach_sitting(self._store, fact.sitting_id, job_id, visit)

    def correct(self, reading_id: str, text: str) -> Reading:
        """Correct a reading: the new one supersedes it, the old one stays on record."""
        old = read.one_reading(self._store, reading_id)
        value = old.value
        if value is not None:
            value = read_quantity(text, old.unit, old.key, -1e9, 1e9)
        sitting = read.sitting(self._store, old.sitting_id)
        if sitting.check_id is not None and sitting.job_id is not None:
            readings = read.readings(self._store, sitting.id)
            given = self._given(readings, sitting, self.spec_of_job(sitting.job_id))
            texts = {**given.texts, old.key: text}
            corrected = Given(
                texts, given.files, given.file_names, given.spec, given.meter, given.power_state
            )
            run(catalogue.check_of(sitting.check_id), corrected)
        entry = Entry(
            old.key,
            text,
            value,
            old.unit,
            old.channel,
            old.probed_at,
            old.meter,
            old.minutes_since_on,
            old.file_sha256,
        )
        return write.correct_reading(self._store, reading_id, entry)

    def replace_part(
        self, job_id: str, designator: str, old: str, new: str, reason: str
    ) -> Replacement:
        """Keep that a part was replaced."""
        return write.add_replacement(self._store, job_id, designator, old, new, reason)

    def power_steps(self, job_id: str) -> tuple[PowerStep, ...]:
        """Return the power states the amplifier went through in a job, oldest first."""
        return read.power_steps(self._store, job_id)

    def set_power(self, job_id: str, state: PowerState, skipped: str = "") -> PowerStep:
        """Keep that the amplifier is now in a power state, with the reason for a skipped step."""
        return write.add_power_step(self._store, job_id, state, skipped)

    def order_lines(self, job_id: str) -> tuple[OrderLine, ...]:
        """Return the order list of a job as it stands."""
        return read.order_lines(self._store, job_id)

    def state_order_line(
        self,
        job_id: str,
        designator: str,
        *,
        old: str,
        new: str,
        state: OrderState,
        reason: str = "",
        supplier_line: str = "",
    ) -> OrderLine:
        """State one line of the order list, anew where the designator has one."""
        return write.add_order_line(
            self._store,
            job_id,
            designator,
            old=old,
            new=new,
            state=state,
            reason=reason,
            supplier_line=supplier_line,
        )

    def instruments(self) -> tuple[Instrument, ...]:
        """Return every instrument of the bench as stated last."""
        return read.instruments(self._store)

    def state_instrument(
        self, kind: InstrumentKind, name: str, content: Mapping[str, float | str | None]
    ) -> Instrument:
        """State an instrument of the bench, anew where the name is known."""
        return write.state_instrument(self._store, kind, name, content)

    def save_meter(self, meter: Meter) -> None:
        """Remember a meter by its name."""
        write.save_meter(self._store, meter)

    def meters(self) -> tuple[Meter, ...]:
        """Return the meters that are known by name."""
        return read.meters(self._store)

    def view(self, job_id: str) -> JobView:
        """Return a whole job, judged today from its raw readings."""
        job = read.job(self._store, job_id)
        amplifier = read.amplifier(self._store, job.amplifier_id)
        spec = _spec(amplifier)
        readings = read.readings_of_job(self._store, job_id)
        sittings = tuple(
            self._judged(s, spec, readings.get(s.id, ()))
            for s in read.sittings(self._store, job_id)
        )
        return JobView(job, amplifier, spec, sittings, read.replacements(self._store, job_id))

    def loose_readings(self) -> tuple[Reading, ...]:
        """Return the quick readings that belong to no job yet."""
        return tuple(
            reading
            for sitting in read.sittings(self._store, None)
            for reading in read.readings(self._store, sitting.id)
        )

    def keep_report(self, job_id: str, document_json: str, evidence_sha256: str) -> StoredReport:
        """Keep a report as it is handed over."""
        return write.add_report(self._store, job_id, document_json, evidence_sha256)

    def _judged(
        self, sitting: Sitting, spec: SpecSheet, readings: tuple[Reading, ...] | None = None
    ) -> JudgedSitting:
        if readings is None:
            readings = read.readings(self._store, sitting.id)
        if sitting.check_id is None:
            return JudgedSitting(sitting, readings, None)
        check = catalogue.check_of(sitting.check_id)
        given = self._given(readings, sitting, spec)
        return JudgedSitting(sitting, readings, run(check, given))

    def _given(self, readings: tuple[Reading, ...], sitting: Sitting, spec: SpecSheet) -> Given:
        kept = {r.key: r for r in readings if r.file_sha256 is not None}
        for fact in kept.values():
            files.verify_file(self._store, fact.file_sha256 or "")
        return Given(
            {r.key: r.text for r in readings if r.file_sha256 is None},
            {k: files.file_path(self._store, r.file_sha256 or "") for k, r in kept.items()},
            {key: r.text for key, r in kept.items()},
            spec,
            next((r.meter for r in readings if r.meter is not None), None),
            sitting.power_state,
        )


def _entry(item: Input, answers: Answers, meter: Meter | None, sha256: str | None) -> Entry:
    """Return one answer as the store keeps it: the text as typed, and how it was understood."""
    entry = Entry(item.key, answers.texts[item.key], file_sha256=sha256)
    number, minutes = answers.number(item.key), answers.number("minutes_since_on")
    match item:
        case NumberInput():
            return replace(
                entry,
                value=None if number is None else number.value,
                unit=item.unit,
                channel=item.channel,
                probed_at=item.probed_at,
                meter=meter if item.by_meter else None,
                minutes_since_on=minutes.value / 60 if minutes and item.by_meter else None,
            )
        case SeriesInput():
            return replace(
                entry,
                unit=item.unit,
                channel=item.channel,
                probed_at=item.probed_at,
                meter=meter,
            )
        case ChoiceInput() | TextInput() | TableInput() | CaptureInput() | PhotoInput():
            return entry
        case _:
            assert_never(item)


@contextmanager
def open_bench(
    data_dir: Path | None = None,
    *,
    identify: Callable[[str], str] = random_id,
    now: Callable[[], datetime] = utc_now,
) -> Iterator[Bench]:
    """Open the data folder, by default the user's own, and close it again.

    Raises
    ------
    BenchError
        Where the store cannot be opened; it says why and what to do.
    """
    with opening.open_store(data_dir, identify=identify, now=now) as store:
        yield Bench(store)


def _spec(amplifier: Amplifier) -> SpecSheet:
    if not amplifier.spec_text.strip():
        return SpecSheet(amplifier.maker, amplifier.model)
    name = f"spec sheet of {amplifier.maker} {amplifier.model}"
    try:
        return read_spec(amplifier.spec_text, name)
    except BenchError as error:
        error.add_note("The readings are kept; state the spec sheet anew to judge them.")
        raise
