"""An amplifier comes onto the shelf, by five questions or by its spec sheet file."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from backtospec.bench.specs import meter_from_answers, questions, sheet_from_answers, spec_of
from backtospec.errors import BenchError, Question
from backtospec.web.desk import bench_of
from backtospec.web.forms import sent_by
from backtospec.web.rendering import go, page

router = APIRouter()


@router.get("/amplifiers/new")
def ask(request: Request) -> Response:
    """Show the five questions."""
    return _form(request, {}, None)


@router.post("/amplifiers/new")
async def add(request: Request) -> Response:
    """Put an amplifier on the shelf and open its first job."""
    sent = await sent_by(request)
    bench, serial = bench_of(request), sent.text("serial").strip()
    answers = {q.key: sent.text(q.key) for q in questions()}
    sheet = sent.text("sheet")
    try:
        if sheet.strip():
            name = sent.text("sheet_name") or "spec sheet"
            meter = None
        else:
            sheet, name = sheet_from_answers(answers), "your five answers"
            meter = meter_from_answers(answers)
        amplifier = bench.add_amplifier(sheet, name, serial)
    except BenchError as error:
        return _form(request, dict(sent.values), error)
    if meter is not None:
        bench.save_meter(meter)
    job = bench.open_job(amplifier.id, f"{amplifier.maker} {amplifier.model}")
    return go(f"/jobs/{job.id}")


def _form(request: Request, typed: dict[str, str], error: BenchError | None) -> Response:
    asked = questions()
    faults = error.faults if error else ()
    keys = {q.key for q in asked}
    return page(
        request,
        "amplifier_new",
        422 if error else 200,
        questions=asked,
        typed=typed,
        faults={q.key: [f for f in faults if f.where.startswith(q.key)] for q in asked},
        others=[f for f in faults if not any(f.where.startswith(k) for k in keys)],
        question=error if isinstance(error, Question) else None,
    )


@router.get("/amplifiers/{amplifier_id}")
def show(request: Request, amplifier_id: str) -> Response:
    """Show an amplifier: its sheet, its jobs."""
    return _show(request, amplifier_id, None, None)


@router.post("/amplifiers/{amplifier_id}/sheet")
async def restate(request: Request, amplifier_id: str) -> Response:
    """State the spec sheet anew: old readings are judged by it from now on."""
    sent = await sent_by(request)
    try:
        bench_of(request).restate_spec(
            amplifier_id, sent.text("sheet"), sent.text("sheet_name") or "spec sheet"
        )
    except BenchError as error:
        return _show(request, amplifier_id, sent.text("sheet"), error)
    return go(f"/amplifiers/{amplifier_id}")


@router.post("/amplifiers/{amplifier_id}/jobs")
async def open_job(request: Request, amplifier_id: str) -> Response:
    """Open another job on an amplifier."""
    sent = await sent_by(request)
    title = sent.text("title").strip() or "another visit"
    return go(f"/jobs/{bench_of(request).open_job(amplifier_id, title).id}")


def _show(
    request: Request, amplifier_id: str, typed: str | None, error: BenchError | None
) -> Response:
    bench = bench_of(request)
    amplifier = bench.amplifier(amplifier_id)
    try:
        spec = spec_of(amplifier.spec_text, "spec sheet") if amplifier.spec_text.strip() else None
    except BenchError as unreadable:
        spec, error = None, error or unreadable
    return page(
        request,
        "amplifier",
        422 if typed is not None else 200,
        amplifier=amplifier,
        spec=spec,
        jobs=[j for j in bench.jobs() if j.amplifier_id == amplifier_id],
        typed=amplifier.spec_text if typed is None else typed,
        faults=error.faults if error else (),
    )
