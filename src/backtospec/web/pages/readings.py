"""One reading: how it was taken, and its correction; the older one stays on record."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter, Request, Response

from backtospec.errors import BenchError
from backtospec.web.desk import bench_of, desk_of
from backtospec.web.forms import sent_by
from backtospec.web.frames import frame_of
from backtospec.web.rendering import go, page

router = APIRouter()


@router.get("/jobs/{job_id}/readings/{reading_id}")
def show(request: Request, job_id: str, reading_id: str) -> Response:
    """Show every version of a reading."""
    return _page(request, job_id, reading_id, "", None)


@router.post("/jobs/{job_id}/readings/{reading_id}")
async def correct(request: Request, job_id: str, reading_id: str) -> Response:
    """Correct it."""
    sent = await sent_by(request)
    text = sent.text("text").strip()
    try:
        if not text:
            raise BenchError("nothing was typed.", "correction", "Type what it should have been.")
        fact = await asyncio.to_thread(bench_of(request).correct, reading_id, text)
    except BenchError as error:
        return await asyncio.to_thread(_page, request, job_id, reading_id, text, error)
    return go(f"/jobs/{job_id}/readings/{fact.id}")


def _page(
    request: Request, job_id: str, reading_id: str, typed: str, error: BenchError | None
) -> Response:
    bench = bench_of(request)
    versions = bench.history(reading_id)
    return page(
        request,
        "reading",
        422 if error else 200,
        frame=frame_of(desk_of(request), job_id),
        versions=versions,
        judged=bench.sitting(versions[0].sitting_id),
        typed=typed,
        faults=error.faults if error else (),
    )
