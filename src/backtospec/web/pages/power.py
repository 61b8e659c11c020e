"""From one power state to another, one safe step at a time."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from backtospec import quantity
from backtospec.check.power_path import (
    SafetyStep,
    accepts,
    charge_of,
    current_state,
    path,
    refuses,
    with_known_cautions_short,
)
from backtospec.errors import BenchError
from backtospec.records import PowerState
from backtospec.web.desk import bench_of, desk_of
from backtospec.web.fields import Sent
from backtospec.web.forms import new_token, sent_by
from backtospec.web.frames import Frame, frame_of
from backtospec.web.rendering import go, page
from backtospec.web.words import STATES

router = APIRouter()


@router.get("/jobs/{job_id}/power")
def show(
    request: Request, job_id: str, to: str = "", start: str = "", n: int = 0, back: str = ""
) -> Response:
    """Show the states, or the next step on the way to one."""
    frame = frame_of(desk_of(request), job_id)
    target = _state(to)
    if target is None:
        return page(request, "power", frame=frame, states=STATES, back=_inside(back))
    return _step(request, frame, target, _state(start), n, _inside(back), {}, None)


@router.post("/jobs/{job_id}/power")
async def confirm(request: Request, job_id: str) -> Response:
    """Keep that a step was done, or why it was skipped."""
    sent = await sent_by(request)
    desk = desk_of(request)
    frame = frame_of(desk, job_id)
    target, start = _state(sent.text("to")), _state(sent.text("start"))
    back = _inside(sent.text("back"))
    if target is None:
        raise BenchError("There is no such power state.", "power state", "Choose one of the six.")
    n = int(sent.text("n")) if sent.text("n").isdecimal() else 0
    steps = _way(frame, target, start)
    if not steps or n >= len(steps):
        return go(back or frame.base)
    try:
        _keep_step(request, frame, steps[n], sent)
    except BenchError as error:
        return _step(request, frame, target, start, n, back, dict(sent.values), error)
    if n + 1 >= len(steps):
        return go(back or frame.base)
    begun = start or frame.power.state or PowerState.OFF
    return go(f"{frame.base}/power?to={target}&start={begun}&n={n + 1}&back={back}")


@router.post("/jobs/{job_id}/power/said")
async def say(request: Request, job_id: str) -> Response:
    """Keep a state that the amplifier is in already, whatever way it came there."""
    sent = await sent_by(request)
    bench = bench_of(request)
    state, reason = _state(sent.text("state")), sent.text("reason").strip()
    known = current_state(bench.power_steps(job_id))
    if state is None:
        raise BenchError("There is no such power state.", "power state", "Choose one of the six.")
    if not reason and (known is not None or state is PowerState.SAFE):
        raise BenchError(
            "Steps were skipped and no reason was given.",
            "power state",
            "Go the safe way, or say in a few words why it was skipped.",
        )
    bench.set_power(job_id, state, reason)
    return go(_inside(sent.text("back")) or f"/jobs/{job_id}")


def _keep_step(request: Request, frame: Frame, step: SafetyStep, sent: Sent) -> None:
    """Keep one step: its proof as a reading, and the state it leads to."""
    bench, skipped = bench_of(request), sent.text("skipped").strip()
    if step.proof is not None and not skipped:
        proof = step.proof
        value = quantity.read(sent.text("proof"), "V", proof.prompt, -1000, 1000)
        if not accepts(step, value):
            raise BenchError(
                f"{quantity.write(value, 'V')} is not below {quantity.write(proof.high_v, 'V')}.",
                proof.prompt,
                "Go on until it is, then measure again.",
            )
        note = f"{proof.prompt}, {proof.probed_at}"
        kept = bench.quick_reading(sent.text("proof"), "V", None, None, note, sent.token)
        bench.attach(kept.id, frame.job_id, frame.visit)
    if step.state is not frame.power.state or skipped:
        bench.set_power(frame.job_id, step.state, f"{step.brief}: {skipped}" if skipped else "")


def _way(frame: Frame, target: PowerState, start: PowerState | None) -> tuple[SafetyStep, ...]:
    begun = start or frame.power.state or PowerState.OFF
    return path(begun, target, charge=charge_of(frame.standing.spec))


def _step(
    request: Request,
    frame: Frame,
    target: PowerState,
    start: PowerState | None,
    n: int,
    back: str,
    typed: dict[str, str],
    error: BenchError | None,
) -> Response:
    refused = refuses(frame.standing.spec, target)
    steps = with_known_cautions_short(_way(frame, target, start), frame.standing.power)
    return page(
        request,
        "power_step",
        422 if error else 200,
        frame=frame,
        target=target,
        target_word=STATES[target][0],
        start=start or frame.power.state or PowerState.OFF,
        steps=steps,
        n=n,
        refused=refused,
        back=back,
        typed=typed,
        token=typed.get("token") or new_token(),
        faults=error.faults if error else (),
    )


def _state(text: str) -> PowerState | None:
    return PowerState(text) if text in tuple(PowerState) else None


def _inside(address: str) -> str:
    """Return an address only where it is one of a job's own pages."""
    return address if address.startswith("/jobs/") and "//" not in address[1:] else ""
