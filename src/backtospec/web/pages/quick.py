"""A reading in ten seconds, from any page; attached to its job later."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from backtospec.errors import BenchError, Question
from backtospec.records import Channel, Visit
from backtospec.web.desk import bench_of
from backtospec.web.forms import new_token, sent_by
from backtospec.web.rendering import go, page

router = APIRouter()

UNITS = ("mV", "V", "mA", "A", "Ω", "kΩ", "µF", "W", "Hz", "°C", "%", "dB")


@router.get("/quick")
def ask(request: Request, job: str = "") -> Response:
    """Show the form on a page of its own."""
    return _form(request, {"job": job, "token": new_token()}, None)


@router.post("/quick")
async def keep(request: Request) -> Response:
    """Keep one number; with a job given it is attached at once."""
    sent = await sent_by(request)
    bench = bench_of(request)
    named = sent.text("channel")
    channel = Channel(named) if named in tuple(Channel) else None
    unit = sent.text("unit") if sent.text("unit") in UNITS else UNITS[0]
    meter = next((m for m in bench.meters() if m.name == sent.text("meter")), None)
    try:
        kept = bench.quick_reading(
            sent.text("reading"), unit, channel, meter, sent.text("note").strip(), sent.token
        )
        if sent.text("job"):
            visit = Visit(sent.text("visit")) if sent.text("visit") in tuple(Visit) else None
            bench.attach(kept.id, sent.text("job"), visit or Visit.BEFORE)
    except BenchError as error:
        return _form(request, dict(sent.values), error)
    return go(f"/jobs/{sent.text('job')}#loose" if sent.text("job") else "/#loose")


@router.post("/quick/{reading_id}/attach")
async def attach(request: Request, reading_id: str) -> Response:
    """Say which job a quick reading belongs to."""
    sent = await sent_by(request)
    visit = Visit(sent.text("visit")) if sent.text("visit") in tuple(Visit) else Visit.BEFORE
    bench_of(request).attach(reading_id, sent.text("job"), visit)
    return go(sent.text("back") if sent.text("back").startswith("/jobs/") else "/#loose")


def _form(request: Request, typed: dict[str, str], error: BenchError | None) -> Response:
    return page(
        request,
        "quick",
        422 if error else 200,
        typed=typed,
        faults=error.faults if error else (),
        question=error if isinstance(error, Question) else None,
        units=UNITS,
        meters=bench_of(request).meters(),
    )
