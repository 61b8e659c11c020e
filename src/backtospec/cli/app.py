"""The command line as a whole: global options, errors, exit status.

Exit status: 0 done · 1 a FAIL or a STOP · 2 unusable input, or a question to be answered first.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from backtospec.cli import handing, logs, measuring, serving, shelf, standing
from backtospec.cli.output import Output, Status
from backtospec.errors import BenchError, Question

app = typer.Typer(
    name="backtospec",
    help="From raw bench readings of a restored amplifier to judged findings and a report.",
    epilog="Begin with:  backtospec demo",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback()
def _globals(
    context: typer.Context,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON document on standard output.")
    ] = False,
    data_dir: Annotated[
        Path | None,
        typer.Option("--data-dir", help="Data folder; by default this user's own."),
    ] = None,
) -> None:
    context.obj = Output(as_json, data_dir)


for module in (shelf, standing, measuring, logs, serving, handing):
    module.register(app)


def run_command_line(arguments: list[str]) -> int:
    """Run one command and return its exit status."""
    hoisted = _hoist(arguments)
    as_json = "--json" in hoisted
    command = typer.main.get_command(app)
    try:
        status = command.main(args=hoisted, prog_name="backtospec", standalone_mode=False)
    except BenchError as error:
        _tell(error, as_json)
        return Status.UNUSABLE
    except typer.Abort:
        print("Stopped; nothing more was done.", file=sys.stderr)
        return Status.UNUSABLE
    except typer.Exit as leaving:
        return leaving.exit_code
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        _tell(_usage(error), as_json)
        return Status.UNUSABLE
    return int(status) if isinstance(status, int) else Status.DONE


def _usage(error: Any) -> BenchError:
    context = getattr(error, "ctx", None)
    path = context.command_path if context else "backtospec"
    return BenchError(error.format_message(), "command line", f"See {path} --help.")


def _hoist(arguments: list[str]) -> list[str]:
    """Move the global options to the front, so that they may stand anywhere."""
    front: list[str] = []
    rest: list[str] = []
    words = iter(arguments)
    for word in words:
        if word == "--":
            rest += [word, *words]
        elif word == "--json" or word.startswith("--data-dir="):
            front.append(word)
        elif word == "--data-dir":
            front += [word, *[w for w in [next(words, None)] if w is not None]]
        else:
            rest.append(word)
    return front + rest


def _tell(error: BenchError, as_json: bool) -> None:
    """Print what happened, where, and what to do; as JSON on standard output, if so asked."""
    if as_json:
        document: dict[str, Any] = {
            "schema": "backtospec/error/1",
            "error": [
                {"what": fault.what, "where": fault.where, "fix": fault.fix}
                for fault in error.faults
            ],
        }
        if isinstance(error, Question):
            document["question"] = {
                "about": error.about,
                "quotes": list(error.quotes),
                "choices": [{"value": c.value, "text": c.text} for c in error.choices],
                "option": error.option,
            }
        print(json.dumps(document, ensure_ascii=False, indent=2))
        return
    for fault in error.faults:
        print(f"{fault.where}: {fault.what}\n  → {fault.fix}", file=sys.stderr)
    if isinstance(error, Question):
        for choice in error.choices:
            space = "" if error.option.endswith("=") else " "
            print(f"    {error.option}{space}{choice.value}   {choice.text}", file=sys.stderr)
    for note in getattr(error, "__notes__", ()):
        print(f"  {note}", file=sys.stderr)
