"""The event stream of a job."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import StreamingResponse

from backtospec.web.desk import desk_of

router = APIRouter()


@router.get("/jobs/{job_id}/live")
async def stream(request: Request, job_id: str) -> StreamingResponse:
    """Tell when something is added to a job."""
    headers = {"x-accel-buffering": "no"}
    events = desk_of(request).live.events(job_id)
    return StreamingResponse(events, media_type="text/event-stream", headers=headers)
