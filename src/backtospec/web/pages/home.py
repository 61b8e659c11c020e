"""The shelf: every amplifier, its jobs, and readings that belong to no job yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from backtospec import catalogue
from backtospec.bench.jobs import Bench
from backtospec.check import Stage
from backtospec.records import Amplifier, Job
from backtospec.web.desk import bench_of
from backtospec.web.frames import power_of
from backtospec.web.rendering import page
from backtospec.web.words import mark_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Shelved:
    """One amplifier with its jobs, the newest first."""

    amplifier: Amplifier
    jobs: tuple[Job, ...]

    def matches(self, words: str) -> bool:
        """Return whether every word of a search is found in it."""
        one = self.amplifier
        text = " ".join((one.maker, one.model, one.serial, *(j.title for j in self.jobs)))
        return all(word in text.casefold() for word in words.casefold().split())


def shelf_of(bench: Bench) -> tuple[Shelved, ...]:
    """Return every amplifier, the one worked on last first."""
    jobs: dict[str, list[Job]] = {}
    for job in bench.jobs():
        jobs.setdefault(job.amplifier_id, []).insert(0, job)
    shelf = [Shelved(a, tuple(jobs.get(a.id, ()))) for a in bench.amplifiers()]
    return tuple(
        sorted(
            shelf,
            key=lambda s: max([s.amplifier.added_at, *(j.opened_at for j in s.jobs)]),
            reverse=True,
        )
    )


@router.get("/")
def show(request: Request, q: str = "") -> Response:
    """Show the shelf, or what of it matches a search."""
    bench = bench_of(request)
    shelf = shelf_of(bench)
    jobs = {job.id: shelved for shelved in shelf for job in shelved.jobs}
    return page(
        request,
        "home",
        shelf=[s for s in shelf if s.matches(q)],
        all_jobs=jobs,
        empty=not shelf,
        q=q,
        loose=bench.loose_readings(),
    )


@router.get("/jobs/{job_id}/standing")
def standing(request: Request, job_id: str) -> Response:
    """Show in two lines where one job stands; asked for when it comes into sight."""
    found = bench_of(request).standing(job_id)
    stages: Mapping[str, Stage] = {c.id: c.stage for c in catalogue.all_checks()}
    marks = []
    for stage in Stage:
        mark, word = mark_of(
            j.conclusion
            for j in found.newest
            if j.conclusion is not None
            and j.sitting.visit is found.visit
            and stages.get(j.sitting.check_id or "") is stage
        )
        marks.append((stage.title, mark, word))
    last = found.newest[-1] if found.newest else None
    return page(request, "standing", marks=marks, last=last, power=power_of(found), standing=found)
