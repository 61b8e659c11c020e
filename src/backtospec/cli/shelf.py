"""Commands for the shelf and its jobs: add, open, read, correct, replace, meter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backtospec.cli.output import output_of
from backtospec.errors import BenchError

if TYPE_CHECKING:
    from backtospec.records import Channel, Meter, Visit


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (add, spec, open_, read, attach, correct, replaced, meter):
        app.command(name=command.__name__.rstrip("_"))(command)


_QUESTIONS = ("what", "topology", "claim", "mains", "meter")


def add(
    context: typer.Context,
    sheet: Annotated[
        Path | None, typer.Option("--spec", help="Spec sheet file, instead of the questions.")
    ] = None,
    serial: Annotated[str, typer.Option(help="Serial number.")] = "",
    what: Annotated[str | None, typer.Option(help='What is it? "Halden, 62, 1977"')] = None,
    topology: Annotated[str | None, typer.Option(help="complementary, quasi-…, …")] = None,
    claim: Annotated[
        str | None, typer.Option(help='What does it claim? "2 x 45 W into 8 ohm, 0.1 %"')
    ] = None,
    mains: Annotated[str | None, typer.Option(help='Which mains? "220 V 50 Hz"')] = None,
    meter: Annotated[
        str | None, typer.Option(help='What do you measure with? "bench, 0.5 % + 3"')
    ] = None,
) -> None:
    """Put an amplifier on the shelf, by five questions or by its spec sheet file.

    Example:  backtospec add --spec halden62.toml --serial 40217
    """
    output = output_of(context)
    given = dict(zip(_QUESTIONS, (what, topology, claim, mains, meter), strict=True))
    meter_found: Meter | None = None
    if sheet is not None:
        text, name = _read_text(sheet), sheet.name
    else:
        text, meter_found = _sheet_from_answers(given)
        name = "your five answers"
    with output.open_bench() as bench:
        amplifier = bench.add_amplifier(text, name, serial)
        if meter_found is not None:
            bench.save_meter(meter_found)
        job = bench.open_job(amplifier.id, f"{amplifier.maker} {amplifier.model}")
    if output.as_json:
        output.document("add", {"amplifier": amplifier.id, "job": job.id, "spec": text})
        return
    console = output.console()
    console.print(f"{amplifier.maker} {amplifier.model} is on the shelf as {amplifier.id}.")
    console.print(f"Its job is {job.id}; see where it stands: backtospec status {job.id}")


def _sheet_from_answers(given: dict[str, str | None]) -> tuple[str, Meter | None]:
    from backtospec.bench.specs import meter_from_answers, questions, sheet_from_answers

    answers: dict[str, str] = {}
    for question in questions():
        text = given.get(question.key)
        if text is None:
            hint = f"{question.prompt} ({', '.join(question.choices) or question.example})"
            text = typer.prompt(hint, default="", show_default=False, err=True)
        answers[question.key] = str(text)
    return sheet_from_answers(answers), meter_from_answers(answers)


def spec(
    context: typer.Context,
    amplifier: Annotated[str, typer.Argument(help="Its id.")],
    file: Annotated[Path, typer.Argument(help="The corrected spec sheet.")],
) -> None:
    """State an amplifier's spec sheet anew; old readings are judged by it from now on."""
    output = output_of(context)
    with output.open_bench() as bench:
        bench.restate_spec(amplifier, _read_text(file), file.name)
    if output.as_json:
        output.document("spec", {"amplifier": amplifier})
    else:
        output.console().print("Kept. The older sheet stays on record.")


def open_(
    context: typer.Context,
    amplifier: Annotated[str, typer.Argument(help="Its id.")],
    title: Annotated[str, typer.Option(help="A few words.")] = "",
) -> None:
    """Open a new job on an amplifier that is already on the shelf."""
    output = output_of(context)
    with output.open_bench() as bench:
        job = bench.open_job(amplifier, title or "another visit")
    if output.as_json:
        output.document("open", {"job": job.id, "amplifier": amplifier})
    else:
        output.console().print(f"Opened {job.id}.")


