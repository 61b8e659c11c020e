"""Looking at work that takes long; it goes on when the page is left."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from backtospec.errors import BenchError
from backtospec.web.desk import desk_of
from backtospec.web.frames import frame_of
from backtospec.web.rendering import go, page

router = APIRouter()


@router.get("/jobs/{job_id}/works/{work_id}")
def show(request: Request, job_id: str, work_id: str) -> Response:
    """Show how long it has been going on; go to what came of it when it is done."""
    desk = desk_of(request)
    work = desk.works.find(work_id)
    if work is None:
        raise BenchError(
            "This work was not finished before the page was restarted. Nothing was kept of it.",
            "analysis",
            "Go back to the form: what was typed is still in it. Save again.",
        )
    if not work.done:
        return page(request, "work", frame=frame_of(desk, job_id), work=work)
    error = work.future.exception()
    if error is None:
        return _after(request, work.future.result())
    if isinstance(error, BenchError):
        return _after(request, f"{work.back}&work={work.id}")
    raise error


def _after(request: Request, address: str) -> Response:
    if "hx-request" in request.headers:
        return Response(status_code=204, headers={"hx-redirect": address})
    return go(address)
