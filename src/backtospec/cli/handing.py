"""Commands that hand something over: report and demo."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from backtospec.cli.output import output_of
from backtospec.errors import BenchError


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (report, demo):
        app.command()(command)


def report(
    context: typer.Context,
    job: Annotated[str, typer.Argument(help="The job's id.")],
    out: Annotated[Path, typer.Option(help="Folder to write into.")],
    timestamp: Annotated[
        str | None, typer.Option(help="ISO time to print; same time, same bytes.")
    ] = None,
) -> None:
    """Write the report of a job: typeset PDF, the document as JSON, and a summary to paste.

    Example:  backtospec report j-4h2k9 --out reports
    """
    from backtospec.report import write_report

    output = output_of(context)
    made_at = moment(timestamp)
    with output.open_bench() as bench:
        written = write_report(bench.view(job), out, made_at)
        document = written.document
        bench.keep_report(job, document.as_json(), document.evidence_sha256)
    files = {
        "pdf": str(written.pdf),
        "json": str(written.json),
        "summary": str(written.summary),
    }
    if output.as_json:
        body = {"job": job, "files": files, "verdict": document.headline.line}
        output.document("report", {**body, "warnings": list(written.warnings)})
        return
    console = output.console()
    console.print(document.headline.line)
    for line in (*written.warnings, *files.values()):
        console.print(line)


def demo(
    context: typer.Context,
    serve: Annotated[
        bool | None,
        typer.Option("--serve/--no-serve", help="End by opening the bench page on it."),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder to work in.")] = None,
) -> None:
    """Restore an invented amplifier, before and after, and write its report.

    At a terminal it ends by opening the bench page, unless told otherwise.
    """
    from backtospec.demo import run_demo

    output = output_of(context)
    folder = out or Path("demo-bench")
    told = run_demo(folder, None if output.as_json else output.console().print, moment(None))
    if output.as_json:
        files = {kind: str(path) for kind, path in told.files.items()}
        output.document("demo", {"job": told.job_id, "files": files, "verdict": told.verdict})
    at_terminal = sys.stdin.isatty() and sys.stdout.isatty() and not output.as_json
    if at_terminal if serve is None else serve:
        from backtospec.cli.serving import serve_page

        serve_page(replace(output, data_dir=folder / "data"), path=f"/jobs/{told.job_id}")


def moment(text: str | None) -> datetime:
    """Return the time a report carries, with its zone; by default now."""
    if text is None:
        return datetime.now(UTC).replace(microsecond=0)
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise BenchError(
            f'"{text}" is not a time.', "--timestamp", "Write it as 2026-03-01T20:15:00Z."
        ) from None
    return found if found.tzinfo else found.replace(tzinfo=UTC)