def read(
    context: typer.Context,
    words: Annotated[list[str], typer.Argument(help='Such as: L 9.6mV "across the pair"')],
    unit: Annotated[str, typer.Option(help="Unit of a bare number.")] = "mV",
) -> None:
    """Keep one reading in ten seconds, without a job or a form; attach it later.

    Example:  backtospec read L 9.6mV
    """
    from backtospec.bench.specs import channel_named
    from backtospec.cli.documents import of_reading

    output = output_of(context)
    first = channel_named(words[0])
    channel: Channel | None = first
    rest = words[1:] if first is not None else words
    if not rest:
        raise BenchError("no number was given.", "reading", 'Type it as "L 9.6mV".')
    with output.open_bench() as bench:
        kept = bench.quick_reading(rest[0], unit, channel, None, " ".join(rest[1:]))
    if output.as_json:
        output.document("read", of_reading(kept))
        return
    from backtospec.quantity import write

    console = output.console()
    value = write(kept.value or 0.0, kept.unit)
    console.print(
        f"{kept.id}: {kept.channel or ''} {value}. Attach it: backtospec attach {kept.id} JOB"
    )


def attach(
    context: typer.Context,
    reading: Annotated[str, typer.Argument(help="The quick reading's id.")],
    job: Annotated[str, typer.Argument(help="The job's id.")],
    visit: Annotated[str, typer.Option(help="before or after the work.")] = "before",
) -> None:
    """Say which job a quick reading belongs to."""
    output = output_of(context)
    with output.open_bench() as bench:
        bench.attach(reading, job, visit_named(visit))
    if output.as_json:
        output.document("attach", {"reading": reading, "job": job})
    else:
        output.console().print(f"{reading} belongs to {job}.")


def correct(
    context: typer.Context,
    reading: Annotated[str, typer.Argument(help="The reading's id, as printed beside it.")],
    text: Annotated[str, typer.Argument(help="What it should have been.")],
) -> None:
    """Correct a reading. The new one supersedes it; the old one stays on record.

    Example:  backtospec correct r-7k3f2 "9.8 mV"
    """
    from backtospec.cli.documents import of_reading

    output = output_of(context)
    with output.open_bench() as bench:
        fact = bench.correct(reading, text)
    if output.as_json:
        output.document("correct", of_reading(fact))
    else:
        output.console().print(f"{fact.id} supersedes {reading}.")


def replaced(
    context: typer.Context,
    job: Annotated[str, typer.Argument(help="The job's id.")],
    designator: Annotated[str, typer.Argument(help="Such as C801.")],
    old: Annotated[str, typer.Option(help="What came out.")] = "",
    new: Annotated[str, typer.Option(help="What went in.")] = "",
    reason: Annotated[str, typer.Option(help="Why.")] = "",
) -> None:
    """Keep that a part was replaced, for the report.

    Example:  backtospec replaced j-4h2k9 C801 --old "6800 µF 50 V" --new "6800 µF 63 V"
    """
    output = output_of(context)
    with output.open_bench() as bench:
        fact = bench.replace_part(job, designator, old, new, reason)
    if output.as_json:
        output.document("replaced", {"id": fact.id, "job": job, "designator": designator})
    else:
        output.console().print(f"Kept: {designator} replaced.")


def meter(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="Your name for it.")],
    accuracy: Annotated[str, typer.Argument(help='From its manual: "0.5 % + 3".')],
) -> None:
    """Remember a meter and its accuracy, to name it with --meter.

    Example:  backtospec meter bench "0.5 % + 3"
    """
    from backtospec.bench.specs import meter_named

    output = output_of(context)
    with output.open_bench() as bench:
        bench.save_meter(meter_named(name, accuracy))
    if output.as_json:
        output.document("meter", {"name": name})
    else:
        output.console().print(f"{name} is known.")


def visit_named(text: str) -> Visit:
    """Return the visit of that name."""
    from backtospec.records import Visit

    try:
        return Visit(text.strip().lower())
    except ValueError:
        raise BenchError(
            f'"{text}" is not before or after.', "visit", "Say before or after the work."
        ) from None


def _read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BenchError("is not a text file in UTF-8.", str(path), "Save it as UTF-8.") from None
    except OSError as error:
        raise BenchError(
            f"cannot be read ({error.strerror}).", str(path), "Correct the path."
        ) from None
