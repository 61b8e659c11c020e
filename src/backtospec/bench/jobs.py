"""The straight path for one job: answers are stored raw, then read back and judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from backtospec import catalogue
from backtospec.bench import derived
from backtospec.bench.entries import TOLD, entries_of, entry_of, told_of
from backtospec.bench.runs import Given, analyse_path, read_given, run
from backtospec.check import Analysed, CaptureInput, Check, Conclusion, SeriesInput, conclude
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
from backtospec.store.read import Marks
from backtospec.store.write import Entry

if TYPE_CHECKING:
    from backtospec.analysis.setup import CaptureSetup


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
        return tuple(r.id for key in keys for r in self.readings if r.key == key)


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


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one job stands today, judged, without its older sittings.

    Parameters
    ----------
    newest
        The newest sitting of each check and part in each visit, oldest first.
    power
        The power states it went through.
    faults
        Why something could not be judged, by sitting; under ``spec`` for the spec sheet itself.
    """

    job: Job
    amplifier: Amplifier
    spec: SpecSheet
    newest: tuple[JudgedSitting, ...]
    replacements: tuple[Replacement, ...]
    power: tuple[PowerStep, ...]
    faults: Mapping[str, BenchError]

    @property
    def view(self) -> JobView:
        """The job as far as it stands, for advice that needs no older sittings."""
        return JobView(self.job, self.amplifier, self.spec, self.newest, self.replacements)

    def latest(self, check_id: str, visit: Visit) -> JudgedSitting | None:
        """Return the newest sitting of one check in one visit."""
        for judged in reversed(self.newest):
            if judged.sitting.check_id == check_id and judged.sitting.visit is visit:
                return judged
        return None

    @property
    def visit(self) -> Visit:
        """The visit in hand: after the work as soon as anything was read after it."""
        after = any(j.sitting.visit is Visit.AFTER for j in self.newest)
        return Visit.AFTER if after else Visit.BEFORE


