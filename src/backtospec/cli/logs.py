"""Commands for meter logs: readings and warm-up."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backtospec.cli.output import Status, output_of
from backtospec.errors import Question

if TYPE_CHECKING:
    from backtospec.analysis.warm_up import WarmUp
    from backtospec.bench.logs import LogOptions, Series

Files = Annotated[list[Path], typer.Argument(help="Logs or tables that belong together.")]
Unit = Annotated[str | None, typer.Option(help="Of the readings, where the file names none.")]
Decimal = Annotated[str | None, typer.Option(help="point or comma.")]
DateOrder = Annotated[str | None, typer.Option(help="dmy, mdy or ymd.")]
TimeZone = Annotated[str | None, typer.Option(help="Such as Europe/Berlin.")]
Channels = Annotated[list[str] | None, typer.Option("--channel", help="L or R, one per file.")]
MinutesOn = Annotated[
    str | None, typer.Option("--minutes-since-on", help="At the first row of the first file.")
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(readings)
    app.command(name="warm-up")(warm_up)
    app.command()(adjust)


def readings(
    context: typer.Context,
    files: Files,
    unit: Unit = None,
    decimal: Decimal = None,
    date_order: DateOrder = None,
    time_zone: TimeZone = None,
    channel: Channels = None,
    minutes_since_on: MinutesOn = None,
) -> int:
    """Read meter logs or tables of any shape, and say what was assumed.

    Example:  backtospec readings idle.csv
    """
    from backtospec.bench.logs import document_of, read_files

    output = output_of(context)
    options = _options(unit, decimal, date_order, time_zone, channel, minutes_since_on)
    try:
        reading = read_files(files, options)
    except Question as question:
        if not output.as_json:
            raise
        output.document("readings", document_of(question))
        return Status.UNUSABLE
    if output.as_json:
        output.document("readings", document_of(reading))
        return Status.DONE
    console = output.console()
    for series in reading.series:
        values = [v for v in series.value if v is not None]
        span = f"{min(values):.6g} … {max(values):.6g} {series.unit}" if values else "no reading"
        minutes = series.elapsed_s[-1] / 60 if series.elapsed_s else 0.0
        lost = f", {len(series.status)} without a reading" if series.status else ""
        name = series.channel or "no channel"
        console.print(f"{name}: {len(series.value)} rows over {minutes:.1f} min, {span}{lost}")
    for assumption in reading.assumptions:
        where = "" if assumption.line is None else f"line {assumption.line}: "
        console.print(f"  assumed: {where}{assumption.text}")
    for gap in reading.gaps:
        console.print(f"  gap: {gap.start_s:.0f} s to {gap.end_s:.0f} s")
    if reading.duplicates:
        console.print(f"  repeated stamps: {len(reading.duplicates)}")
    return Status.DONE


def warm_up(
    context: typer.Context,
    files: Files,
    unit: Unit = None,
    decimal: Decimal = None,
    date_order: DateOrder = None,
    time_zone: TimeZone = None,
    channel: Channels = None,
    minutes_since_on: MinutesOn = None,
    target: Annotated[str | None, typer.Option(help='What the manual asks for: "10 mV".')] = None,
    tolerance: Annotated[str | None, typer.Option(help='Give or take: "1 mV".')] = None,
) -> int:
    """Say whether idle current or offset has settled, where it ends, and when.

    Example:  backtospec warm-up idle.csv --target "10 mV" --tolerance "1 mV"
    """
    from backtospec.bench.logs import document_of_warm_ups, read_files, warm_ups
    from backtospec.quantity import read

    output = output_of(context)
    options = _options(unit, decimal, date_order, time_zone, channel, minutes_since_on)
    wanted = None if target is None else read(target, "mV", "target", -100_000, 100_000)
    allowed = None if tolerance is None else read(tolerance, "mV", "tolerance", 0, 100_000)
    found = warm_ups(read_files(files, options), wanted, allowed)
    stop = any(one.advice == "STOP" for _, one in found.values())
    if output.as_json:
        output.document("warm-up", document_of_warm_ups(found))
    else:
        console = output.console()
        for name, (series, one) in found.items():
            console.print(f"{name}: {one.course}. {one.advice}: {one.reason}{_at(series, one)}")
    return Status.FAILED if stop else Status.DONE


def adjust(
    context: typer.Context,
    files: Files,
    target: Annotated[str, typer.Option(help='Where it shall be hot: "10 mV".')],
    position: Annotated[
        str, typer.Option(help="Where the trimmer stood before any turn, in words or ohms.")
    ],
    tolerance: Annotated[str | None, typer.Option(help='Near enough: "1 mV".')] = None,
    quantity: Annotated[str, typer.Option(help="idle or offset.")] = "idle",
    now: Annotated[str | None, typer.Option(help="Reading now, if later than the log.")] = None,
    minute: Annotated[str | None, typer.Option(help="Minute of the log at which it was read.")] = (
        None
    ),
    turned: Annotated[
        str | None, typer.Option(help='The last turn: "before asked after", in mV.')
    ] = None,
    unit: Unit = None,
    channel: Channels = None,
) -> int:
    """Say what to set a trimmer to now, so that it lands on the target when hot.

    Example:  backtospec adjust idle.csv --channel L --target "10 mV" --position "2 o'clock"
    """
    from backtospec.bench.logs import next_setting, read_files, turn_from_text
    from backtospec.quantity import read

    output = output_of(context)
    options = _options(unit, None, None, None, channel, None)
    settings = next_setting(
        read_files(files, options),
        target_v=read(target, "mV", "target", -100_000, 100_000),
        tolerance_v=None if tolerance is None else read(tolerance, "mV", "tolerance", 0, 100_000),
        quantity=quantity,
        position=position,
        now_v=None if now is None else read(now, "mV", "now", -100_000, 100_000),
        time_s=None if minute is None else read(minute, "min", "minute", 0, 100_000),
        turn=None if turned is None else turn_from_text(turned),
    )
    if output.as_json:
        body = {
            name: {
                "advice": {"kind": s.kind, "reason": s.reason},
                "set_now_v": s.set_now_v,
                "lands_at_v": s.lands_at_v,
                "lands_low_v": s.lands_low_v,
                "lands_high_v": s.lands_high_v,
                "last_step": s.last_step,
            }
            for name, s in settings.items()
        }
        output.document("adjust", {"channels": body})
    else:
        for name, setting in settings.items():
            output.console().print(f"{name}: {setting.kind}: {setting.reason}")
    stop = any(setting.kind == "STOP" for setting in settings.values())
    return Status.FAILED if stop else Status.DONE


def _options(
    unit: str | None,
    decimal: str | None,
    date_order: str | None,
    time_zone: str | None,
    channel: list[str] | None,
    minutes_since_on: str | None,
) -> LogOptions:
    from backtospec.bench.logs import LogOptions
    from backtospec.quantity import read

    since = None
    if minutes_since_on is not None:
        since = read(minutes_since_on, "min", "minutes since power-on", 0, 1e6) / 60
    return LogOptions(unit, decimal, date_order, time_zone, tuple(channel or ()), since)


def _at(series: Series, found: WarmUp) -> str:
    """Return the time by the clock at which the wait is over, where the log has a clock."""
    if not found.minutes_to_wait or series.first_time is None:
        return ""
    wait = timedelta(seconds=series.elapsed_s[-1], minutes=found.minutes_to_wait)
    return f" That is at {datetime.fromisoformat(series.first_time) + wait:%H:%M}."
