"""The demonstration: the story goes through the bench as a stranger's readings would."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from backtospec import catalogue
from backtospec.bench.jobs import Bench, JudgedSitting, open_bench
from backtospec.bench.runs import Given
from backtospec.bench.specs import spec_of
from backtospec.demo.scenario import build_files, story
from backtospec.errors import BenchError
from backtospec.records import Visit
from backtospec.report import write_report

Say = Callable[[str], object]

MARKER = "made-by-backtospec-demo"


@dataclass(frozen=True, slots=True)
class Told:
    """What the demonstration left behind."""

    job_id: str
    verdict: str
    files: dict[str, Path]


def run_demo(folder: Path, say: Say | None, made_at: datetime) -> Told:
    """Restore the invented amplifier in a folder of its own, and return what was made.

    Parameters
    ----------
    folder
        Made anew; an earlier demonstration in it is replaced, anything else is refused.
    say
        Prints one line of the story, or ``None`` to work in silence.
    made_at
        Printed on the report.

    Raises
    ------
    BenchError
        Where the folder holds something that no demonstration made.
    """
    tell = say or (lambda _line: None)
    _make_room(folder)
    tale = story()
    tell(f"{tale.title}, s/n {tale.serial}: an invented amplifier on a simulated bench.")
    tell("Playing it into the recorder …")
    (folder / "files").mkdir()
    recordings = build_files(folder / "files")
    with open_bench(folder / "data") as bench:
        amplifier = bench.add_amplifier(tale.spec_text, tale.spec_name, tale.serial)
        job = bench.open_job(amplifier.id, tale.title)
        bench.save_meter(tale.meter)
        spec = spec_of(tale.spec_text, tale.spec_name)
        visit: Visit | None = None
        for step in tale.steps:
            if step.visit is not visit:
                visit = step.visit
                if visit is Visit.AFTER:
                    _fit_parts(bench, job.id, tell)
                tell("")
                tell("BEFORE THE WORK" if visit is Visit.BEFORE else "AFTER THE WORK")
            files = {key: recordings[name] for key, name in step.files.items()}
            given = Given(step.texts, files, {}, spec, tale.meter, step.power_state)
            check = catalogue.check_of(step.check_id)
            _tell_step(tell, bench.record(job.id, check, given, step.visit, step.note))
        written = write_report(bench.view(job.id), folder / "report", made_at)
        document = written.document
        bench.keep_report(job.id, document.as_json(), document.evidence_sha256)
    tell("")
    tell(document.headline.line)
    tell(f"The report: {written.pdf}")
    tell(f"Look around: backtospec --data-dir {folder / 'data'} status {job.id}")
    files = {"pdf": written.pdf, "json": written.json, "summary": written.summary}
    return Told(job.id, document.headline.line, files)


def _make_room(folder: Path) -> None:
    marker = folder / MARKER
    if folder.exists() and any(folder.iterdir()):
        if not marker.exists():
            raise BenchError(
                "holds files that no demonstration made.",
                f"folder {folder}",
                "Choose an empty folder with --out.",
            )
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    marker.touch()


def _fit_parts(bench: Bench, job_id: str, tell: Say) -> None:
    tell("")
    tell("ON THE BENCH")
    for part in story().fitted:
        bench.replace_part(job_id, part.designator, part.old, part.new, part.reason)
        tell(f"  {part.designator}: {part.old} → {part.new} ({part.reason})")


def _tell_step(tell: Say, judged: JudgedSitting) -> None:
    conclusion = judged.conclusion
    if conclusion is None:
        return
    title = conclusion.check.title
    for count, advice in enumerate(conclusion.counsel.advice):
        tell(f"  {title if count == 0 else '':18} {advice.kind:9} {advice.reason}")
    for cause in conclusion.counsel.causes[:1]:
        tell(f"  {'':18} {'':9} perhaps: {cause.name}")