class Bench:
    """One data folder and everything that can be asked of it or added to it.

    Parameters
    ----------
    store
        An open store; see :func:`open_bench`.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._known: dict[tuple[str, str, tuple[str, ...]], JudgedSitting] = {}

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

    def amplifier(self, amplifier_id: str) -> Amplifier:
        """Return one amplifier."""
        return read.amplifier(self._store, amplifier_id)

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
        given = replace(given, analyse=self._analyse)
        answers = read_given(check, given)
        conclude(check, answers)
        kept = {
            key: self._kept(path) or self.keep_upload(path, given.name_of(key))
            for key, path in given.files.items()
        }
        for item in check.inputs:
            if isinstance(item, CaptureInput) and item.key in answers.captures:
                setup, found = item.setup(answers), answers.captures[item.key]
                derived.remember(self._store, kept[item.key], item.analysis, setup, found)
        sitting, _ = write.add_sitting_with_readings(
            self._store,
            entries_of(check, given, answers, kept),
            job_id=job_id,
            check_id=check.id,
            visit=visit,
            power_state=given.power_state,
            note=note,
            taken_by=taken_by,
            token=token,
        )
        return self._judged(sitting, self.spec_of_job(job_id))

    def read_on(self, sitting_id: str, key: str, text: str, token: str = "") -> JudgedSitting:
        """Add what was read next to a sitting: ``12.5 min 9.6 mV`` to a series, or a late answer.

        Tried first with all that went before, like everything else.
        """
        sitting = read.sitting(self._store, sitting_id)
        if sitting.check_id is None or sitting.job_id is None:
            raise BenchError("is a quick reading.", sitting_id, "Read on in a check.")
        check, spec = catalogue.check_of(sitting.check_id), self.spec_of_job(sitting.job_id)
        readings = read.readings(self._store, sitting_id)
        given = self._given(readings, sitting, spec)
        item = next((i for i in check.inputs if i.key == key), None)
        before = given.texts.get(key)
        if item is None or key in given.files or (before and not isinstance(item, SeriesInput)):
            raise BenchError("takes no further answer.", key, "Correct it, or read it anew.")
        texts = {**given.texts, key: text if before is None else f"{before}; {text}"}
        answers = read_given(check, replace(given, texts=texts))
        conclude(check, answers)
        entry = replace(entry_of(item, answers, given.meter, None), text=text)
        write.extend_sitting(self._store, sitting_id, entry, token)
        return self._judged(sitting, spec)

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
            readings = tuple(
                replace(fact, text=text) if fact.id == old.id else fact
                for fact in read.readings(self._store, sitting.id)
            )
            given = self._given(readings, sitting, self.spec_of_job(sitting.job_id))
            run(catalogue.check_of(sitting.check_id), given)
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

    def keep_upload(self, path: Path, name: str) -> str:
        """Keep a file as it came and return its SHA-256."""
        return files.keep_file(self._store, path, name)

    def file_path(self, sha256: str) -> Path:
        """Return where a kept file lies."""
        return files.file_path(self._store, sha256)

    def file_name(self, sha256: str) -> str:
        """Return the name a file was kept under."""
        return files.file_name(self._store, sha256)

    def _kept(self, path: Path) -> str:
        """Return the hash of a file that is kept already, by its place; else an empty text."""
        inside = path.parent.parent == self._store.folder / files.FOLDER
        return path.name if inside else ""

    @property
    def folder(self) -> Path:
        """The data folder."""
        return self._store.folder

    def marks(self) -> Marks:
        """Return how far the store has come; see :meth:`jobs_since`."""
        return read.marks(self._store)

    def jobs_since(self, since: Marks) -> frozenset[str]:
        """Return the jobs that something was added to since then, by whichever program."""
        return read.jobs_since(self._store, since)

    def sitting(self, sitting_id: str) -> JudgedSitting:
        """Return one sitting, judged today."""
        sitting = read.sitting(self._store, sitting_id)
        if sitting.job_id is None:
            return JudgedSitting(sitting, read.readings(self._store, sitting_id), None)
        return self._judged(sitting, self.spec_of_job(sitting.job_id))

    def history(self, reading_id: str) -> tuple[Reading, ...]:
        """Return every version of a reading, oldest first."""
        return read.history(self._store, reading_id)

    def standing(self, job_id: str) -> Standing:
        """Return where a job stands: the newest sitting of each check and part in each visit.

        What was judged before from the same readings and sheet is not judged again.
        """
        job = read.job(self._store, job_id)
        amplifier = read.amplifier(self._store, job.amplifier_id)
        found: list[JudgedSitting] = []
        faults: dict[str, BenchError] = {}
        try:
            spec = _spec(amplifier)
        except BenchError as error:
            spec, faults["spec"] = SpecSheet(amplifier.maker, amplifier.model), error
        for sitting in read.newest_sittings(self._store, job_id):
            readings = read.readings(self._store, sitting.id)
            place = (sitting.id, amplifier.spec_text, tuple(r.id for r in readings))
            known = self._known.get(place)
            if known is None:
                try:
                    known = self._judged(sitting, spec, readings)
                except BenchError as error:
                    faults[sitting.id] = error
                    known = JudgedSitting(sitting, readings, None)
                else:
                    self._known[place] = known
            found.append(replace(known, sitting=sitting))
        power = read.power_steps(self._store, job_id)
        parts = read.replacements(self._store, job_id)
        return Standing(job, amplifier, spec, tuple(found), parts, power, faults)

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
        texts: dict[str, str] = {}
        for fact in readings:
            if fact.file_sha256 is None and TOLD not in fact.key:
                # a series that was read on is several readings of one key
                before = texts.get(fact.key)
                texts[fact.key] = fact.text if before is None else f"{before}; {fact.text}"
        return Given(
            texts,
            {k: files.file_path(self._store, r.file_sha256 or "") for k, r in kept.items()},
            {key: r.text for key, r in kept.items()},
            spec,
            next((r.meter for r in readings if r.meter is not None), None),
            sitting.power_state,
            told_of(readings),
            self._analyse,
        )

    def _analyse(self, path: Path, kind: str, setup: CaptureSetup) -> Analysed:
        """Return the analysis of a kept recording, from memory of any run of this program."""
        sha256 = self._kept(path)
        known = derived.recall(self._store, sha256, kind, setup) if sha256 else None
        if known is None:
            known = analyse_path(path, kind, setup)
            if sha256:
                derived.remember(self._store, sha256, kind, setup, known)
        return known


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
