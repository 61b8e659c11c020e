"""Commands that tell where a job stands: status, and power for the state the amplifier is in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from backtospec.cli.measuring import pair, state_named
from backtospec.cli.output import output_of
from backtospec.errors import BenchError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.console import Console

    from backtospec.bench.counsel import NextSteps, Remark
    from backtospec.bench.jobs import Bench, JobView
    from backtospec.check import Cause
    from backtospec.check.power_path import SafetyStep
    from backtospec.records import PowerState, PowerStep


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (status, power):
        app.command()(command)


def status(
    context: typer.Context,
    job: Annotated[str | None, typer.Argument(help="Its id; without one, all jobs.")] = None,
) -> None:
    """See where a job stands and what comes next.

    Example:  backtospec status
    """
    from backtospec.bench.counsel import likely_causes, what_next
    from backtospec.cli.documents import of_cause, of_reading

    output = output_of(context)
    with output.open_bench() as bench:
        if job is None:
            jobs, loose = bench.jobs(), bench.loose_readings()
            shelf = {a.id: a for a in bench.amplifiers()}
            body: dict[str, Any] = {
                "jobs": [
                    {
                        "job": j.id,
                        "amplifier": j.amplifier_id,
                        "title": j.title,
                        "opened_at": j.opened_at.isoformat(),
                    }
                    for j in jobs
                ],
                "loose_readings": [of_reading(r) for r in loose],
            }
            if output.as_json:
                output.document("status", body)
                return
            console = output.console()
            for j in jobs:
                a = shelf[j.amplifier_id]
                serial = f" · s/n {a.serial}" if a.serial else ""
                console.print(f"{j.id}  {a.maker} {a.model}{serial}  {j.title}")
            for r in loose:
                console.print(f"{r.id}  {r.channel or ' '} {r.text}  {r.probed_at} (no job yet)")
            if not jobs:
                console.print("The shelf is empty. Begin with: backtospec add")
            return
        view, kept = bench.view(job), bench.power_steps(job)
    steps, causes = what_next(view, kept), likely_causes(view)
    if output.as_json:
        standing = {
            "power": _of_power(kept),
            "next": None if steps.check is None else steps.check.id,
            "next_steps": _of_next_steps(steps),
            "causes": [of_cause(cause) for cause in causes],
        }
        output.document("status", _of_view(view) | standing)
        return
    _show_view(output.console(), view, kept)
    _show_next_steps(output.console(), steps)
    _show_causes(output.console(), causes)


def _of_view(view: JobView) -> dict[str, Any]:
    from backtospec.cli.documents import of_conclusion, of_reading

    return {
        "job": view.job.id,
        "amplifier": {
            "id": view.amplifier.id,
            "maker": view.amplifier.maker,
            "model": view.amplifier.model,
            "serial": view.amplifier.serial,
        },
        "sittings": [
            {
                "id": s.sitting.id,
                "check": s.sitting.check_id,
                "visit": s.sitting.visit,
                "taken_at": s.sitting.taken_at.isoformat(),
                "readings": [of_reading(r) for r in s.readings],
                **({"conclusion": of_conclusion(s.conclusion)} if s.conclusion else {}),
            }
            for s in view.sittings
        ],
        "replaced": [
            {"designator": r.designator, "old": r.old, "new": r.new, "reason": r.reason}
            for r in view.replacements
        ],
    }


def _of_power(kept: tuple[PowerStep, ...]) -> dict[str, Any]:
    from datetime import UTC, datetime

    from backtospec.check.power_clocks import clocks

    told = clocks(kept, datetime.now(UTC))
    return {
        "state": kept[-1].state if kept else None,
        "since": kept[-1].at.isoformat() if kept else None,
        "on_min": told.on_min,
        "warm_min": told.warm_min,
        "steps": [{"state": s.state, "at": s.at.isoformat(), "skipped": s.skipped} for s in kept],
    }


def _of_safety_step(step: SafetyStep) -> dict[str, Any]:
    proof = step.proof
    return {
        "words": step.words,
        "state": step.state,
        "cautions": list(step.cautions),
        "wait_min": step.wait_min,
        "measure": None
        if proof is None
        else {
            "key": proof.key,
            "prompt": proof.prompt,
            "high_v": proof.high_v,
            "probed_at": proof.probed_at,
        },
    }


def _of_next_steps(steps: NextSteps) -> dict[str, Any]:
    def told(remarks: Iterable[Remark]) -> list[dict[str, str]]:
        return [{"check": r.check.id, "words": r.words} for r in remarks]

    return {
        "sentence": steps.sentence,
        "check": None if steps.check is None else steps.check.id,
        "state": steps.state,
        "path": [_of_safety_step(step) for step in steps.path],
        "stop": steps.stop,
        "blocked": told(steps.blocked),
        "unfit": told(steps.unfit),
        "alone": told(steps.alone),
        "unproven": told(steps.unproven),
        "covers_off": told(steps.covers_off),
        "before_closing": told(steps.before_closing),
    }


def _show_view(console: Console, view: JobView, kept: tuple[PowerStep, ...]) -> None:
    from backtospec import catalogue

    console.print(f"{view.amplifier.maker} {view.amplifier.model}  {view.amplifier.serial}")
    console.print(_power_line(kept))
    for check in catalogue.all_checks():
        sittings = [s for s in view.sittings if s.sitting.check_id == check.id]
        newest = sittings[-1].conclusion if sittings else None
        word = newest.word if newest else "·"
        reason = newest.counsel.advice[0].reason if newest else "not done yet"
        reason = check.unfit(view.spec) or reason
        console.print(f"{check.stage.title:14} {check.title:18} {word!s:10} {reason}")
        for s in sittings:
            ids = " ".join(r.id for r in s.readings)
            console.print(
                f"{'':14} {s.sitting.visit} · {s.sitting.taken_at:%Y-%m-%d %H:%M} · {ids}"
            )
    for part in view.replacements:
        console.print(f"replaced {part.designator}: {part.old} → {part.new}  {part.reason}")


def _power_line(kept: tuple[PowerStep, ...]) -> str:
    from datetime import UTC, datetime

    from backtospec.bench.counsel import STATE_WORDS
    from backtospec.check.power_clocks import clocks

    if not kept:
        return "power: nobody has said yet; taken as off, which is dangerous"
    told = clocks(kept, datetime.now(UTC))
    line = f"power: {kept[-1].state}, {STATE_WORDS[kept[-1].state]}"
    if told.on_min is not None:
        line += f", for {told.on_min:.0f} min"
    if told.interrupted:
        line += f"; warmth of {told.warm_min:.0f} min, its pauses taken off"
    return line


def _show_next_steps(console: Console, steps: NextSteps) -> None:
    console.print()
    console.print(f"next: {steps.sentence}")
    if steps.check is not None and not steps.stop:
        console.print(f"      backtospec checks {steps.check.id}")
    show_path(console, steps.path)
    for title, remarks in (
        ("blocked", steps.blocked),
        ("does not apply", steps.unfit),
        ("leave alone", steps.alone),
        ("not proven", steps.unproven),
        ("covers off for", steps.covers_off),
        ("before closing", steps.before_closing),
    ):
        if remarks:
            console.print(f"{title}:")
        for remark in remarks:
            console.print(f"  {remark.check.title}: {remark.words}")


def _show_causes(console: Console, causes: tuple[Cause, ...]) -> None:
    if causes:
        console.print("perhaps:")
    for cause in causes:
        known = "; ".join(cause.evidence_for) or "nothing speaks for it yet"
        console.print(f"  {cause.name}: {known}")
        for line in cause.evidence_against:
            console.print(f"    against: {line}")
        if cause.next_reading:
            console.print(f"    would tell: {cause.next_reading}")


def show_path(console: Console, steps: tuple[SafetyStep, ...]) -> None:
    """Print a safe path: each step with its cautions, and what must be measured."""
    for count, step in enumerate(steps, start=1):
        console.print(f"  {count}. {step.words}")
        for caution in step.cautions:
            console.print(f"     ⚠ {caution}")


def power(
    context: typer.Context,
    job: Annotated[str, typer.Argument(help="The job's id.")],
    state: Annotated[
        str, typer.Argument(help="safe, off, limited, reduced, mains or driven: where it is now.")
    ],
    set_: Annotated[
        list[str] | None,
        typer.Option("--set", help="KEY=VALUE measured on the way: residual_v=0.4V."),
    ] = None,
    skipped: Annotated[str, typer.Option(help="Why a safety step was skipped.")] = "",
    leads_stay: Annotated[
        bool, typer.Option("--leads-stay", help="No lead is moved: only the supply changes.")
    ] = False,
) -> None:
    """Go the safe path to another power state, and keep that the amplifier is there.

    Example:  backtospec power j-4h2k9 safe --set residual_v=0.4V --set residual_later_v=0.7V
    """
    from backtospec.bench.counsel import STATE_WORDS
    from backtospec.check import power_path
    from backtospec.records import PowerState

    output, wanted = output_of(context), state_named(state)
    given = dict(pair(word, "--set") for word in set_ or [])
    with output.open_bench() as bench:
        view, kept = bench.view(job), bench.power_steps(job)
        now = power_path.current_state(kept) or PowerState.OFF
        charge = power_path.charge_of(view.spec)
        way = power_path.path(now, wanted, move_leads=not leads_stay, charge=charge)
        way = power_path.with_known_cautions_short(way, kept)
        if not output.as_json:
            show_path(output.console(), way)
        reason = power_path.refuses(view.spec, wanted)
        if reason and not skipped:
            raise BenchError(f"{reason}.", wanted, "Choose another state.")
        _refuse_unproven(view, now, wanted, way, given, skipped)
        readings = _keep_readings(bench, view, given)
        step = bench.set_power(job, wanted, skipped)
    if not output.as_json:
        ids = "".join(f" {key} {id_}" for key, id_ in readings.items())
        output.console().print(f"Kept: {wanted}, {STATE_WORDS[wanted]}.{ids}")
        return
    body = {
        "job": job,
        "from": now,
        "state": step.state,
        "at": step.at.isoformat(),
        "skipped": step.skipped,
        "path": [_of_safety_step(s) for s in way],
        "readings": readings,
    }
    output.document("power", body)


def _refuse_unproven(
    view: JobView,
    now: PowerState,
    wanted: PowerState,
    way: tuple[SafetyStep, ...],
    given: dict[str, str],
    skipped: str,
) -> None:
    """Refuse a value that proves the opposite, and a state that nothing proves."""
    from backtospec.bench.counsel import offset_proven
    from backtospec.check.power_path import ARRIVAL, OFFSET
    from backtospec.quantity import read, write

    needed = ARRIVAL.get(wanted, ())
    known = {p.key: p for p in (*needed, *(s.proof for s in way if s.proof is not None))}
    for key, text in given.items():
        if key not in known:
            names = ", ".join(known) or "nothing"
            raise BenchError(f"{names} is to be measured on the way.", key, "Correct the name.")
        value = read(text, "V", known[key].prompt, -1000, 1000)
        if not known[key].holds(value):
            high = write(known[key].high_v, "V")
            fix = "Find out why before a signal goes in."
            if known[key] is not OFFSET:
                fix = "Discharge it again through the resistor, and measure."
            raise BenchError(f"{write(value, 'V')} is not below {high}.", known[key].prompt, fix)
    missing = [p for p in needed if p.key not in given and now is not wanted]
    if needed == (OFFSET,) and offset_proven(view):
        missing = []
    if missing and not skipped:
        options = " ".join(f"--set {p.key}=VOLTS" for p in missing)
        raise BenchError(
            f"{wanted} is what was measured: {' and '.join(p.key for p in missing)} not given.",
            "power",
            f"Give {options}, or say by --skipped why not.",
        )


def _keep_readings(bench: Bench, view: JobView, given: dict[str, str]) -> dict[str, str]:
    """Keep what was measured on the way as readings of the job."""
    from backtospec.records import Visit

    visits = [s.sitting.visit for s in view.sittings]
    visit = Visit.AFTER if Visit.AFTER in visits else Visit.BEFORE
    kept = {}
    for key, text in given.items():
        reading = bench.quick_reading(text, "V", None, None, key.replace("_", " "))
        bench.attach(reading.id, view.job.id, visit)
        kept[key] = reading.id
    return kept
